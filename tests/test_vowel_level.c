/* SPDX-License-Identifier: ISC */
/* The remembered level of the vowels, held against closed forms. */
#include "run_tcase.h"
#include "signals.h"
#include "voice/vowel_level.h"

#include <check.h>
#include <math.h>
#include <stdlib.h>

static const double RATE = 2000.0; /* steps a second */
static const float VOWEL_BAND_DB = -30.0f;

static VowelLevel fresh(void) {
    VowelLevel v;
    vowel_level_prepare(&v, RATE);
    vowel_level_set(&v, -13.0f);
    return v;
}

/* A vowel of that level, its high band 30 dB under it. */
static void sing(VowelLevel *v, double seconds, float db) {
    for (double i = 0; i < seconds * RATE; i++)
        vowel_level_step(v, db, db + VOWEL_BAND_DB);
}

/* As a take begins: room tone, then a vowel. */
static VowelLevel after_a_vowel(double seconds, float db) {
    VowelLevel v = fresh();
    sing(&v, 0.2, db - 50.0f);
    sing(&v, seconds, db);
    return v;
}

static float level(const VowelLevel *v) {
    float db = NAN;
    ck_assert(vowel_level_get(v, &db));
    return db;
}

START_TEST(nothing_is_known_before_a_vowel) {
    VowelLevel v = fresh();
    float db = 7.0f;
    ck_assert(!vowel_level_get(&v, &db));
    ck_assert_float_eq(db, 7.0f);
    /* Room tone, however long and unsteady by +-5 dB, is not told from a voice by its level. */
    Random random = random_seeded(51);
    for (int i = 0; i < 60 * 2000; i++) {
        float room_db = (float)random_range(&random, -75.0, -65.0);
        vowel_level_step(&v, room_db, room_db + VOWEL_BAND_DB);
    }
    ck_assert(!vowel_level_get(&v, &db));
    /* Nor are a breath, whose high band is strong, and an /s/. */
    for (int i = 0; i < 1000; i++)
        vowel_level_step(&v, -45.0f, -51.0f);
    for (int i = 0; i < 1000; i++)
        vowel_level_step(&v, -45.0f, -25.0f);
    ck_assert(!vowel_level_get(&v, &db));
}
END_TEST

START_TEST(a_steady_vowel_is_its_level_after_50_ms) {
    float db;
    VowelLevel v = after_a_vowel(0.049, -20.0f);
    ck_assert(!vowel_level_get(&v, &db)); /* 50 ms are asked for */
    sing(&v, 0.001, -20.0f);
    ck_assert_float_eq(level(&v), -20.0f);
}
END_TEST

START_TEST(doubt_falls_to_nothing_in_half_a_second_of_vowel) {
    VowelLevel v = fresh();
    ck_assert_float_eq(vowel_level_doubt(&v), 1.0f);
    v = after_a_vowel(0.1, -20.0f);
    ck_assert_float_eq_tol(vowel_level_doubt(&v), 0.8f, 1e-4f);
    sing(&v, 0.4, -20.0f);
    ck_assert_float_eq(vowel_level_doubt(&v), 0.0f);
    vowel_level_reset(&v);
    ck_assert_float_eq(vowel_level_doubt(&v), 1.0f);
}
END_TEST

START_TEST(at_first_it_is_the_plain_mean) {
    VowelLevel v = after_a_vowel(0.05, -20.0f);
    sing(&v, 0.05, -26.0f);
    ck_assert_float_eq_tol(level(&v), -23.0f, 0.01f);
}
END_TEST

START_TEST(it_falls_in_3_s_and_rises_in_75_ms) {
    VowelLevel v = after_a_vowel(20.0, -20.0f);
    sing(&v, 3.0, -30.0f);
    /* exp(-1) of the way is left: 10 / e; a step of 0.5 ms is 1.7e-4 of 3 s. */
    ck_assert_double_eq_tol((double)level(&v), -30.0 + 10.0 * exp(-1.0), 0.01);
    v = after_a_vowel(20.0, -20.0f);
    sing(&v, 0.075, -10.0f);
    ck_assert_double_eq_tol((double)level(&v), -10.0 - 10.0 * exp(-1.0), 0.02);
}
END_TEST

