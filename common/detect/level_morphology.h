/* SPDX-License-Identifier: ISC */
/* level_morphology.h: levels without what stands out of them for a short while, on both sides.
 *
 * Grey-scale morphology along time (Serra, Image Analysis and Mathematical Morphology, 1982,
 * chapters IX and XII; the filter for impulses: Maragos and Schafer, IEEE TASSP 35(8), 1170-1184,
 * 1987): a closing by C hops fills every valley shorter than that, so that the pulses of a voice
 * become a plateau; an opening by O hops then cuts off every peak that rises and falls back within
 * that. For a row x[t] of levels, all indices being those of the same band:
 *     closed[t] = min_{j<C} max_{i<C} x[t - j - i]
 *     open[t]   = max_{k<O} min_{j<O} closed[t - k - j]
 * is the result for the hop t - (C + O - 2): every window of length C or O that holds this hop has
 * been seen by then. Where nothing stands out the result is the closing, never below x.
 * Sliding extremes by doubling, as in sliding_max.h, for a whole row at once.
 * Latency C + O - 2 hops. Cost about 22 comparisons of rows a hop. */
#ifndef SISKIN_DETECT_LEVEL_MORPHOLOGY_H
#define SISKIN_DETECT_LEVEL_MORPHOLOGY_H

#include "filter/band_levels.h"

#include <stdbool.h>
#include <stddef.h>

enum { LEVEL_MORPHOLOGY_STAGES = 7, LEVEL_MORPHOLOGY_MAX = 1 << LEVEL_MORPHOLOGY_STAGES };

/* The largest of the last `window` rows, band by band. */
typedef struct {
    size_t window; /* 1..LEVEL_MORPHOLOGY_MAX - 1 */
    unsigned top;  /* 2^top <= window */
    struct {
        size_t at;
        float ring[LEVEL_MORPHOLOGY_MAX][BAND_LEVELS_ROW]; /* stage k: 2^k rows, from row 2^k on */
    } state;
} RowMax;

typedef struct {
    RowMax fill, cut, restore; /* the first, the two inner, the last extreme */
} LevelMorphology;

/* Hops, >= 1; close + open at most LEVEL_MORPHOLOGY_MAX. true: something changed, and the history,
 * kept only as far as the windows need it, must be reset. */
bool level_morphology_set(LevelMorphology *opening, size_t close, size_t open);
/* History: rows of `level` for ever. */
void level_morphology_reset(LevelMorphology *opening, float level);
/* One row of levels in, the result of C + O - 2 hops ago out; in may equal out. */
void level_morphology_step(LevelMorphology *opening, const float in[BAND_LEVELS_ROW],
                           float out[BAND_LEVELS_ROW]);

static inline size_t level_morphology_latency(const LevelMorphology *opening) {
    return opening->cut.window - 1;
}

#endif
