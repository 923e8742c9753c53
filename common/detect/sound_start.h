/* SPDX-License-Identifier: ISC */
/* sound_start.h: where a sound began that has just been recognised, from the levels of the last
 * steps.
 *
 * Back from the step that gave it away, as long as the level is over `low_db`. Then, since speech
 * has short silences in it, a sound of up to SOUND_START_SHORT steps is taken in that ended at most
 * SOUND_START_BRIDGE before (a burst before its vowel: Lisker and Abramson, Word 20, 1964, find 20
 * to 100 ms between the two); and then up to SOUND_START_QUIET steps of quiet, but nothing of a
 * longer sound that ended there, such as a breath. When the sound goes on back to the earliest step
 * allowed, that is the answer; unless something longer dies away in between, to VALLEY_DB below its
 * level there: then it is the quietest step after that.
 *
 * Steps are counted by the caller. Cost: a few scans from `earliest` to `step`. */
#ifndef SISKIN_DETECT_SOUND_START_H
#define SISKIN_DETECT_SOUND_START_H

#include <stddef.h>

enum {
    SOUND_START_RING = 64, /* steps that are remembered */
    SOUND_START_BRIDGE = 12,
    SOUND_START_SHORT = 12,
    SOUND_START_QUIET = 6,
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
 * ring. `earliest` when step <= earliest. */
size_t sound_start_find(const SoundStart *start, float low_db, size_t step, size_t earliest);

#endif
