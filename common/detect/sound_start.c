/* SPDX-License-Identifier: ISC */
#include "detect/sound_start.h"

#include "basic/maths.h"

enum { SHORT_SOUNDS = 3 };
static const float VALLEY_DB = 6.0f;
/* dB over the bar, summed over its steps, that a short sound comes to, and the most that one adds:
 * what has less is flutter of the room. */
static const float ENOUGH_DB = 12.0f, MOST_OVER_DB = 8.0f;
static const float LEAVE_DB = 3.0f; /* under the bar, summed over steps */

void sound_start_reset(SoundStart *start, float level_db) {
    for (size_t i = 0; i < SOUND_START_RING; i++)
        start->level_db[i] = level_db;
}

/* Back as long as it is over the bar, and through steps that just miss it: until these come to
 * LEAVE_DB under it, less what others are over it. */
static size_t back_while_loud(const SoundStart *start, float low_db, size_t step, size_t earliest) {
    size_t first = step;
    float under_db = 0.0f;
    for (size_t t = step; t > earliest; t--) {
        under_db += maths_larger(low_db - sound_start_level(start, t - 1), -MOST_OVER_DB);
        under_db = maths_larger(under_db, 0.0f);
        if (under_db >= LEAVE_DB)
            return first;
        first = under_db == 0.0f ? t - 1 : first;
    }
    return earliest;
}

static size_t back_while_quiet(const SoundStart *start, float low_db, size_t step,
                               size_t earliest) {
    while (step > earliest && sound_start_level(start, step - 1) < low_db)
        step--;
    return step;
}

/* `steps` before `step`, not before `earliest` <= step. */
static size_t before(size_t step, size_t steps, size_t earliest) {
    return step - earliest > steps ? step - steps : earliest;
}

/* What steps first..end - 1 are over the bar. */
static float over_db(const SoundStart *start, float low_db, size_t first, size_t end) {
    float sum_db = 0.0f;
    for (size_t t = first; t < end; t++)
        sum_db += maths_smaller(sound_start_level(start, t) - low_db, MOST_OVER_DB);
    return sum_db;
}

/* Back to the end of a sound, over what is quiet or flutter; its start is written to *first.
 * `limit` if there is none until then; *first may lie before that. */
static size_t end_of_sound_before(const SoundStart *start, float low_db, size_t step, size_t limit,
                                  size_t earliest, size_t *first) {
    *first = step;
    while (*first > limit) {
        size_t end = back_while_quiet(start, low_db, *first, limit);
        *first = back_while_loud(start, low_db, end, earliest);
        if (over_db(start, low_db, *first, end) >= ENOUGH_DB)
            return end;
    }
    *first = limit;
    return limit;
}

/* The start of a short sound that ends within the bridge before `step`; `step` if there is none. */
static size_t short_sound_before(const SoundStart *start, float low_db, size_t step,
                                 size_t earliest) {
    size_t first, bridge = before(step, SOUND_START_BRIDGE, earliest);
    size_t end = end_of_sound_before(start, low_db, step, bridge, earliest, &first);
    return first == end || first == earliest || end - first > SOUND_START_SHORT ? step : first;
}

static size_t after_what_died_away(const SoundStart *start, size_t step, size_t earliest) {
    size_t quietest = earliest;
    for (size_t t = earliest; t <= step; t++)
        if (sound_start_level(start, t) < sound_start_level(start, quietest))
            quietest = t;
    float fall_db = sound_start_level(start, earliest) - sound_start_level(start, quietest);
    return fall_db > VALLEY_DB ? quietest : earliest;
}

/* Where between step - 1 and `step` the level rose through the bar, 0..1; 0 if it did not. */
static float rose(const SoundStart *start, float low_db, size_t step) {
    float before = sound_start_level(start, step - 1), now = sound_start_level(start, step);
    return before < low_db && now >= low_db ? (low_db - before) / (now - before) : 0.0f;
}

size_t sound_start_find(const SoundStart *start, float low_db, size_t step, size_t earliest,
                        float *late) {
    *late = 0.0f;
    if (step <= earliest)
        return earliest;
    size_t first = back_while_loud(start, low_db, step, earliest);
    if (first == earliest)
        return after_what_died_away(start, step, earliest);
    for (int k = 0; k < SHORT_SOUNDS; k++)
        first = short_sound_before(start, low_db, first, earliest);
    size_t before_that, limit = before(first, SOUND_START_QUIET, earliest);
    size_t found = end_of_sound_before(start, low_db, first, limit, earliest, &before_that);
    if (found == limit && limit > earliest)
        *late = rose(start, low_db, first);
    return found;
}
