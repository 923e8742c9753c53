/* SPDX-License-Identifier: ISC */
/* viterbi.h: the likeliest sequence of states, decided a fixed number of steps late.
 *
 * Every step brings the log-likelihood e_j of what was observed under each state j. The path is the
 * sequence with the largest sum of these, less a cost for every change of state. State 0, once
 * entered, lasts at least `least` steps. The best sum that ends in state j is
 *     d_j(t) = max_i (d_i(t-1) - cost_ij) + e_j(t)                      j > 0
 *     d_0(t) = max(d_0(t-1) + e_0(t),  enter(t - least + 1) + E_0)
 *     enter(t) = max_{i>0} (d_i(t-1) - cost_i0)
 * where E_0 is the sum of e_0 over the last `least` steps. A run of state 0 that is not yet `least`
 * steps old cannot end a path, so a lag of at least `least` gives each run its full chance.
 * Sources: Viterbi, IEEE Trans. IT 13(2), 260-269, 1967; decisions at a fixed lag: Forney, Proc.
 * IEEE 61(3), 1973, section III; the least duration is an explicit state duration (Rabiner, Proc.
 * IEEE 77(2), 1989, section IV.D) whose distribution is 0 below `least` and geometric above.
 * Latency: `lag` steps. Cost: about 20 additions and at most `lag` steps back along the path, the
 * same bound for every step. */
#ifndef SISKIN_BASIC_VITERBI_H
#define SISKIN_BASIC_VITERBI_H

#include <stdbool.h>
#include <stddef.h>

enum { VITERBI_STATES = 4, VITERBI_RING = 256 };

typedef struct {
    float cost[VITERBI_STATES][VITERBI_STATES]; /* [from][to], >= 0 */
    size_t least, lag;                          /* steps */
    struct {
        size_t step;
        double score[VITERBI_STATES];
        double sum;                 /* of e_0 since reset */
        double enter[VITERBI_RING]; /* enter(t) less the sum before t */
        unsigned char entered_from[VITERBI_RING];
        unsigned char from[VITERBI_RING][VITERBI_STATES];
    } state;
} Viterbi;

/* Costs are copied; the path may be `least` and `lag` long as given to set. */
void viterbi_prepare(Viterbi *path, const float cost[VITERBI_STATES][VITERBI_STATES]);
void viterbi_reset(Viterbi *path);
/* 1 <= least <= lag < VITERBI_RING / 2. May change at any step. */
void viterbi_set(Viterbi *path, size_t least, size_t lag);
/* One step. The state `lag` steps ago; 1 while there is none. */
unsigned viterbi_step(Viterbi *path, const float likelihood[VITERBI_STATES]);

#endif
