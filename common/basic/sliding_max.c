/* SPDX-License-Identifier: ISC */
#include "basic/sliding_max.h"

#include "basic/maths.h"

bool sliding_max_prepare(SlidingMax *m, size_t max_frames, Arena *arena) {
    if (max_frames == 0 || max_frames >> (SLIDING_MAX_LEVELS - 1) > 1)
        return false;
    m->max = max_frames;
    m->levels = 0;
    for (size_t length = 1; length <= max_frames && m->levels < SLIDING_MAX_LEVELS; length *= 2) {
        float *ring = arena_take(arena, length, sizeof *ring);
        if (!ring)
            return false;
        m->ring[m->levels++] = ring;
    }
    sliding_max_set(m, max_frames);
    sliding_max_reset(m, 0.0f);
    return true;
}

void sliding_max_reset(SlidingMax *m, float empty) {
    for (unsigned k = 0; k < m->levels; k++)
        for (size_t i = 0; i < (size_t)1 << k; i++)
            m->ring[k][i] = empty;
    m->state.frame = 0;
}

static size_t clamp_window(const SlidingMax *m, size_t n) {
    return n < 1 ? 1 : n > m->max ? m->max : n;
}

/* The K of a window of n: 2^K <= n < 2^(K+1). */
static unsigned level_of(size_t n) {
    unsigned k = 0;
    while (n >> (k + 1))
        k++;
    return k;
}

void sliding_max_set(SlidingMax *m, size_t window_frames) {
    m->window = clamp_window(m, window_frames);
    m->top = level_of(m->window);
}

float sliding_max_step(SlidingMax *m, float x) {
    size_t t = m->state.frame++;
    float of_window = x;
    float now = x; /* M_k[t] */
    for (unsigned k = 0; k < m->levels; k++) {
        size_t mask = ((size_t)1 << k) - 1;
        float *ring = m->ring[k];
        float oldest = ring[t & mask]; /* M_k[t - 2^k] */
        ring[t & mask] = now;
        if (k == m->top)
            of_window = maths_larger(now, ring[(t - (m->window - mask - 1)) & mask]);
        now = maths_larger(now, oldest);
    }
    return of_window;
}

float sliding_max_last(const SlidingMax *m, size_t window_frames) {
    size_t window = clamp_window(m, window_frames);
    unsigned k = level_of(window);
    size_t mask = ((size_t)1 << k) - 1;
    size_t t = m->state.frame - 1;
    return maths_larger(m->ring[k][t & mask], m->ring[k][(t - (window - mask - 1)) & mask]);
}

void sliding_max_process(SlidingMax *m, const float *in, float *out, size_t n) {
    for (size_t i = 0; i < n; i++)
        out[i] = sliding_max_step(m, in[i]);
}
