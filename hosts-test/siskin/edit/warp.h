/* SPDX-License-Identifier: ISC */
/* warp.h: which moment of one take is which of another that sings the same: dynamic time warping
 * (Sakoe and Chiba, IEEE Trans. ASSP 26(1), 1978).
 *
 *     distance of two hops = sqrt(sum (c_i - c_j)^2 + (wl (l_i - l_j))^2 + (wo (o_i - o_j))^2)
 * with cepstra c, level l and onset strength o as hearing.h has them. A step along both takes
 * weighs 1.4, along one 1, and costs 2 nats more: a held vowel is like itself for long. While
 * anything sounds, two steps along one never follow each other: slopes of 1/2 to 2. Where a take
 * rests, the other may go on. Both ends are fixed. Memory: three bytes for each hop of the first
 * and each 5 ms of the band. */
#ifndef SISKIN_EDIT_WARP_H
#define SISKIN_EDIT_WARP_H

#include "siskin/edit/hearing.h"

typedef struct {
    size_t first, last; /* hops, last not included */
} WarpPart;

/* at[k]: the hop of b, a fraction, that is hop a_part.first + k of a. The band is `reach_s` wide
 * either way around equal times, and around the line from end to end. Returns the mean distance
 * along the path; INFINITY when the ends cannot be joined within these bounds. */
double warp(const Hearing *a, WarpPart a_part, const Hearing *b, WarpPart b_part, double reach_s,
            float *at);

#endif
