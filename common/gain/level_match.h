/* SPDX-License-Identifier: ISC */
/* level_match.h: makes a processed signal as loud as the one it was made of.
 *
 *     P += (1 - a) (mean over channels of x^2 - P) for both,   gain = sqrt(P_in / P_out)
 * with one time constant of LEVEL_MATCH_MS for both powers (the one-pole of one_pole.h). Since the
 * two forget alike, the ratio is right from the first frame on and does not move with the level;
 * it moves only where the two differ. The gain is kept within LEVEL_MATCH_LEAST..MOST, and goes to
 * 1 in silence (under about -120 dBFS). One gain for all channels.
 * Latency 0; the two inputs must be aligned. Cost some 10 operations and a root a frame. */
#ifndef SISKIN_GAIN_LEVEL_MATCH_H
#define SISKIN_GAIN_LEVEL_MATCH_H

#include <stddef.h>

#define LEVEL_MATCH_MS 400.0
#define LEVEL_MATCH_LEAST 0.1f
#define LEVEL_MATCH_MOST 2.0f

typedef struct {
    unsigned channels;
    double pole;
    struct {
        double in, out; /* powers */
    } state;
} LevelMatch;

void level_match_prepare(LevelMatch *match, double rate_hz, unsigned channels);
void level_match_reset(LevelMatch *match);
/* n frames: out[c][i] *= gain. `in` is what it was made of. */
void level_match_process(LevelMatch *match, const float *const *in, float *const *out, size_t n);

#endif
