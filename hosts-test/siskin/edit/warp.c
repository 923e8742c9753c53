/* SPDX-License-Identifier: ISC */
#include "siskin/edit/warp.h"

#include "siskin/text.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const double ALONG_BOTH = 1.4;
/* Of a step along one: a held vowel is like itself for long, and says little about time. */
static const double STEP_NATS = 2.0;
static const double LEVEL_NATS = 0.08; /* a dB */
static const double ONSET_NATS = 0.15; /* a dB */
static const double SOFTEST_DB = 50.0; /* under the voice: softer is as soft */

/* By which step a cell was reached. */
typedef enum { BOTH, FIRST, SECOND, STEPS } Step;

typedef struct {
    const Hearing *a, *b;
    WarpPart a_part, b_part;
    size_t rows, width;
    long *left;          /* of each row: the hop of b_part in its first cell, may be negative */
    float *cost, *above; /* [width][STEPS] of this row and of the one before */
    unsigned char *from; /* [rows][width][STEPS] the step before */
} Grid;

static double level_of(const Hearing *h, size_t hop) {
    return fmax((double)h->level_db[hop] - h->voice_db, -SOFTEST_DB);
}

static double distance(const Grid *g, size_t i, size_t j) {
    const float *x = g->a->cepstrum[g->a_part.first + i], *y = g->b->cepstrum[g->b_part.first + j];
    double sum = 0.0;
    for (size_t c = 0; c < HEARING_CEPSTRA; c++)
        sum += ((double)x[c] - (double)y[c]) * ((double)x[c] - (double)y[c]);
    double level =
        LEVEL_NATS * (level_of(g->a, g->a_part.first + i) - level_of(g->b, g->b_part.first + j));
    double onset = ONSET_NATS * ((double)g->a->onset[g->a_part.first + i] -
                                 (double)g->b->onset[g->b_part.first + j]);
    return sqrt(sum + level * level + onset * onset);
}

/* The cheapest way to come to a cell by `step` from the costs there; false: none. */
static void reach(const float *costs, bool rests, Step step, double own, float *cost,
                  unsigned char *from) {
    for (Step before = BOTH; before < STEPS; before++) {
        if (step != BOTH && before != BOTH && !(rests && before == step))
            continue;
        float sum = costs[before] + (float)(step == BOTH ? ALONG_BOTH * own : own + STEP_NATS);
        if (sum < *cost) {
            *cost = sum;
            *from = (unsigned char)before;
        }
    }
}

static void fill_row(Grid *g, size_t i) {
    size_t columns = g->b_part.last - g->b_part.first;
    bool a_rests = hearing_quiet(g->a, g->a_part.first + i);
    for (size_t k = 0; k < g->width; k++) {
        float *cost = &g->cost[k * STEPS];
        unsigned char *from = &g->from[(i * g->width + k) * STEPS];
        cost[BOTH] = cost[FIRST] = cost[SECOND] = INFINITY;
        long j = g->left[i] + (long)k;
        if (j < 0 || j >= (long)columns)
            continue;
        double own = distance(g, i, (size_t)j);
        if (i == 0 && j == 0)
            cost[BOTH] = (float)own;
        /* the cell above this one, in that row's own counting */
        long up = i > 0 ? j - g->left[i - 1] : -1;
        if (up >= 1 && up <= (long)g->width)
            reach(&g->above[(up - 1) * STEPS], false, BOTH, own, &cost[BOTH], &from[BOTH]);
        if (up >= 0 && up < (long)g->width)
            reach(&g->above[up * STEPS], a_rests, FIRST, own, &cost[FIRST], &from[FIRST]);
        if (k >= 1)
            reach(&cost[-STEPS], hearing_quiet(g->b, g->b_part.first + (size_t)j), SECOND, own,
                  &cost[SECOND], &from[SECOND]);
    }
}

static Step cheapest(const float *cost) {
    Step best = BOTH;
    for (Step step = FIRST; step < STEPS; step++)
        if (cost[step] < cost[best])
            best = step;
    return best;
}

/* Back from the last cell; each row gets the mean of its cells. */
static void walk_back(const Grid *g, Step step, float *at) {
    size_t i = g->rows - 1, j = g->b_part.last - g->b_part.first - 1;
    double sum = 0.0, n = 0.0;
    for (;;) {
        sum += (double)j;
        n += 1.0;
        Step before = (Step)g->from[(i * g->width + (size_t)((long)j - g->left[i])) * STEPS + step];
        bool leaves = step != SECOND || (i == 0 && j == 0);
        if (leaves) {
            at[i] = (float)((double)g->b_part.first + sum / n);
            sum = n = 0.0;
        }
        if (i == 0 && j == 0)
            return;
        i -= step != SECOND;
        j -= step != FIRST;
        step = before;
    }
}

static void place_band(Grid *g, double reach_s) {
    double reach = reach_s / g->a->hop_s;
    double start = (double)g->a_part.first - (double)g->b_part.first;
    double slope =
        (double)(g->b_part.last - g->b_part.first - 1) / fmax(1.0, (double)g->rows - 1.0);
    /* Equal times, unless the ends lie further apart than half the band. */
    double most = 0.0;
    for (size_t i = 0; i<g->rows; i += g->rows> 1 ? g->rows - 1 : 1)
        most = fmax(most, fabs((double)i + start - slope * (double)i));
    double mixed = most > 0.5 * reach ? 0.0 : 1.0;
    for (size_t i = 0; i < g->rows; i++)
        g->left[i] =
            lround(mixed * ((double)i + start) + (1.0 - mixed) * slope * (double)i - reach);
}

double warp(const Hearing *a, WarpPart a_part, const Hearing *b, WarpPart b_part, double reach_s,
            float *at) {
    Grid g = {.a = a, .b = b, .a_part = a_part, .b_part = b_part};
    g.rows = a_part.last - a_part.first;
    g.width = 2 * (size_t)lround(reach_s / a->hop_s) + 1;
    g.left = text_take(g.rows + 1, sizeof *g.left);
    g.cost = text_take(g.width, STEPS * sizeof *g.cost);
    g.above = text_take(g.width, STEPS * sizeof *g.above);
    g.from = text_take(g.rows * g.width + 1, STEPS);
    place_band(&g, reach_s);
    for (size_t i = 0; i < g.rows; i++) {
        float *old = g.above;
        g.above = g.cost;
        g.cost = old;
        fill_row(&g, i);
    }
    long last = (long)(b_part.last - b_part.first) - 1 - g.left[g.rows - 1];
    double mean = INFINITY;
    if (last >= 0 && last < (long)g.width) {
        const float *cost = g.cost + last * STEPS;
        Step step = cheapest(cost);
        if (isfinite(cost[step])) {
            walk_back(&g, step, at);
            mean = (double)cost[step] / (ALONG_BOTH * (double)g.rows);
        }
    }
    free(g.left);
    free(g.cost);
    free(g.above);
    free(g.from);
    return mean;
}
