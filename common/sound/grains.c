/* SPDX-License-Identifier: ISC */
#include "sound/grains.h"

#include <math.h>
#include <string.h>

enum { LONGEST = 256 };

void grains_reset(Grains *grains) {
    memset(&grains->state, 0, sizeof grains->state);
}

void grains_add(Grains *grains, const Grain *grain) {
    if (grains->state.count < GRAINS_MOST)
        grains->state.grain[grains->state.count++] = *grain;
}

/* Of the frames first.. after `anchor`, by their own count, so that blocks do not matter. */
static void window(const Grain *g, double fraction, int64_t first, float *w, size_t n) {
    const float up = (float)(1.0 / g->left), down = (float)(1.0 / g->right);
    for (size_t i = 0; i < n; i++) {
        float past = (float)((double)(first + (int64_t)i) - fraction);
        float p = past <= 0.0f ? 1.0f + past * up : 1.0f - past * down;
        w[i] = g->gain * grain_rise(p);
    }
}

static void add_grain(const Grain *g, const PastSound *past, int64_t t, float *const *out,
                      size_t at, size_t n) {
    float w[LONGEST], sound[LONGEST];
    const double anchor = floor(g->centre), fraction = g->centre - anchor;
    const int64_t first = t - (int64_t)anchor;
    window(g, fraction, first, w, n);
    for (unsigned c = 0; c < past->channels; c++) {
        double start = g->source - fraction * g->speed;
        if (g->speed == 1.0)
            past_sound_read(past, c, start, first, sound, n);
        else
            past_sound_read_at(past, c, start, g->speed, first, sound, n);
        float *to = out[c] + at;
        for (size_t i = 0; i < n; i++)
            to[i] += w[i] * sound[i];
    }
}

void grains_process(Grains *grains, const PastSound *past, int64_t t, float *const *out, size_t at,
                    size_t n) {
    size_t kept = 0;
    for (size_t k = 0; k < grains->state.count; k++) {
        const Grain g = grains->state.grain[k];
        int64_t first = (int64_t)floor(g.centre - g.left) + 1,
                end = (int64_t)ceil(g.centre + g.right);
        int64_t from = first > t ? first : t, to = end < t + (int64_t)n ? end : t + (int64_t)n;
        if (out && from < to)
            add_grain(&g, past, from, out, at + (size_t)(from - t), (size_t)(to - from));
        if (end > t + (int64_t)n)
            grains->state.grain[kept++] = g;
    }
    grains->state.count = kept;
}
