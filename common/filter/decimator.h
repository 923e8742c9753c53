/* SPDX-License-Identifier: ISC */
/* decimator.h: every M-th frame of what lies below a quarter of the low rate, with no aliases
 * there.
 *
 * A windowed-sinc low-pass with its corner at half the low rate, under a Kaiser window (Kaiser,
 * "Nonrecursive digital filter design using the I0-sinh window function", Proc. ISCAS 1974):
 *     beta = 0.1102 (A - 8.7),   taps - 1 = (A - 8) / (2.285 dw)
 * for A dB and a transition of dw radians a frame. Here it reaches from a quarter of the low rate
 * to three quarters, where what folds back to under a quarter begins: dw = pi / M, and A = 120 dB
 * take 16 M taps, summed only where a frame is kept. From 0 to a quarter of the low rate the gain
 * is 1 within 1e-5; whatever folds there is 120 dB down (110 for M = 2).
 * Latency 8 M frames. Cost 16 multiplications a frame, whatever M. */
#ifndef SISKIN_FILTER_DECIMATOR_H
#define SISKIN_FILTER_DECIMATOR_H

#include "basic/arena.h"

#include <stdbool.h>
#include <stddef.h>

typedef struct {
    size_t factor; /* M */
    size_t n_taps; /* 16 M */
    float *taps;   /* [n_taps] */
    float *line;   /* [n_taps + factor] the frames before the one to come, and those taken since */
    struct {
        size_t taken; /* frames, < factor */
    } state;
} Decimator;

/* factor >= 1. false: the arena is full. */
bool decimator_prepare(Decimator *decimator, size_t factor, Arena *arena);
void decimator_reset(Decimator *decimator);
/* One frame in. true: one came out. */
bool decimator_step(Decimator *decimator, float in, float *out);

#endif
