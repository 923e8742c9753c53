/* SPDX-License-Identifier: ISC */
#include "detect/level_morphology.h"

#include "basic/simd.h"

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

/* A row in registers. */
enum { PARTS = BAND_LEVELS_ROW / SIMD_WIDTH };
typedef struct {
    Simd part[PARTS];
} Row;

static inline Row load(const float from[BAND_LEVELS_ROW]) {
    Row row;
    memcpy(&row, from, sizeof row);
    return row;
}

static inline Row larger(Row a, Row b) {
    for (size_t i = 0; i < PARTS; i++)
        a.part[i] = simd_larger(a.part[i], b.part[i]);
    return a;
}

static inline Row negative(Row row) {
    for (size_t i = 0; i < PARTS; i++)
        row.part[i] = -row.part[i];
    return row;
}

static Row step(RowMax *max, Row now) {
    Row out = now;
    size_t t = max->state.at++;
    for (unsigned k = 0; k <= max->top; k++) { /* now: the largest of the last 2^k rows */
        size_t length = (size_t)1 << k, mask = length - 1;
        float(*ring)[BAND_LEVELS_ROW] = max->state.ring + length;
        Row oldest = load(ring[t & mask]);
        memcpy(ring[t & mask], &now, sizeof now);
        if (k == max->top)
            out = larger(now, load(ring[(t - (max->window - length)) & mask]));
        now = larger(now, oldest);
    }
    return out;
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

void level_morphology_step(LevelMorphology *opening, const float in[BAND_LEVELS_ROW],
                           float out[BAND_LEVELS_ROW]) {
    Row closed = step(&opening->fill, load(in));
    Row cut = step(&opening->cut, negative(closed));
    Row open = step(&opening->restore, negative(cut));
    memcpy(out, &open, sizeof open);
}
