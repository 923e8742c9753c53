/* SPDX-License-Identifier: ISC */
#include "measure/formant_fit.h"

#include <math.h>
#include <string.h>

static const double FIRST_LOW_HZ = 220.0, FIRST_HIGH_HZ = 1050.0;
static const double SECOND_LOW_HZ = 750.0, SECOND_HIGH_HZ = 3000.0;
static const double APART = 1.15; /* the second formant over the first, at least */
static const double THIRD_LEAST_HZ = 2600.0, THIRD_OVER_SECOND_HZ = 500.0;
static const double MIDDLE_HZ = 500.0;
static const float NEVER = 2e30f;

static double formant_db(double hz, double centre_hz, double width_hz) {
    double x = hz / centre_hz, q = x * width_hz / centre_hz;
    return -10.0 * log10((1.0 - x * x) * (1.0 - x * x) + q * q);
}

static double first_db(double hz, double centre_hz) {
    return formant_db(hz, centre_hz, 70.0 + 0.02 * centre_hz);
}

/* With the third formant, which lies over it. */
static double second_db(double hz, double centre_hz) {
    double third_hz = fmax(THIRD_LEAST_HZ, centre_hz + THIRD_OVER_SECOND_HZ);
    return formant_db(hz, centre_hz, 100.0) + formant_db(hz, third_hz, 160.0);
}

bool formant_fit_prepare(FormantFit *fit, Arena *arena) {
    memset(fit, 0, sizeof *fit);
    fit->table =
        arena_take(arena, (size_t)(TRACT_FIRSTS + TRACT_SECONDS) * TRACT_TABLE, sizeof(float));
    if (!fit->table)
        return false;
    for (size_t i = 0; i < TRACT_FIRSTS; i++) {
        fit->first_hz[i] =
            FIRST_LOW_HZ * pow(FIRST_HIGH_HZ / FIRST_LOW_HZ, (double)i / (TRACT_FIRSTS - 1));
        for (size_t t = 0; t < TRACT_TABLE; t++)
            fit->table[i * TRACT_TABLE + t] =
                (float)first_db((double)t * TRACT_TABLE_HZ, fit->first_hz[i]);
    }
    for (size_t i = 0; i < TRACT_SECONDS; i++) {
        fit->second_hz[i] =
            SECOND_LOW_HZ * pow(SECOND_HIGH_HZ / SECOND_LOW_HZ, (double)i / (TRACT_SECONDS - 1));
        for (size_t t = 0; t < TRACT_TABLE; t++)
            fit->table[(TRACT_FIRSTS + i) * TRACT_TABLE + t] =
                (float)second_db((double)t * TRACT_TABLE_HZ, fit->second_hz[i]);
    }
    return true;
}

static float product(const float *a, const float *b, size_t n) {
    float sum = 0.0f;
    for (size_t i = 0; i < n; i++)
        sum += a[i] * b[i];
    return sum;
}

/* Gram and Schmidt, over the partials and the prior's row. */
static void make_lines(FormantFit *fit, const float *hz, float prior) {
    size_t n = fit->partials;
    float even = 1.0f / sqrtf((float)n);
    for (size_t i = 0; i < n; i++) {
        fit->line[0][i] = even;
        fit->line[1][i] = (float)log2((double)hz[i] / MIDDLE_HZ);
    }
    fit->line[0][n] = 0.0f;
    fit->line[1][n] = prior;
    float share = product(fit->line[0], fit->line[1], n + 1);
    for (size_t i = 0; i <= n; i++)
        fit->line[1][i] -= share * fit->line[0][i];
    fit->line_scale = 1.0f / sqrtf(product(fit->line[1], fit->line[1], n + 1));
    for (size_t i = 0; i <= n; i++)
        fit->line[1][i] *= fit->line_scale;
}

/* Takes the best line off a row. */
static void straighten(const FormantFit *fit, TractRow *row) {
    size_t n = fit->partials + 1;
    row->level[n - 1] = 0.0f;
    for (size_t l = 0; l < 2; l++) {
        float share = product(row->level, fit->line[l], n);
        for (size_t i = 0; i < n; i++)
            row->level[i] -= share * fit->line[l][i];
        row->slope = share * fit->line_scale;
    }
}

