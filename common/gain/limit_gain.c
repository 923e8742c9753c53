/* SPDX-License-Identifier: ISC */
#include "gain/limit_gain.h"

#include "basic/one_pole.h"

#include <math.h>
#include <string.h>

enum { HOLD_BLOCK = 16 };

static const float UNDER = 1.0f - 1.0f / (1 << 20);
static const float NOTHING = 1e-6f;
static const float WHOLE = 1073741824.0f; /* 2^30 */
static const int64_t ROUND = 65;          /* half a last place of r near 1, and one */

bool limit_gain_prepare(LimitGain *limit, double rate_hz, double look_ms, Arena *arena) {
    limit->rate_hz = rate_hz;
    size_t boxes = (size_t)fmax(2.0, ceil(look_ms * 1e-3 * rate_hz)) + 1;
    limit->box[0] = boxes / 2;
    limit->box[1] = boxes - boxes / 2;
    limit->delay = boxes - 1 + (size_t)2 * LIMIT_EDGE;
    limit->scale = 1.0 / ((double)limit->box[0] * (double)limit->box[1] * (double)WHOLE);
    for (int b = 0; b < 2; b++) {
        limit->ring[b] = arena_take(arena, limit->box[b], sizeof *limit->ring[b]);
        if (!limit->ring[b])
            return false;
    }
    size_t held = (size_t)ceil(LIMIT_HOLD_MS * 1e-3 * rate_hz);
    size_t least = limit->delay + (size_t)2 * LIMIT_EDGE;
    held = held > least ? held : least;
    if (!peak_hold_prepare(&limit->hold, held, HOLD_BLOCK, 0.0f, arena))
        return false;
    peak_hold_set(&limit->hold, held);
    limit_gain_set(limit, &(LimitGainParams){.ceiling = 1.0f, .release_ms = 100.0f});
    limit_gain_reset(limit);
    return true;
}

void limit_gain_reset(LimitGain *limit) {
    memset(&limit->state, 0, sizeof limit->state);
    for (int b = 0; b < 2; b++)
        memset(limit->ring[b], 0, limit->box[b] * sizeof *limit->ring[b]);
    peak_hold_reset(&limit->hold);
}

void limit_gain_set(LimitGain *limit, const LimitGainParams *params) {
    limit->ceiling = UNDER * params->ceiling;
    limit->release = (float)one_pole_coefficient((double)params->release_ms, limit->rate_hz);
}

size_t limit_gain_delay(const LimitGain *limit) {
    return limit->delay;
}

/* The sum of the last box[b] numbers. */
static int64_t box_step(LimitGain *limit, int b, int64_t x) {
    int64_t *oldest = &limit->ring[b][limit->state.at[b]];
    limit->state.sum[b] += x - *oldest;
    *oldest = x;
    if (++limit->state.at[b] == limit->box[b])
        limit->state.at[b] = 0;
    return limit->state.sum[b];
}

float limit_gain_process(LimitGain *limit, const float *peak, float *gain, size_t n) {
    for (size_t i = 0; i < n; i++) {
        float most = peak[i] > limit->ceiling ? peak[i] : limit->ceiling;
        gain[i] = 1.0f - limit->ceiling / most;
    }
    peak_hold_process(&limit->hold, gain, gain, n);
    float least = 1.0f, fall = limit->state.fall;
    for (size_t i = 0; i < n; i++) {
        fall *= limit->release;
        fall = gain[i] > fall ? gain[i] : fall;
        fall = fall > NOTHING ? fall : 0.0f;
        int64_t whole = fall > 0.0f ? (int64_t)(fall * WHOLE) + ROUND : 0;
        int64_t sum = box_step(limit, 1, box_step(limit, 0, whole));
        gain[i] = (float)(1.0 - (double)sum * limit->scale);
        least = gain[i] < least ? gain[i] : least;
    }
    limit->state.fall = fall;
    return least;
}
