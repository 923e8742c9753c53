/* SPDX-License-Identifier: ISC */
#include "sliding_max.h"

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

void sliding_max_set(SlidingMax *m, size_t window_frames) {
    size_t n = window_frames < 1 ? 1 : window_frames > m->max ? m->max : window_frames;
    m->window = n;
    m->top = 0;
    while (n >> (m->top + 1))
        m->top++;
}

static float larger(float a, float b) {
    return a > b ? a : b;
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
            of_window = larger(now, ring[(t - (m->window - mask - 1)) & mask]);
        now = larger(now, oldest);
    }
    return of_window;
}

void sliding_max_process(SlidingMax *m, const float *in, float *out, size_t n) {
    for (size_t i = 0; i < n; i++)
        out[i] = sliding_max_step(m, in[i]);
}
