/* SPDX-License-Identifier: ISC */
/* peak_hold.h: the largest of the last N values, for windows of up to seconds.
 *
 * y[t] = max(x[t - M + 1 .. t]) with N <= M <= N + 2B - 2. Blocks of B frames are reduced to their
 * maximum and a sliding maximum runs over those (sliding_max.h); within the block that is still
 * filling a running maximum is enough, since all of it is inside the window. Rises are exact to the
 * frame; only the moment when a value is let go of is put off to the end of a block, never brought
 * forward. Memory and time are those of a window B times shorter. Blocks are counted on the unit's
 * own frame counter, so that the host's cutting cannot show.
 * Latency 0. Cost 2 comparisons a frame, and log2(max/B) + 1 more at each block's end. */
#ifndef SISKIN_BASIC_PEAK_HOLD_H
#define SISKIN_BASIC_PEAK_HOLD_H

#include "basic/arena.h"
#include "basic/sliding_max.h"

#include <stdbool.h>
#include <stddef.h>

typedef struct {
    size_t block;  /* B, frames */
    float nothing; /* what silence counts as */
    SlidingMax blocks;
    struct {
        size_t filled; /* frames in the block being filled, 0..B-1 */
        float running; /* their maximum */
        float held;    /* maximum of the whole blocks in the window */
    } state;
} PeakHold;

/* Windows of up to max_frames in blocks of block_frames, both >= 1; `nothing` is at most any input.
 * false: the arena is full, or the window has 2^20 blocks or more. */
bool peak_hold_prepare(PeakHold *hold, size_t max_frames, size_t block_frames, float nothing,
                       Arena *arena);
void peak_hold_reset(PeakHold *hold);
/* The window N from now on, clamped to block_frames + 1..max_frames. It may change at any time: a
 * longer one covers its past at once. */
void peak_hold_set(PeakHold *hold, size_t window_frames);
/* The maximum now over a window of its own, clamped likewise; some 10 operations. */
float peak_hold_last(const PeakHold *hold, size_t window_frames);
/* n frames; in may equal out. */
void peak_hold_process(PeakHold *hold, const float *in, float *out, size_t n);

#endif
