/* SPDX-License-Identifier: ISC */
/* band_cut.h: a flat-topped cut whose place, width and depth move.
 *
 * The second-order Butterworth shelf of gain G = a^2,
 *     H(p) = (p^2 + sqrt2 a p + a^2) / (p^2 + sqrt2 p + 1),
 * carried to a band around f0 by p = (s^2 + 1) / (q s), s = j tan(pi f/fs) / tan(pi f0/fs)
 * (Orfanidis, "High-order digital parametric equalizer design", JAES 53(11), 2005; here order two):
 *     |H|^2 = (a^4 + P^4) / (1 + P^4),   P = |s - 1/s| / q = 1 at the edges.
 * It is exactly G at the centre, flat around it, and falls off faster than one bell of that width.
 * Written as H = 1 + [sqrt2 (a - 1) p + a^2 - 1] / (p^2 + sqrt2 p + 1) the poles do not depend on
 * the depth: the depth moves at every frame, and at a = 1 the input passes bit for bit. The poles
 * are two second-order sections (band_cut.c), run as trapezoidal state-variable filters (svf.h),
 * whose states stay where they are when the edges move.
 *
 * Two channels, the same cut to both. Latency 0. Cost per frame and channel: two sections. */
#ifndef SISKIN_FILTER_BAND_CUT_H
#define SISKIN_FILTER_BAND_CUT_H

#include "basic/simd.h"

#include <stddef.h>

enum { BAND_CUT_CHANNELS = 2 };

/* Zeroed, or reset: no cut. */
typedef struct {
    struct {
        /* Two sections, and what of the second's outputs makes p/D and 1/D. */
        Simd a1, a2, a3;
        float direct, band, low, flat;
        /* a - 1 on a straight line: at frame i of it, from + (i + 1) step. */
        float from, step, to;
        size_t at;
        Simd ic1, ic2; /* first section left, right, second section left, right */
    } state;
} BandCut;

void band_cut_reset(BandCut *c);

/* From the next frame on: edges at `low` and `high`, each tan(pi f / rate), 0 < low < high; and
 * during the next `frames` >= 1 frames a straight line in `a`, from where the last one led, to
 * `reduction_db` >= 0 at the centre. No more than `frames` may be processed before the next aim;
 * exactly that many, so that nothing jumps. No transcendental function. */
void band_cut_aim(BandCut *c, float low, float high, float reduction_db, size_t frames);

/* The same while nothing is cut, for as long as nothing was at the end of the last line: the edges
 * stay where they are, which saves their roots. */
void band_cut_rest(BandCut *c);

/* No out may overlap an in; for mono give the same channel twice. */
void band_cut_process(BandCut *c, const float *const in[BAND_CUT_CHANNELS],
                      float *const out[BAND_CUT_CHANNELS], size_t n);

#endif
