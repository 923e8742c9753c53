/* SPDX-License-Identifier: ISC */
#include "basic/peak_hold.h"

#include "basic/maths.h"

/* The fewest whole blocks that, with one frame of the next, cover a window. At least one, since
 * there is no shorter window than a block. */
static size_t blocks_for(const PeakHold *hold, size_t window_frames) {
    size_t blocks = (window_frames + hold->block - 2) / hold->block;
    return window_frames < 2 ? 1 : blocks;
}

bool peak_hold_prepare(PeakHold *hold, size_t max_frames, size_t block_frames, float nothing,
                       Arena *arena) {
    if (max_frames == 0 || block_frames == 0)
        return false;
    hold->block = block_frames;
    hold->nothing = nothing;
    if (!sliding_max_prepare(&hold->blocks, blocks_for(hold, max_frames), arena))
        return false;
    peak_hold_reset(hold);
    return true;
}

void peak_hold_reset(PeakHold *hold) {
    sliding_max_reset(&hold->blocks, hold->nothing);
    hold->state.filled = 0;
    hold->state.running = hold->nothing;
    hold->state.held = hold->nothing;
}

void peak_hold_set(PeakHold *hold, size_t window_frames) {
    sliding_max_set(&hold->blocks, blocks_for(hold, window_frames));
    hold->state.held = sliding_max_last(&hold->blocks, hold->blocks.window);
}

float peak_hold_last(const PeakHold *hold, size_t window_frames) {
    float whole = sliding_max_last(&hold->blocks, blocks_for(hold, window_frames));
    return maths_larger(whole, hold->state.running);
}

/* At most what the block being filled still takes. */
static void fill(PeakHold *hold, const float *in, float *out, size_t n) {
    const float held = hold->state.held;
    float running = hold->state.running;
    for (size_t i = 0; i < n; i++) {
        running = maths_larger(in[i], running);
        out[i] = maths_larger(running, held);
    }
    hold->state.running = running;
    hold->state.filled += n;
}

void peak_hold_process(PeakHold *hold, const float *in, float *out, size_t n) {
    while (n > 0) {
        size_t room = hold->block - hold->state.filled;
        size_t now = n < room ? n : room;
        fill(hold, in, out, now);
        if (now == room) {
            hold->state.held = sliding_max_step(&hold->blocks, hold->state.running);
            hold->state.running = hold->nothing;
            hold->state.filled = 0;
        }
        in += now;
        out += now;
        n -= now;
    }
}
