/* SPDX-License-Identifier: ISC */
#include "detect/sound_start.h"

/* What looks like a short sound may be the room's own flutter, so look for several. */
enum { SHORT_SOUNDS = 3 };
static const float VALLEY_DB = 6.0f;

void sound_start_reset(SoundStart *start, float level_db) {
    for (size_t i = 0; i < SOUND_START_RING; i++)
        start->level_db[i] = level_db;
}

static size_t back_while_loud(const SoundStart *start, float low_db, size_t step, size_t earliest) {
    while (step > earliest && sound_start_level(start, step - 1) >= low_db)
        step--;
    return step;
}

static size_t back_while_quiet(const SoundStart *start, float low_db, size_t step,
                               size_t earliest) {
    while (step > earliest && sound_start_level(start, step - 1) < low_db)
        step--;
    return step;
}

static size_t later(size_t a, size_t b) {
    return a > b ? a : b;
}

/* `steps` before `step`, not before `earliest` <= step. */
static size_t before(size_t step, size_t steps, size_t earliest) {
    return step - earliest > steps ? step - steps : earliest;
}

/* The start of a short sound that ends within the bridge before `step`; `step` if there is none. */
static size_t short_sound_before(const SoundStart *start, float low_db, size_t step,
                                 size_t earliest) {
    size_t bridge = before(step, SOUND_START_BRIDGE, earliest);
    size_t end = back_while_quiet(start, low_db, step, bridge);
    size_t first = back_while_loud(start, low_db, end, earliest);
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

size_t sound_start_find(const SoundStart *start, float low_db, size_t step, size_t earliest) {
    if (step <= earliest)
        return earliest;
    size_t first = back_while_loud(start, low_db, step, earliest);
    if (first == earliest)
        return after_what_died_away(start, step, earliest);
    for (int k = 0; k < SHORT_SOUNDS; k++)
        first = short_sound_before(start, low_db, first, earliest);
    size_t quiet = back_while_quiet(start, low_db, first, earliest);
    return later(quiet, before(first, SOUND_START_QUIET, earliest));
}
