/* SPDX-License-Identifier: ISC */
/* periodicity.h: how periodic a voice is, hop by hop: 0 noise, 1 a steady tone.
 *
 * The largest normalised cross-correlation of the last N frames with those one lag before,
 *     r(l) = sum x[t] x[t-l] / sqrt(sum x[t]^2 sum x[t-l]^2),   l = 2.4..14 ms
 * after a second-order high-pass at 180 Hz that takes hum and rumble away (voices keep their
 * harmonics). Source: Talkin, "A robust algorithm for pitch tracking (RAPT)", in Speech Coding and
 * Synthesis, 1995: the energies of both stretches below the root let a voice swell and die away
 * without seeming less periodic. Pitches from 71 Hz up are seen, those above 420 Hz by a multiple
 * of their period. N is five hops, about 27 ms. Gaussian noise of bandwidth B has r(l) of deviation
 * 1 / sqrt(2 B N), so that the largest of many lags is about 2.5 / sqrt(2 B N): 0.22 for 2.5 kHz.
 *
 * For audio at 5.4..10.8 kHz (octave_bank's `low`), where pitch is plain and the work small. The
 * products are summed block by block as they come, so that the work is even: about 80
 * multiplications a frame of the low rate. Latency: half the window. */
#ifndef SISKIN_VOICE_PERIODICITY_H
#define SISKIN_VOICE_PERIODICITY_H

#include "filter/svf.h"

#include <stddef.h>

enum {
    PERIODICITY_HOPS = 5, /* in a window */
    PERIODICITY_MAX_HOP = 80,
    PERIODICITY_MAX_LAG = 152,
    PERIODICITY_HISTORY = PERIODICITY_HOPS * PERIODICITY_MAX_HOP + PERIODICITY_MAX_LAG,
};

typedef struct {
    size_t hop;               /* frames, a multiple of 4 */
    size_t window;            /* frames */
    size_t shortest, longest; /* lags */
    Svf high_pass;            /* its state is history too: reset with the rest */
    struct {
        size_t filled;                    /* frames of this hop so far */
        size_t slot;                      /* of `product` now being filled */
        float audio[PERIODICITY_HISTORY]; /* longest + window frames, the newest last */
        /* sums of x[t] x[t-l] over each of the last hops; element i belongs to lag longest - i */
        float product[PERIODICITY_HOPS][PERIODICITY_MAX_LAG];
    } state;
} Periodicity;

/* hop: frames from one result to the next, a multiple of 4, 4..PERIODICITY_MAX_HOP.
 * rate_hz 5400..10800. */
void periodicity_prepare(Periodicity *p, double rate_hz, size_t hop);
void periodicity_reset(Periodicity *p);
/* n frames, a multiple of 4 that does not step over the end of a hop. */
void periodicity_add(Periodicity *p, const float *in, size_t n);
/* At the end of each hop: the value for the window that ends here. Silence gives 0. */
float periodicity_finish(Periodicity *p);

#endif
