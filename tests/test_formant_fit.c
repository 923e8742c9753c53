/* SPDX-License-Identifier: ISC */
/* Against the same model written plainly in double: formants by their formula, the line by its
 * normal equations, all pairs tried. */
#include "measure/formant_fit.h"
#include "run_tcase.h"
#include "signals.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

enum { MEMORY = 1 << 20, N = 12 };
static unsigned char memory[MEMORY];
static FormantFit fit;

static void make(void) {
    Arena arena = arena_over(memory, MEMORY);
    ck_assert(formant_fit_prepare(&fit, &arena));
}

static double formant(double hz, double centre_hz, double width_hz) {
    double re = 1.0 - hz * hz / (centre_hz * centre_hz), im = hz * width_hz / centre_hz / centre_hz;
    return -20.0 * log10(hypot(re, im));
}

static double tract(double hz, double first_hz, double second_hz) {
    return formant(hz, first_hz, 70.0 + 0.02 * first_hz) + formant(hz, second_hz, 100.0) +
           formant(hz, fmax(2600.0, second_hz + 500.0), 160.0);
}

/* Least squares of y = a + b x with prior^2 b^2 added: the sum of squares, and b. */
static double line_cost(const double *x, const double *y, size_t n, double prior, double *slope) {
    double sx = 0.0, sy = 0.0, sxx = 0.0, sxy = 0.0, m = (double)n, cost = 0.0;
    for (size_t i = 0; i < n; i++) {
        sx += x[i];
        sy += y[i];
        sxx += x[i] * x[i];
        sxy += x[i] * y[i];
    }
    double b = (m * sxy - sx * sy) / (m * (sxx + prior * prior) - sx * sx);
    double a = (sy - b * sx) / m;
    for (size_t i = 0; i < n; i++)
        cost += (y[i] - a - b * x[i]) * (y[i] - a - b * x[i]);
    *slope = b;
    return cost + prior * prior * b * b;
}

static double plain_cost(const float *hz, const float *db, double prior, const float *shape,
                         double g) {
    double least = INFINITY, x[N], y[N], slope;
    for (size_t f = 0; f < TRACT_FIRSTS; f++)
        for (size_t s = 0; s < TRACT_SECONDS; s++) {
            if (fit.second_hz[s] <= 1.15 * fit.first_hz[f])
                continue;
            for (size_t i = 0; i < N; i++) {
                x[i] = log2((double)hz[i] / 500.0);
                y[i] = (double)db[i] - g * (double)shape[i] -
                       tract((double)hz[i], fit.first_hz[f], fit.second_hz[s]);
            }
            least = fmin(least, line_cost(x, y, N, prior, &slope));
        }
    return least;
}

static void random_frame(Random *random, float *hz, float *db, float *shape) {
    double f0 = random_range(random, 80.0, 160.0);
    for (size_t i = 0; i < N; i++) {
        hz[i] = (float)(f0 * (double)(i + 1));
        db[i] = (float)(-6.0 * log2((double)(i + 1)) + 6.0 * random_normal(random));
        shape[i] = (float)exp(-random_range(random, 0.0, 4.0));
    }
}

/* The table is right within 0.05 dB, so a rest of r dB squared within 2 * 0.05 |r|, summed over
 * partials: 0.1 sqrt(N cost) by Cauchy and Schwarz, and the squares themselves N 0.0025. Float
 * sums of squares of some 1e4 dB^2 add about 0.01. */
static double cost_bound(double cost) {
    return 0.1 * sqrt(N * cost) + N * 0.0025 + 0.01;
}

START_TEST(costs_are_those_of_the_plain_model) {
    const uint64_t seed = 31;
    printf("seed %llu\n", (unsigned long long)seed);
    Random random = random_seeded(seed);
    make();
    for (int k = 0; k < 40; k++) {
        float hz[N], db[N], shape[N], cost[1];
        float prior = (float)random_range(&random, 0.1, 4.0);
        random_frame(&random, hz, db, shape);
        formant_fit_frame(&fit, hz, db, N, prior);
        double without = plain_cost(hz, db, (double)prior, shape, 0.0);
        ck_assert_double_eq_tol((double)formant_fit_cost(&fit), without, cost_bound(without));
        formant_fit_shapes(&fit, shape, N, 1);
        for (int g = 0; g < 3; g++) {
            formant_fit_costs(&fit, 5.0f * (float)g, cost);
            double with = plain_cost(hz, db, (double)prior, shape, 5.0 * g);
            ck_assert_double_eq_tol((double)cost[0], with, cost_bound(with));
        }
    }
}
END_TEST