static void read_table(const FormantFit *fit, size_t formant, const float *hz, TractRow *row) {
    const float *table = fit->table + formant * TRACT_TABLE;
    for (size_t p = 0; p < fit->partials; p++) {
        float at = hz[p] * (1.0f / TRACT_TABLE_HZ);
        size_t below = (size_t)at;
        row->level[p] = table[below] + (at - (float)below) * (table[below + 1] - table[below]);
    }
    straighten(fit, row);
}

static float alone(const FormantFit *fit, const TractRow *row) {
    size_t n = fit->partials + 1;
    return product(row->level, row->level, n) - 2.0f * product(row->level, fit->level.level, n);
}

static void make_pairs(FormantFit *fit) {
    float first[TRACT_FIRSTS];
    for (size_t i = 0; i < TRACT_FIRSTS; i++)
        first[i] = alone(fit, &fit->first[i]);
    fit->best_first = fit->best_second = 0;
    for (size_t k = 0; k < TRACT_SECONDS; k++) {
        float second = alone(fit, &fit->second[k]);
        for (size_t i = 0; i < TRACT_FIRSTS; i++) {
            float both = product(fit->first[i].level, fit->second[k].level, fit->partials + 1);
            bool apart = fit->second_hz[k] > APART * fit->first_hz[i];
            fit->pair[i][k] = apart ? first[i] + second + 2.0f * both : NEVER;
            if (fit->pair[i][k] < fit->pair[fit->best_first][fit->best_second]) {
                fit->best_first = i;
                fit->best_second = k;
            }
        }
    }
}

void formant_fit_frame(FormantFit *fit, const float *hz, const float *db, size_t n, float prior) {
    fit->partials = n;
    fit->shapes = 0;
    make_lines(fit, hz, prior);
    for (size_t i = 0; i < TRACT_FIRSTS; i++)
        read_table(fit, i, hz, &fit->first[i]);
    for (size_t k = 0; k < TRACT_SECONDS; k++)
        read_table(fit, TRACT_FIRSTS + k, hz, &fit->second[k]);
    memcpy(fit->level.level, db, n * sizeof *db);
    straighten(fit, &fit->level);
    fit->level_square = product(fit->level.level, fit->level.level, n + 1);
    make_pairs(fit);
}

float formant_fit_cost(const FormantFit *fit) {
    return fmaxf(0.0f, fit->level_square + fit->pair[fit->best_first][fit->best_second]);
}

float formant_fit_rest(const FormantFit *fit, float *rest_db) {
    const TractRow *first = &fit->first[fit->best_first];
    const TractRow *second = &fit->second[fit->best_second];
    for (size_t p = 0; p < fit->partials; p++)
        rest_db[p] = fit->level.level[p] - first->level[p] - second->level[p];
    return fit->level.slope - first->slope - second->slope;
}

void formant_fit_shapes(FormantFit *fit, const float *shape, size_t stride, size_t count) {
    size_t n = fit->partials + 1;
    fit->shapes = count;
    for (size_t s = 0; s < count; s++) {
        TractRow *row = &fit->shape[s];
        memcpy(row->level, shape + s * stride, fit->partials * sizeof *shape);
        straighten(fit, row);
        fit->level_by[s] = product(fit->level.level, row->level, n);
        fit->shape_square[s] = product(row->level, row->level, n);
        for (size_t i = 0; i < TRACT_FIRSTS; i++)
            fit->first_by[i][s] = product(fit->first[i].level, row->level, n);
        for (size_t k = 0; k < TRACT_SECONDS; k++)
            fit->second_by[k][s] = product(fit->second[k].level, row->level, n);
    }
}

void formant_fit_costs(const FormantFit *fit, float g, float *cost) {
    float best[TRACT_SHAPES], from[TRACT_SHAPES];
    size_t count = fit->shapes;
    for (size_t s = 0; s < count; s++)
        best[s] = NEVER;
    for (size_t i = 0; i < TRACT_FIRSTS; i++) {
        for (size_t s = 0; s < count; s++)
            from[s] = 2.0f * g * fit->first_by[i][s];
        for (size_t k = 0; k < TRACT_SECONDS; k++) {
            float pair = fit->pair[i][k];
            const float *by = fit->second_by[k];
            for (size_t s = 0; s < count; s++) {
                float sum = pair + from[s] + 2.0f * g * by[s];
                best[s] = sum < best[s] ? sum : best[s];
            }
        }
    }
    for (size_t s = 0; s < count; s++)
        cost[s] = fmaxf(0.0f, best[s] + fit->level_square - 2.0f * g * fit->level_by[s] +
                                  g * g * fit->shape_square[s]);
}
