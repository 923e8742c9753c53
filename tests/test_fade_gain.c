/* SPDX-License-Identifier: ISC */
#include "gain/fade_gain.h"
#include "run_tcase.h"
#include "signals.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

enum { LENGTH = 48000 };
static const double RATE = 48000.0;
static FadeGain fade;
static float gain[LENGTH], other[LENGTH];

static void prepare(float depth_db, float fade_ms) {
    fade_gain_prepare(&fade, RATE);
    fade_gain_set(&fade, &(FadeGainParams){.depth_db = depth_db, .fade_ms = fade_ms});
}

static double db(float g) {
    return 20.0 * log10((double)g);
}

START_TEST(at_rest_the_gain_is_exactly_1) {
    prepare(12.0f, 20.0f);
    ck_assert_float_eq(fade_gain_process(&fade, false, gain, LENGTH), 1.0f);
    for (size_t i = 0; i < LENGTH; i++)
        ck_assert_float_eq(gain[i], 1.0f);
    fade_gain_process(&fade, true, gain, 5000);
    fade_gain_process(&fade, false, gain, 960); /* 20 ms: back again */
    ck_assert_float_eq(gain[959], 1.0f);
}
END_TEST

START_TEST(a_fade_is_the_cubic_step_in_db) {
    const float depths[] = {6.0f, 12.0f, 60.0f}, lengths[] = {2.0f, 20.0f, 100.0f};
    for (int d = 0; d < 3; d++)
        for (int l = 0; l < 3; l++) {
            prepare(depths[d], lengths[l]);
            size_t n = (size_t)lround((double)lengths[l] * 48.0);
            float least = fade_gain_process(&fade, true, gain, n + 100);
            for (size_t i = 0; i < n + 100; i++) {
                double p = fmin((double)(i + 1) / (double)n, 1.0);
                double expected = -(double)depths[d] * p * p * (3.0 - 2.0 * p);
                ck_assert_double_eq_tol(db(gain[i]), expected, 1e-3);
            }
            ck_assert_float_eq(least, gain[n + 99]);
            fade_gain_process(&fade, false, gain, n + 100);
            for (size_t i = 0; i < n; i++) {
                double p = 1.0 - (double)(i + 1) / (double)n;
                double expected = -(double)depths[d] * p * p * (3.0 - 2.0 * p);
                ck_assert_double_eq_tol(db(gain[i]), expected, 1e-3);
            }
        }
}
END_TEST

START_TEST(it_never_jumps) {
    /* The steepest slope of the cubic step is 1.5 depth per fade. */
    Random random = random_seeded(171);
    printf("seed 171\n");
    prepare(24.0f, 10.0f);
    float last = 1.0f;
    for (int k = 0; k < 400; k++) {
        size_t n = 1 + random_below(&random, 700);
        fade_gain_process(&fade, random_unit(&random) < 0.5, gain, n);
        for (size_t i = 0; i < n; last = gain[i], i++)
            ck_assert_double_le(fabs(db(gain[i]) - db(last)), 1.5 * 24.0 / 480.0 + 1e-3);
    }
}
END_TEST

START_TEST(a_new_depth_is_approached_smoothly) {
    /* One pole of 20 ms: the first step is 1/960 of the change. */
    prepare(6.0f, 5.0f);
    fade_gain_process(&fade, true, gain, 4800);
    float last = gain[4799];
    fade_gain_set(&fade, &(FadeGainParams){.depth_db = 40.0f, .fade_ms = 5.0f});
    fade_gain_process(&fade, true, gain, LENGTH);
    for (size_t i = 0; i < LENGTH; last = gain[i], i++)
        ck_assert_double_le(fabs(db(gain[i]) - db(last)), 34.0 / 960.0 + 6e-3);
    ck_assert_double_eq_tol(db(gain[LENGTH - 1]), -40.0, 1e-3);
}
END_TEST

START_TEST(a_new_length_keeps_the_place_in_the_fade) {
    prepare(12.0f, 20.0f);
    fade_gain_process(&fade, true, gain, 480);
    float half = gain[479];
    fade_gain_set(&fade, &(FadeGainParams){.depth_db = 12.0f, .fade_ms = 100.0f});
    fade_gain_process(&fade, true, gain, 1);
    ck_assert_double_eq_tol(db(gain[0]), db(half), 0.05);
}
END_TEST

START_TEST(cutting_the_block_changes_no_bit) {
    Random random = random_seeded(172);
    printf("seed 172\n");
    prepare(12.0f, 20.0f);
    for (size_t at = 0; at < LENGTH; at += 1000)
        fade_gain_process(&fade, at / 1000 % 3 == 1, gain + at, 1000);
    fade_gain_reset(&fade);
    for (size_t at = 0; at < LENGTH;) {
        size_t n = random_below(&random, 200), room = 1000 - at % 1000;
        n = n < room ? n : room;
        fade_gain_process(&fade, at / 1000 % 3 == 1, other + at, n);
        at += n;
    }
    ck_assert(signals_same_bits(gain, other, LENGTH));
}
END_TEST

START_TEST(no_depth_does_nothing) {
    prepare(0.0f, 20.0f);
    fade_gain_process(&fade, true, gain, 2000);
    for (size_t i = 0; i < 2000; i++)
        ck_assert_float_eq(gain[i], 1.0f);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("fade_gain");
    tcase_add_test(tcase, at_rest_the_gain_is_exactly_1);
    tcase_add_test(tcase, a_fade_is_the_cubic_step_in_db);
    tcase_add_test(tcase, it_never_jumps);
    tcase_add_test(tcase, a_new_depth_is_approached_smoothly);
    tcase_add_test(tcase, a_new_length_keeps_the_place_in_the_fade);
    tcase_add_test(tcase, cutting_the_block_changes_no_bit);
    tcase_add_test(tcase, no_depth_does_nothing);
    return run_tcase(tcase, "fade_gain");
}
