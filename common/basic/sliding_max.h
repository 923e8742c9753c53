/* SPDX-License-Identifier: ISC */
/* sliding_max.h: the largest of the last N values, at a constant cost per frame.
 *
 * By doubling: M_0[t] = x[t], M_k[t] = max(M_{k-1}[t], M_{k-1}[t - 2^(k-1)]) is the maximum of the
 * last 2^k values; a window of N, 2^K <= N < 2^(K+1), is max(M_K[t], M_K[t - (N - 2^K)]), two
 * overlapping windows. This is the sparse table of range-minimum queries (Bender and Farach-Colton,
 * LATIN 2000, section 3) kept for one moving end. Unlike the monotonic deque (Lemire 2006), whose
 * single steps may take N comparisons, each frame takes log2(max) + 1, whatever the data; and all
 * widths up to the largest are ready at any time, so the window may change at any frame. For
 * minima, negate. Latency 0. Before the first frame there is `empty` (given to reset). */
#ifndef SISKIN_BASIC_SLIDING_MAX_H
#define SISKIN_BASIC_SLIDING_MAX_H

#include "basic/arena.h"

#include <stdbool.h>
#include <stddef.h>

enum { SLIDING_MAX_LEVELS = 20 }; /* windows of less than 2^20 frames */

typedef struct {
    size_t window;                   /* N now, 1..max */
    size_t max;                      /* largest N */
    unsigned levels;                 /* rings in use */
    unsigned top;                    /* K of the window now */
    float *ring[SLIDING_MAX_LEVELS]; /* ring[k]: the last 2^k values of M_k */
    struct {
        size_t frame;
    } state;
} SlidingMax;

/* Windows of 1..max_frames. false: the arena is full, or max_frames is 0 or 2^20 or more. */
bool sliding_max_prepare(SlidingMax *m, size_t max_frames, Arena *arena);
/* History := `empty` for ever. */
void sliding_max_reset(SlidingMax *m, float empty);
/* Clamps to 1..max. */
void sliding_max_set(SlidingMax *m, size_t window_frames);
/* One frame. */
float sliding_max_step(SlidingMax *m, float x);
/* The maximum of the last `window_frames` (clamped to 1..max) as of the last step, whatever the
 * window set: every width is ready at any time. */
float sliding_max_last(const SlidingMax *m, size_t window_frames);
/* n frames; in may equal out. */
void sliding_max_process(SlidingMax *m, const float *in, float *out, size_t n);

#endif
