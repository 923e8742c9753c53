/* SPDX-License-Identifier: ISC */
/* formant_fit.h: how well a vocal tract explains the levels of a voice's partials, and how much
 * better with a standing peak besides.
 *
 * Analysis by synthesis (Bell, Fujisaki, Heinz, Stevens and House, JASA 33(12), 1961, from memory):
 * the level of a partial at f is taken to be
 *     a + b log2(f / 500) + F1(f) + F2(f) + F3(f)
 * with a formant's gain |1 - (f/F)^2 + i f B / F^2|^-2 (Fant, Acoustic Theory of Speech Production,
 * 1960, from memory) at the best of TRACT_FIRSTS * TRACT_SECONDS places of the first and second
 * formant, a third one above them, and bandwidths of 70..160 Hz (Klatt, JASA 67, 1980, from
 * memory). a and b are those of least squares, b with a prior: with m partials,
 *     C(g) = min over F1, F2, a, b of  (prior b)^2 + sum over partials (level - g h - model)^2
 * for a peak of g dB whose shape is h(f), 1 at its top. The broad shape and mean slope of glottis
 * and microphone have to be taken off the levels before. For a pair of formants nothing is summed
 * over partials: it all follows from products of formants, shapes and levels, made once a frame
 * for either formant alone. Formants are read from a table 5 Hz apart, right within 0.05 dB.
 * No history. Cost of a frame: 600 operations a partial, and for each shape and g some
 * 2 TRACT_FIRSTS TRACT_SECONDS. For programs that measure. */
#ifndef SISKIN_MEASURE_FORMANT_FIT_H
#define SISKIN_MEASURE_FORMANT_FIT_H

#include "basic/arena.h"

#include <stdbool.h>
#include <stddef.h>

enum {
    TRACT_FIRSTS = 26,
    TRACT_SECONDS = 20,
    TRACT_PARTIALS = 24, /* at most in a frame */
    TRACT_ROW = TRACT_PARTIALS + 1,
    TRACT_SHAPES = 68, /* at most */
    TRACT_HIGHEST_HZ = 2000,
    TRACT_TABLE_HZ = 5, /* from 0 on */
    TRACT_TABLE = TRACT_HIGHEST_HZ / TRACT_TABLE_HZ + 2,
};

typedef struct {
    float level[TRACT_ROW]; /* with the best line taken off; the last one is the prior's */
    float slope;            /* of that line, dB an octave */
} TractRow;

typedef struct {
    double first_hz[TRACT_FIRSTS], second_hz[TRACT_SECONDS];
    float *table; /* [TRACT_FIRSTS + TRACT_SECONDS][TRACT_TABLE] dB */
    /* All from here on is of the last frame. */
    size_t partials, shapes;
    float line[2][TRACT_ROW], line_scale;
    TractRow first[TRACT_FIRSTS], second[TRACT_SECONDS], level, shape[TRACT_SHAPES];
    float pair[TRACT_FIRSTS][TRACT_SECONDS]; /* what a tract adds to the cost */
    size_t best_first, best_second;
    float first_by[TRACT_FIRSTS][TRACT_SHAPES], second_by[TRACT_SECONDS][TRACT_SHAPES];
    float level_by[TRACT_SHAPES], shape_square[TRACT_SHAPES], level_square;
} FormantFit;

/* false: the arena is full. */
bool formant_fit_prepare(FormantFit *fit, Arena *arena);
/* A frame: n = 2..TRACT_PARTIALS partials, their frequencies, 50..TRACT_HIGHEST_HZ, and levels in
 * dB. `prior` > 0: deviation of levels from the model over that of the slope in dB an octave. */
void formant_fit_frame(FormantFit *fit, const float *hz, const float *db, size_t n, float prior);
/* The frame's C(0), dB^2. */
float formant_fit_cost(const FormantFit *fit);
/* What the best tract and line leave of each partial, rest_db[n]. Returns b. */
float formant_fit_rest(const FormantFit *fit, float *rest_db);
/* count <= TRACT_SHAPES shapes at the frame's partials: shape[s * stride + partial]. */
void formant_fit_shapes(FormantFit *fit, const float *shape, size_t stride, size_t count);
/* cost[count]: C(g) with each of the shapes, dB^2. */
void formant_fit_costs(const FormantFit *fit, float g, float *cost);

#endif
