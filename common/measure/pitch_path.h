/* SPDX-License-Identifier: ISC */
/* pitch_path.h: the pitch of a whole take, from the candidates of pitch_candidates.h.
 *
 * Of each moment one candidate is chosen, or none, so that the sum of what they are worth, less
 * what changes cost, is the largest (Viterbi, IEEE Trans. IT 13(2), 1967):
 *     a candidate   strength + 0.03 log2(hz / lowest hz)
 *     none          0.45 + max(0, 2 - (level / loud) (1 + 0.45) / 0.03)
 *     changes       0.35 an octave between two candidates, 0.14 between one and none; for steps of
 *                   10 ms, others in proportion
 * Source: Boersma 1993 (see pitch_candidates.h), equations 23 to 27 and the figures given there,
 * with 0.03 in place of his 0.01: in noise, the longer of two lags is more often the better one by
 * chance. `loud` is the 95th percentile of the levels of a take, where he has its highest peak,
 * which may be a click.
 * Held to the truth of the test singer, as the suite has it: it follows 95 % of the voice where
 * pitch.h, which must decide at once, follows 77 to 53 % of breathy, creaky and noisy ones.
 * For whole takes: takes memory. Cost 50 operations a moment. */
#ifndef SISKIN_MEASURE_PITCH_PATH_H
#define SISKIN_MEASURE_PITCH_PATH_H

#include "measure/pitch_candidates.h"

/* hz[n]: the pitch at each of n moments that lie step_s apart, 0 where there is no voice. false:
 * out of memory. */
bool pitch_path(const PitchMoment *moments, size_t n, double step_s, float *hz);

#endif
