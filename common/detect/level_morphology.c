/* SPDX-License-Identifier: ISC */
#include "detect/level_morphology.h"

#include <string.h>

/* true: changed. */
static bool set_window(RowMax *max, size_t window) {
    bool changed = window != max->window;
    max->window = window;
    max->top = 0;
    while (window >> (max->top + 1))
        max->top++;
    return changed;
}

static void reset(RowMax *max, float level) {
    max->state.at = 0;
    for (size_t i = 0; i < LEVEL_MORPHOLOGY_MAX; i++)
        for (size_t b = 0; b < BAND_LEVELS_ROW; b++)
            max->state.ring[i][b] = level;
}

static void larger(const float a[BAND_LEVELS_ROW], const float b[BAND_LEVELS_ROW],
                   float out[BAND_LEVELS_ROW]) {
    for (size_t i = 0; i < BAND_LEVELS_ROW; i++)
        out[i] = a[i] > b[i] ? a[i] : b[i];
}

static void step(RowMax *max, const float in[BAND_LEVELS_ROW], float out[BAND_LEVELS_ROW]) {
    float now[BAND_LEVELS_ROW]; /* the largest of the last 2^k rows */
    size_t t = max->state.at++;
    memcpy(now, in, sizeof now);
    for (unsigned k = 0; k <= max->top; k++) {
        size_t length = (size_t)1 << k, mask = length - 1;
        float(*ring)[BAND_LEVELS_ROW] = max->state.ring + length;
        float oldest[BAND_LEVELS_ROW];
        memcpy(oldest, ring[t & mask], sizeof oldest);
        memcpy(ring[t & mask], now, sizeof now);
        if (k == max->top)
            larger(now, ring[(t - (max->window - length)) & mask], out);
        larger(now, oldest, now);
    }
}

bool level_morphology_set(LevelMorphology *opening, size_t close, size_t open) {
    bool changed = set_window(&opening->fill, close);
    changed |= set_window(&opening->cut, close + open - 1);
    changed |= set_window(&opening->restore, open);
    return changed;
}

void level_morphology_reset(LevelMorphology *opening, float level) {
    reset(&opening->fill, level);
    reset(&opening->cut, -level);
    reset(&opening->restore, level);
}

static void negate(const float in[BAND_LEVELS_ROW], float out[BAND_LEVELS_ROW]) {
    for (size_t b = 0; b < BAND_LEVELS_ROW; b++)
        out[b] = -in[b];
}

void level_morphology_step(LevelMorphology *opening, const float in[BAND_LEVELS_ROW],
                           float out[BAND_LEVELS_ROW]) {
    float a[BAND_LEVELS_ROW], b[BAND_LEVELS_ROW];
    step(&opening->fill, in, a);
    negate(a, b);
    step(&opening->cut, b, a);
    negate(a, b);
    step(&opening->restore, b, out);
}
