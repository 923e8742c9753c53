/* SPDX-License-Identifier: ISC */
#include "detect/level_morphology.h"
#include "run_tcase.h"
#include "signals.h"

#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { ROW = BAND_LEVELS_ROW, LENGTH = 700 };
static LevelMorphology opening;
static float in[LENGTH][ROW], out[LENGTH][ROW];

/* Sets up with the history at `level`. */
static void prepare(size_t close, size_t open, float level) {
    memset(&opening, 0, sizeof opening);
    (void)level_morphology_set(&opening, close, open);
    level_morphology_reset(&opening, level);
}

static void run(size_t n) {
    for (size_t t = 0; t < n; t++)
        level_morphology_step(&opening, in[t], out[t]);
}

static void fill(float level) {
    for (size_t t = 0; t < LENGTH; t++)
        for (size_t b = 0; b < ROW; b++)
            in[t][b] = level;
}

/* x of hops before the first: the history. */
static float at(const float *x, ptrdiff_t t, float level) {
    return t < 0 ? level : x[t];
}

/* max (sign 1) or min (sign -1) over the last n values, by the definition. */
static void extreme(const float *x, float *y, size_t n, float sign, float level) {
    for (ptrdiff_t t = 0; t < LENGTH; t++) {
        y[t] = at(x, t, level);
        for (size_t j = 1; j < n; j++) {
            float value = at(x, t - (ptrdiff_t)j, level);
            y[t] = sign * value > sign * y[t] ? value : y[t];
        }
    }
}

START_TEST(result_is_the_definition) {
    Random random = random_seeded(31);
    const size_t close[] = {1, 2, 5, 16, 16, 64}, open[] = {1, 3, 8, 24, 60, 64};
    for (size_t k = 0; k < sizeof close / sizeof *close; k++) {
        for (size_t t = 0; t < LENGTH; t++)
            for (size_t b = 0; b < ROW; b++)
                in[t][b] = (float)random_range(&random, -90.0, 0.0);
        prepare(close[k], open[k], -50.0f);
        run(LENGTH);
        for (size_t b = 0; b < ROW; b++) {
            static float x[LENGTH], y[LENGTH];
            for (size_t t = 0; t < LENGTH; t++)
                x[t] = in[t][b];
            extreme(x, y, close[k], 1.0f, -50.0f);
            extreme(y, x, close[k], -1.0f, -50.0f);
            extreme(x, y, open[k], -1.0f, -50.0f);
            extreme(y, x, open[k], 1.0f, -50.0f);
            for (size_t t = 0; t < LENGTH; t++)
                ck_assert_float_eq(out[t][b], x[t]);
        }
    }
}
END_TEST

/* A peak of `length` hops at hop 300; returns the result at its first hop. */
static float opened_peak(size_t length) {
    fill(-60.0f);
    for (size_t t = 300; t < 300 + length; t++)
        in[t][3] = -40.0f;
    prepare(16, 24, -60.0f);
    run(LENGTH);
    return out[300 + level_morphology_latency(&opening)][3];
}

START_TEST(what_falls_back_in_time_is_cut_off_and_what_stays_is_kept) {
    ck_assert_uint_eq((prepare(16, 24, 0.0f), level_morphology_latency(&opening)), 16 + 24 - 2);
    ck_assert_float_eq(opened_peak(1), -60.0f);
    ck_assert_float_eq(opened_peak(23), -60.0f);
    ck_assert_float_eq(opened_peak(24), -40.0f);
    ck_assert_float_eq(opened_peak(200), -40.0f);
}
END_TEST

START_TEST(pulses_closer_than_the_closing_are_a_plateau) {
    for (size_t period = 2; period <= 20; period++) {
        fill(-60.0f);
        for (size_t t = 100; t < LENGTH; t += period)
            in[t][0] = -30.0f;
        prepare(16, 24, -60.0f);
        run(LENGTH);
        /* The valleys have period - 1 hops; those shorter than 16 are filled. */
        ck_assert_float_eq(out[400][0], period <= 16 ? -30.0f : -60.0f);
    }
}
END_TEST

START_TEST(bands_do_not_touch_each_other) {
    fill(-60.0f);
    for (size_t t = 300; t < LENGTH; t++)
        in[t][2] = 0.0f;
    prepare(16, 24, -60.0f);
    run(LENGTH);
    for (size_t t = 0; t < LENGTH; t++)
        for (size_t b = 0; b < ROW; b++)
            if (b != 2)
                ck_assert_float_eq(out[t][b], -60.0f);
    ck_assert_float_eq(out[LENGTH - 1][2], 0.0f);
}
END_TEST

START_TEST(in_may_be_out) {
    Random random = random_seeded(32);
    for (size_t t = 0; t < LENGTH; t++)
        for (size_t b = 0; b < ROW; b++)
            in[t][b] = (float)random_normal(&random);
    prepare(16, 24, 0.0f);
    run(LENGTH);
    prepare(16, 24, 0.0f);
    for (size_t t = 0; t < LENGTH; t++) {
        level_morphology_step(&opening, in[t], in[t]);
        ck_assert(signals_same_bits(in[t], out[t], ROW));
    }
}
END_TEST

START_TEST(set_tells_whether_windows_changed) {
    memset(&opening, 0, sizeof opening);
    ck_assert(level_morphology_set(&opening, 16, 24));
    ck_assert(!level_morphology_set(&opening, 16, 24));
    ck_assert(level_morphology_set(&opening, 16, 25));
    ck_assert(level_morphology_set(&opening, 15, 25));
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("level opening");
    tcase_add_test(tcase, result_is_the_definition);
    tcase_add_test(tcase, what_falls_back_in_time_is_cut_off_and_what_stays_is_kept);
    tcase_add_test(tcase, pulses_closer_than_the_closing_are_a_plateau);
    tcase_add_test(tcase, bands_do_not_touch_each_other);
    tcase_add_test(tcase, in_may_be_out);
    tcase_add_test(tcase, set_tells_whether_windows_changed);
    return run_tcase(tcase, "level opening");
}
