/* SPDX-License-Identifier: ISC */
#include "gain/gain_computer.h"
#include "run_tcase.h"
#include "signals.h"

#include <check.h>
#include <math.h>
#include <stdlib.h>

static GainComputer designed(double threshold, double ratio, double knee, double range) {
    GainComputer computer;
    gain_computer_set(&computer, &(GainComputerParams){.threshold_db = (float)threshold,
                                                       .ratio = (float)ratio,
                                                       .knee_db = (float)knee,
                                                       .range_db = (float)range});
    return computer;
}

/* Levels of -200..60 dB in float, a few roundings: 260 * 2^-24 * 4. */
static const double ROUNDING_DB = 7e-5;

START_TEST(the_curve_has_the_published_values) {
    /* Giannoulis, Massberg, Reiss 2012, eq. 4, evaluated for T = -20, R = 4, W = 10. */
    const double level[] = {-30, -25, -22, -20, -18, -15, -10, 0};
    const double result[] = {-30, -25, -22.3375, -20.9375, -19.8375, -18.75, -17.5, -15};
    GainComputer c = designed(-20.0, 4.0, 10.0, 60.0);
    for (int i = 0; i < 8; i++) {
        double reduction = (double)gain_computer_reduction(&c, (float)level[i]);
        ck_assert_double_eq_tol(level[i] - reduction, result[i], ROUNDING_DB);
    }
    /* T = -18, R infinite, W = 6. */
    const double limiter_level[] = {-21, -18, -15, 0}, limited[] = {-21, -18.75, -18, -18};
    c = designed(-18.0, 1e9, 6.0, 60.0);
    for (int i = 0; i < 4; i++) {
        double reduction = (double)gain_computer_reduction(&c, (float)limiter_level[i]);
        ck_assert_double_eq_tol(limiter_level[i] - reduction, limited[i], ROUNDING_DB);
    }
}
END_TEST

/* The three cases of eq. 4 as they are printed, in double. */
static double published(double x, double t, double r, double w) {
    double y = t + (x - t) / r;
    if (2.0 * (x - t) < -w)
        y = x;
    else if (2.0 * fabs(x - t) <= w && w > 0.0)
        y = x + (1.0 / r - 1.0) * (x - t + w / 2.0) * (x - t + w / 2.0) / (2.0 * w);
    return x - y;
}

START_TEST(one_formula_equals_the_three_cases) {
    for (int t_step = 0; t_step < 5; t_step++) {
        double t = -60.0 + 15.0 * t_step;
        for (int r_step = 0; r_step < 6; r_step++) {
            double r = pow(1.7, r_step);
            for (int w_step = 0; w_step < 5; w_step++) {
                double w = 6.0 * w_step;
                GainComputer c = designed(t, r, w, 1000.0);
                for (int step = 0; step < 839; step++) {
                    double x = -200.0 + 0.31 * step;
                    double want = published((double)(float)x, t, (double)(float)r, w);
                    ck_assert_double_eq_tol((double)gain_computer_reduction(&c, (float)x), want,
                                            ROUNDING_DB);
                }
            }
        }
    }
}
END_TEST

START_TEST(the_knee_has_no_corner_and_the_curve_never_falls) {
    GainComputer c = designed(-30.0, 8.0, 12.0, 60.0);
    float last = 0.0f, last_slope = 0.0f;
    for (int i = -6000; i <= 0; i++) {
        float now = gain_computer_reduction(&c, (float)i * 0.01f);
        ck_assert_float_ge(now, last);
        float slope = (now - last) / 0.01f;
        /* The parabola's slope grows by (1 - 1/R) / W a dB; rounding of levels adds 2^-18 / 0.01.
         */
        ck_assert_float_lt(fabsf(slope - last_slope), 0.875f / 12.0f * 0.01f + 1e-3f);
        last = now;
        last_slope = slope;
    }
}
END_TEST

START_TEST(range_is_never_exceeded_and_nothing_happens_below_the_knee) {
    GainComputer c = designed(-36.0, 20.0, 6.0, 12.0);
    for (int step = 0; step < 2601; step++) {
        double x = -200.0 + 0.1 * step;
        float reduction = gain_computer_reduction(&c, (float)x);
        ck_assert_float_ge(reduction, 0.0f);
        ck_assert_float_le(reduction, 12.0f);
        if (x <= -39.0)
            ck_assert_float_eq(reduction, 0.0f);
        if (x > -20.0)
            ck_assert_float_eq(reduction, 12.0f);
    }
    c = designed(-36.0, 1.0, 6.0, 12.0);
    ck_assert_float_eq(gain_computer_reduction(&c, 0.0f), 0.0f);
}
END_TEST

START_TEST(an_array_is_its_frames_in_place_too) {
    enum { N = 1000 };
    float level[N], reduction[N];
    Random random = random_seeded(41);
    for (int i = 0; i < N; i++)
        level[i] = (float)random_range(&random, -90.0, 6.0);
    GainComputer c = designed(-40.0, 3.0, 9.0, 20.0);
    gain_computer_process(&c, level, reduction, N);
    for (int i = 0; i < N; i++)
        ck_assert_float_eq(reduction[i], gain_computer_reduction(&c, level[i]));
    gain_computer_process(&c, level, level, N);
    ck_assert(signals_same_bits(level, reduction, N));
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("gain_computer");
    tcase_add_test(tcase, the_curve_has_the_published_values);
    tcase_add_test(tcase, one_formula_equals_the_three_cases);
    tcase_add_test(tcase, the_knee_has_no_corner_and_the_curve_never_falls);
    tcase_add_test(tcase, range_is_never_exceeded_and_nothing_happens_below_the_knee);
    tcase_add_test(tcase, an_array_is_its_frames_in_place_too);
    return run_tcase(tcase, "gain_computer");
}
