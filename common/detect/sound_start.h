/* SPDX-License-Identifier: ISC */
/* sound_start.h: where a sound began that has just been recognised, from the levels of the last
 * steps.
 *
 * From the step that gave the sound away, the start goes back as long as the level is over
 * `low_db`, through dips whose steps are less than 3 dB under it in sum; and then over what belongs
 * to the same word:
 * - sounds of up to SOUND_START_SHORT steps that ended at most SOUND_START_BRIDGE before, three at
 *   most: a burst before its vowel (20 to 100 ms between them: Lisker and Abramson, Word 20, 1964).
 *   Its steps must be over `low_db` by 12 dB in sum, 8 dB of each at most: the flutter of a room is
 *   not;
 * - then up to SOUND_START_QUIET steps of quiet, but nothing of a longer sound that ended there,
 *   such as a breath.
 * Where the level rose through `low_db` between two steps, so does the start lie between two, that
 * little may hang on where steps fall.
 * When the level is over `low_db` all the way back to `earliest`, that is the start. But when it
 * falls by over VALLEY_DB from there, something else died away, and the start is the quietest step.
 *
 * Steps are counted by the caller. Cost: a few scans from `earliest` to `step`. */
#ifndef SISKIN_DETECT_SOUND_START_H
#define SISKIN_DETECT_SOUND_START_H

#include <stddef.h>

enum {
    SOUND_START_RING = 64, /* steps that are remembered */
    SOUND_START_BRIDGE = 12,
    SOUND_START_SHORT = 12,
    SOUND_START_QUIET = 7,
};

typedef struct {
    float level_db[SOUND_START_RING]; /* by step */
} SoundStart;

/* All levels := level_db. */
void sound_start_reset(SoundStart *start, float level_db);

static inline void sound_start_put(SoundStart *start, size_t step, float level_db) {
    start->level_db[step % SOUND_START_RING] = level_db;
}
static inline float sound_start_level(const SoundStart *start, size_t step) {
    return start->level_db[step % SOUND_START_RING];
}

/* The first step of the sound that is heard at `step`, not before `earliest`; both lie within the
 * ring. `earliest` when step <= earliest. *late: how far into that step it begins, 0..1. */
size_t sound_start_find(const SoundStart *start, float low_db, size_t step, size_t earliest,
                        float *late);

#endif
