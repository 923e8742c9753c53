/* SPDX-License-Identifier: ISC */
#include "run_tcase.h"
#include "voice/usual_level.h"

#include <check.h>
#include <math.h>

/* A round number of steps a second, so that 50 ms, 0.5 s and 30 s are whole. */
static const double STEPS = 200.0;

static UsualLevel fresh(void) {
    UsualLevel usual;
    usual_level_prepare(&usual, STEPS);
    return usual;
}

static void sing(UsualLevel *usual, int steps, float level_db) {
    for (int i = 0; i < steps; i++)
        usual_level_step(usual, level_db, 1.0f);
}

START_TEST(a_steady_voice_is_at_its_usual_level_from_fifty_milliseconds_on) {
    UsualLevel usual = fresh();
    for (int i = 0; i < 1000; i++) {
        ck_assert_int_eq(usual_level_known(&usual), i >= 10);
        sing(&usual, 1, -20.0f);
        ck_assert_float_eq(usual_level_db(&usual), -20.0f);
    }
}
END_TEST

START_TEST(what_is_not_sung_changes_nothing) {
    UsualLevel usual = fresh();
    sing(&usual, 100, -20.0f);
    float before = usual_level_db(&usual), most = usual_level_most(&usual);
    for (int i = 0; i < 5000; i++)
        usual_level_step(&usual, i % 2 ? -3.0f : -90.0f, 0.0f);
    ck_assert_float_eq(usual_level_db(&usual), before);
    ck_assert_float_eq(usual_level_most(&usual), most);
}
END_TEST

/* 10 s at -20 and 10 s at -26 that count a quarter: (1 * -20 + 0.25 * -26) / 1.25. */
START_TEST(what_counts_less_weighs_less) {
    UsualLevel usual = fresh();
    for (int i = 0; i < 2000; i++) {
        usual_level_step(&usual, -20.0f, 1.0f);
        usual_level_step(&usual, -26.0f, 0.25f);
    }
    ck_assert_float_eq_tol(usual_level_db(&usual), -21.2f, 0.1f);
}
END_TEST

/* Half at -16, half at -24 for 20 s: -20. Within the first 3 s it leaned to the higher, by half of
 * the 8 dB at most, of which 3 / 20 are left. */
START_TEST(it_is_the_mean_in_decibels_when_enough_was_sung) {
    UsualLevel usual = fresh();
    for (int i = 0; i < 2000; i++) {
        sing(&usual, 1, -16.0f);
        sing(&usual, 1, -24.0f);
    }
    ck_assert_float_ge(usual_level_db(&usual), -20.01f);
    ck_assert_float_le(usual_level_db(&usual), -20.0f + 4.0f * 3.0f / 20.0f);
}
END_TEST

START_TEST(it_begins_with_the_highest_of_fifty_milliseconds) {
    UsualLevel usual = fresh();
    sing(&usual, 4, -200.0f);
    sing(&usual, 1, -20.0f);
    sing(&usual, 4, -90.0f);
    ck_assert_float_eq(usual_level_db(&usual), -20.0f);
    sing(&usual, 1, -20.0f);
    ck_assert(usual_level_known(&usual));
    ck_assert_float_eq(usual_level_db(&usual), -20.0f);
}
END_TEST

/* 50 ms at -40, then 0.2 s at -20: a plain mean would be -24. In each step the distance to the note
 * shrinks by max(1 / n, d^2 (1 - exp(-5 / 50))): to 20 dB times the product. */
START_TEST(while_little_is_known_it_leans_to_the_louder) {
    UsualLevel usual = fresh();
    double apart = 20.0;
    sing(&usual, 10, -40.0f);
    for (int n = 11; n <= 50; n++) {
        double d = 100.0 / (100.0 + n);
        apart *= 1.0 - fmax(1.0 / n, d * d * (1.0 - exp(-0.1)));
    }
    sing(&usual, 40, -20.0f);
    ck_assert_float_eq_tol(usual_level_db(&usual), (float)(-20.0 - apart), 0.01f);
    ck_assert_double_le(apart, 2.0);
}
END_TEST

START_TEST(twelve_decibels_a_second_may_stand_over_it) {
    UsualLevel usual = fresh();
    sing(&usual, 20, -20.0f);
    ck_assert_float_eq_tol(usual_level_most(&usual), 1.2f, 1e-4f);
    sing(&usual, 380, -20.0f);
    ck_assert_float_eq_tol(usual_level_most(&usual), 24.0f, 1e-3f);
}
END_TEST

/* 60 s at -20, then 30 s at -26: an exponential mean over 30 s has gone 1 - 1/e of the way. */
START_TEST(the_last_thirty_seconds_count) {
    UsualLevel usual = fresh();
    sing(&usual, (int)(60.0 * STEPS), -20.0f);
    sing(&usual, (int)(30.0 * STEPS), -26.0f);
    ck_assert_float_eq_tol(usual_level_db(&usual), (float)(-20.0 - 6.0 * (1.0 - exp(-1.0))), 0.02f);
}
END_TEST

START_TEST(what_was_much_quieter_was_not_the_voice) {
    UsualLevel usual = fresh();
    sing(&usual, 4000, -60.0f);
    sing(&usual, 60, -20.0f);
    ck_assert_float_eq_tol(usual_level_db(&usual), -20.0f, 3.0f);
    ck_assert_float_le(usual_level_most(&usual), 12.0f * 0.31f);
    /* 14 dB louder is the voice, singing out. */
    usual = fresh();
    sing(&usual, 4000, -34.0f);
    sing(&usual, 60, -20.0f);
    ck_assert_float_le(usual_level_db(&usual), -33.0f);
}
END_TEST

START_TEST(a_constant_more_is_a_constant_more) {
    UsualLevel low = fresh(), high = fresh();
    for (int i = 0; i < 3000; i++) {
        float level = -40.0f + (float)(i * 7919 % 64) * 0.25f;
        usual_level_step(&low, level, i % 3 ? 1.0f : 0.0f);
        usual_level_step(&high, level + 32.0f, i % 3 ? 1.0f : 0.0f);
        if (!usual_level_known(&low))
            continue;
        float apart = usual_level_db(&high) - usual_level_db(&low);
        ck_assert_float_eq_tol(apart, 32.0f, 1e-3f);
    }
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("usual_level");
    tcase_add_test(tcase, a_steady_voice_is_at_its_usual_level_from_fifty_milliseconds_on);
    tcase_add_test(tcase, what_is_not_sung_changes_nothing);
    tcase_add_test(tcase, what_counts_less_weighs_less);
    tcase_add_test(tcase, it_is_the_mean_in_decibels_when_enough_was_sung);
    tcase_add_test(tcase, it_begins_with_the_highest_of_fifty_milliseconds);
    tcase_add_test(tcase, while_little_is_known_it_leans_to_the_louder);
    tcase_add_test(tcase, twelve_decibels_a_second_may_stand_over_it);
    tcase_add_test(tcase, the_last_thirty_seconds_count);
    tcase_add_test(tcase, what_was_much_quieter_was_not_the_voice);
    tcase_add_test(tcase, a_constant_more_is_a_constant_more);
    return run_tcase(tcase, "usual_level");
}