/* No prior to speak of: a tract and a line that the model holds are found whole. Rests are within
 * the table's 0.05 dB, a slope over 3.6 octaves then within 0.05 dB an octave. */
START_TEST(a_tract_of_the_model_leaves_nothing) {
    make();
    for (size_t f = 0; f < TRACT_FIRSTS; f += 5)
        for (size_t s = 0; s < TRACT_SECONDS; s += 3) {
            float hz[N], db[N], rest[N];
            double first = fit.first_hz[f], second = fit.second_hz[s];
            if (second < 1.2 * first)
                continue;
            for (size_t i = 0; i < N; i++) {
                hz[i] = (float)(110.0 * (double)(i + 1));
                db[i] = (float)(tract((double)hz[i], first, second) - 20.0 -
                                7.0 * log2((double)hz[i] / 500.0));
            }
            formant_fit_frame(&fit, hz, db, N, 1e-3f);
            double slope = (double)formant_fit_rest(&fit, rest);
            for (size_t i = 0; i < N; i++)
                ck_assert_double_eq_tol((double)rest[i], 0.0, 0.1);
            ck_assert_double_eq_tol(slope, -7.0, 0.1);
        }
}
END_TEST

/* Of a tract and a peak of the model, the cost is nothing at the peak's own height alone. */
START_TEST(a_peak_is_cheapest_at_its_own_height) {
    make();
    float hz[N], db[N], shape[N], cost[1];
    for (size_t i = 0; i < N; i++) {
        double away = ((double)i - 4.0) / 1.2;
        hz[i] = (float)(110.0 * (double)(i + 1));
        shape[i] = (float)(1.0 / (1.0 + away * away));
        db[i] = (float)(tract((double)hz[i], fit.first_hz[6], fit.second_hz[12])) + 8.0f * shape[i];
    }
    formant_fit_frame(&fit, hz, db, N, 1.0f);
    formant_fit_shapes(&fit, shape, N, 1);
    formant_fit_costs(&fit, 8.0f, cost);
    ck_assert_double_lt((double)cost[0], N * 0.0025 + 0.01);
    for (int g = 0; g <= 16; g += 4) {
        formant_fit_costs(&fit, (float)g, cost);
        if (g != 8)
            ck_assert_double_gt((double)cost[0], 1.0);
    }
}
END_TEST

START_TEST(levels_as_a_whole_do_not_matter) {
    Random random = random_seeded(5);
    float hz[N], db[N], shape[N];
    make();
    random_frame(&random, hz, db, shape);
    formant_fit_frame(&fit, hz, db, N, 1.0f);
    double cost = (double)formant_fit_cost(&fit);
    for (size_t i = 0; i < N; i++)
        db[i] -= 60.0f;
    formant_fit_frame(&fit, hz, db, N, 1.0f);
    ck_assert_double_eq_tol((double)formant_fit_cost(&fit), cost, 0.02);
}
END_TEST

START_TEST(a_small_arena_is_refused) {
    Arena arena = arena_over(memory, 1000);
    ck_assert(!formant_fit_prepare(&fit, &arena));
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("formant_fit");
    tcase_add_test(tcase, costs_are_those_of_the_plain_model);
    tcase_add_test(tcase, a_tract_of_the_model_leaves_nothing);
    tcase_add_test(tcase, a_peak_is_cheapest_at_its_own_height);
    tcase_add_test(tcase, levels_as_a_whole_do_not_matter);
    tcase_add_test(tcase, a_small_arena_is_refused);
    tcase_set_timeout(tcase, 120);
    return run_tcase(tcase, "formant_fit");
}