START_TEST(sibilants_breaths_and_gaps_do_not_move_it) {
    VowelLevel v = after_a_vowel(3.0, -20.0f);
    float before = level(&v);
    for (int i = 0; i < 400; i++)
        vowel_level_step(&v, -45.0f, -22.0f); /* /s/ */
    for (int i = 0; i < 400; i++)
        vowel_level_step(&v, -26.0f, -24.0f); /* /z/ */
    for (int i = 0; i < 1000; i++)
        vowel_level_step(&v, -40.0f, -48.0f); /* breath */
    for (int i = 0; i < 1000; i++)
        vowel_level_step(&v, -300.0f, -300.0f); /* digital silence */
    ck_assert_float_eq(level(&v), before);
    /* Room tone, as quiet as it was before the voice. */
    sing(&v, 20.0, -70.0f);
    ck_assert_float_eq(level(&v), before);
}
END_TEST

START_TEST(a_fade_out_takes_it_down_by_2_db_a_second) {
    VowelLevel v = after_a_vowel(3.0, -20.0f);
    sing(&v, 2.0, -45.0f);
    ck_assert_float_eq_tol(level(&v), -24.0f, 0.05f);
}
END_TEST

START_TEST(what_was_mistaken_for_a_voice_is_soon_forgotten) {
    VowelLevel v = after_a_vowel(20.0, -60.0f);
    sing(&v, 0.1, -20.0f);
    /* 40 dB over: at 30 ms until 12 dB are left, 30 ln(40/12) = 36 ms; then at 75 ms. */
    double left = 12.0 * exp(-(100.0 - 30.0 * log(40.0 / 12.0)) / 75.0);
    ck_assert_double_eq_tol((double)level(&v), -20.0 - left, 0.1);
}
END_TEST

/* A bang 80 dB over the voice: with 20 dB a second until it is within 60 dB, then with 2 dB a
 * second, as after a fade-out. */
START_TEST(a_bang_does_not_make_it_deaf_for_good) {
    VowelLevel v = after_a_vowel(1.0, -20.0f);
    sing(&v, 0.5, 60.0f);
    ck_assert_float_eq_tol(level(&v), 60.0f, 0.2f);
    sing(&v, 1.0, -20.0f);
    ck_assert_float_eq_tol(level(&v), 40.0f, 0.2f);
    sing(&v, 20.0, -20.0f);
    ck_assert_float_eq_tol(level(&v), 0.0f, 0.2f);
    /* One moment of it before anything is known weighs no more than any other. */
    v = fresh();
    vowel_level_step(&v, -70.0f, -70.0f);
    vowel_level_step(&v, 60.0f, 0.0f);
    sing(&v, 1.0, -20.0f);
    ck_assert_float_eq_tol(level(&v), -20.0f, 1.0f);
}
END_TEST

START_TEST(a_gain_before_it_is_a_gain_after_it) {
    Random a = random_seeded(52), b = random_seeded(52);
    VowelLevel low = fresh(), high = fresh();
    for (int i = 0; i < 200000; i++) {
        double swing = 20.0 * sin(i * 1e-3) + random_range(&a, -6.0, 6.0);
        double other = 20.0 * sin(i * 1e-3) + random_range(&b, -6.0, 6.0);
        vowel_level_step(&low, (float)(-80.0 + swing), (float)(-98.0 + 1.2 * swing));
        vowel_level_step(&high, (float)(-28.0 + other), (float)(-46.0 + 1.2 * other));
    }
    /* The inputs are floats near 100, rounded to 4e-6. */
    ck_assert_float_eq_tol(level(&high) - level(&low), 52.0f, 2e-5f);
}
END_TEST

START_TEST(reset_forgets_everything) {
    VowelLevel v = after_a_vowel(3.0, -20.0f);
    float db;
    vowel_level_reset(&v);
    ck_assert(!vowel_level_get(&v, &db));
    sing(&v, 0.2, -90.0f);
    sing(&v, 0.2, -40.0f);
    ck_assert_float_eq(level(&v), -40.0f);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("vowel_level");
    tcase_add_test(tcase, nothing_is_known_before_a_vowel);
    tcase_add_test(tcase, a_steady_vowel_is_its_level_after_50_ms);
    tcase_add_test(tcase, doubt_falls_to_nothing_in_half_a_second_of_vowel);
    tcase_add_test(tcase, at_first_it_is_the_plain_mean);
    tcase_add_test(tcase, it_falls_in_3_s_and_rises_in_75_ms);
    tcase_add_test(tcase, sibilants_breaths_and_gaps_do_not_move_it);
    tcase_add_test(tcase, a_fade_out_takes_it_down_by_2_db_a_second);
    tcase_add_test(tcase, what_was_mistaken_for_a_voice_is_soon_forgotten);
    tcase_add_test(tcase, a_bang_does_not_make_it_deaf_for_good);
    tcase_add_test(tcase, a_gain_before_it_is_a_gain_after_it);
    tcase_add_test(tcase, reset_forgets_everything);
    return run_tcase(tcase, "vowel_level");
}
