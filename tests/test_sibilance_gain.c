/* SPDX-License-Identifier: ISC */
/* The law and the ballistics of the de-esser, held against closed forms. */
#include "gain/sibilance_gain.h"
#include "run_tcase.h"

#include <check.h>
#include <math.h>
#include <string.h>

static const double RATE = 2000.0;
static const SibilanceGainParams DEFAULTS = {.threshold_db = -13.5f,
                                             .strength = 0.8f,
                                             .range_db = 10.0f,
                                             .attack_ms = 1.0f,
                                             .release_ms = 60.0f};

static SibilanceGain fresh(const SibilanceGainParams *params) {
    SibilanceGain s;
    sibilance_gain_prepare(&s, RATE);
    sibilance_gain_set(&s, params);
    return s;
}

static float hold(SibilanceGain *s, double ms, float ratio_db, bool in_vowel) {
    float db = 0.0f;
    for (double i = 0; i < ms * 1e-3 * RATE; i++)
        db = sibilance_gain_step(s, ratio_db, in_vowel, 0.0f);
    return db;
}

static float settled(float strength, float excess_db) {
    SibilanceGainParams params = DEFAULTS;
    params.strength = strength;
    SibilanceGain s = fresh(&params);
    return hold(&s, 100.0, params.threshold_db + excess_db, false);
}

START_TEST(it_settles_at_what_the_law_says) {
    /* At 80 % of a range of 10 dB: nothing up to 0.2 * 8 dB over the threshold, then all that is
     * over that, from 8 dB on 0.8 of the excess, and past 8.5 dB of cut a quarter of that. */
    for (float excess = -20.0f; excess <= 40.0f; excess += 0.5f) {
        float expected = excess < 1.6f      ? 0.0f
                         : excess < 8.0f    ? excess - 1.6f
                         : excess < 10.625f ? 0.8f * excess
                                            : 8.5f + 0.2f * (excess - 10.625f);
        ck_assert_float_eq_tol(settled(0.8f, excess), fminf(expected, 10.0f), 1e-5f);
    }
    ck_assert_float_eq(settled(0.0f, 30.0f), 0.0f);
    ck_assert_float_eq_tol(settled(1.0f, 0.5f), 0.5f, 1e-5f);
    ck_assert_float_eq_tol(settled(1.0f, 8.0f), 8.0f, 1e-5f);
}
END_TEST

START_TEST(one_as_sung_is_spared_and_a_hot_one_is_not) {
    /* The threshold lies 1.25 dB under the /s/ of the literature (de-esser's default). */
    ck_assert_float_eq(settled(0.8f, 1.25f), 0.0f);
    ck_assert_float_ge(settled(0.8f, 11.25f), 8.0f);
}
END_TEST

START_TEST(the_hotter_never_ends_the_softer) {
    for (float strength = 0.0f; strength <= 1.0f; strength += 0.125f)
        for (float excess = 0.0f, before = 0.0f; excess <= 40.0f; excess += 0.5f) {
            float left = excess - settled(strength, excess);
            ck_assert_float_ge(left, before - 1e-5f);
            before = left;
        }
}
END_TEST

START_TEST(attack_and_release_are_time_constants_in_db) {
    SibilanceGainParams params = DEFAULTS;
    params.attack_ms = 10.0f;
    SibilanceGain s = fresh(&params);
    /* After tau, 1/e of the way is left (check value D.1: 63.2 % at tau). Excess 10 dB: goal 8. */
    ck_assert_double_eq_tol((double)hold(&s, 10.0, -3.5f, false), 8.0 * (1.0 - exp(-1.0)), 1e-3);
    hold(&s, 300.0, -3.5f, false);
    ck_assert_double_eq_tol((double)hold(&s, 60.0, -100.0f, false), 8.0 * exp(-1.0), 1e-3);
    /* With the vowel back, a twelfth of 60 ms. */
    hold(&s, 300.0, -3.5f, false);
    ck_assert_double_eq_tol((double)hold(&s, 5.0, -200.0f, true), 8.0 * exp(-1.0), 1e-3);
}
END_TEST

START_TEST(it_ends_in_exact_zero) {
    SibilanceGain s = fresh(&DEFAULTS);
    hold(&s, 100.0, 20.0f, false);
    /* 60 ln(10 / 0.01) = 414 ms. */
    ck_assert_float_gt(hold(&s, 413.0, -100.0f, false), 0.0f);
    ck_assert_float_eq(hold(&s, 2.0, -100.0f, false), 0.0f);
}
END_TEST

START_TEST(a_small_cut_that_is_wanted_is_not_cut_off) {
    ck_assert_float_eq_tol(settled(1.0f, 0.005f), 0.005f, 1e-4f);
}
END_TEST

START_TEST(it_never_exceeds_the_range) {
    SibilanceGain s = fresh(&DEFAULTS);
    for (int i = 0; i < 10000; i++)
        ck_assert_float_le(sibilance_gain_step(&s, 60.0f * sinf((float)i), i % 7 == 0, 0.0f),
                           10.0f);
}
END_TEST

START_TEST(reset_is_no_cut) {
    SibilanceGain s = fresh(&DEFAULTS);
    hold(&s, 100.0, 20.0f, false);
    sibilance_gain_reset(&s);
    ck_assert_float_eq(sibilance_gain_step(&s, -100.0f, false, 0.0f), 0.0f);
}
END_TEST

START_TEST(in_doubt_it_cuts_little_and_without_it_all_that_is_asked) {
    const float doubts[] = {1.0f, 0.8f, 0.5f, 0.0f}, most[] = {4.0f, 5.0f, 8.0f, 10.0f};
    for (int k = 0; k < 4; k++) {
        SibilanceGain s = fresh(&DEFAULTS);
        float db = 0.0f;
        for (int i = 0; i < 2000; i++) {
            db = sibilance_gain_step(&s, 60.0f, false, doubts[k]);
            ck_assert_float_le(db, most[k]);
        }
        ck_assert_float_eq_tol(db, most[k], 0.01f);
    }
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("sibilance_gain");
    tcase_add_test(tcase, it_settles_at_what_the_law_says);
    tcase_add_test(tcase, one_as_sung_is_spared_and_a_hot_one_is_not);
    tcase_add_test(tcase, the_hotter_never_ends_the_softer);
    tcase_add_test(tcase, attack_and_release_are_time_constants_in_db);
    tcase_add_test(tcase, it_ends_in_exact_zero);
    tcase_add_test(tcase, a_small_cut_that_is_wanted_is_not_cut_off);
    tcase_add_test(tcase, it_never_exceeds_the_range);
    tcase_add_test(tcase, reset_is_no_cut);
    tcase_add_test(tcase, in_doubt_it_cuts_little_and_without_it_all_that_is_asked);
    return run_tcase(tcase, "sibilance_gain");
}
