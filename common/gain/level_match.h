/* SPDX-License-Identifier: ISC */
/* level_match.h: makes a processed signal as loud as the one it was made of.
 *
 *     P += (1 - a) (mean over channels of x^2 - P) for both,   gain = sqrt(P_in / P_out)
 * with one time constant for both powers (the one-pole of one_pole.h). Since the two forget alike,
 * the ratio is right from the first frame on and does not move with the level; it moves only where
 * the two differ. It is behind by the time constant, though: after a peak that was bent down it
 * is high, and what follows gets it, so that the result is too loud on average, by 1 dB for a voice
 * under heavy saturation. So there are two of it in a row, the second on what the first has made:
 * LEVEL_MATCH_QUICK_MS to follow syllables, LEVEL_MATCH_SLOW_MS for the average.
 * Each gain is kept within its own bounds, and goes to 1 in silence (under about -120 dBFS). Powers
 * count as +6 dBFS at most, so that nothing has to be forgotten for long. One gain for all
 * channels. Latency 0; the two inputs must be aligned. Cost some 20 operations, two divisions and
 * two roots a frame. */
#ifndef SISKIN_GAIN_LEVEL_MATCH_H
#define SISKIN_GAIN_LEVEL_MATCH_H

#include <stddef.h>

#define LEVEL_MATCH_QUICK_MS 200.0
#define LEVEL_MATCH_SLOW_MS 2000.0

enum { LEVEL_MATCH_ROWS = 2 };

typedef struct {
    unsigned channels;
    double pole[LEVEL_MATCH_ROWS];
    struct {
        double in[LEVEL_MATCH_ROWS], out[LEVEL_MATCH_ROWS]; /* powers */
    } state;
} LevelMatch;

/* channels 1 or 2 */
void level_match_prepare(LevelMatch *match, double rate_hz, unsigned channels);
void level_match_reset(LevelMatch *match);
/* n frames: out[c][i] *= gain. `in` is what it was made of. */
void level_match_process(LevelMatch *match, const float *const *in, float *const *out, size_t n);

#endif
