/* SPDX-License-Identifier: ISC */
#include "run_tcase.h"
#include "signals.h"
#include "voice/voice_level.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

static const double STEPS = 187.5; /* a second */
static VoiceLevel voice;

static void sing(double seconds, double db, bool periodic) {
    for (int k = 0; k < (int)lround(seconds * STEPS); k++)
        voice_level_step(&voice, (float)pow(10.0, db / 10.0), periodic);
}

static double level_db(void) {
    return 10.0 * log10((double)voice_level_power(&voice));
}

START_TEST(it_is_known_after_50_ms_of_singing) {
    voice_level_prepare(&voice, STEPS);
    ck_assert(!voice_level_known(&voice));
    sing(10.0, -40.0, false);
    ck_assert(!voice_level_known(&voice));
    sing(0.04, -20.0, true);
    ck_assert(!voice_level_known(&voice));
    sing(0.02, -20.0, true);
    ck_assert(voice_level_known(&voice));
    ck_assert_double_eq_tol(level_db(), -20.0, 1e-4);
}
END_TEST

START_TEST(it_begins_as_the_plain_mean_of_power) {
    /* Powers 1..50: the mean is 25.5. The exponential mean takes over after 1.5 s = 281 steps. */
    voice_level_prepare(&voice, STEPS);
    for (int k = 1; k <= 50; k++)
        voice_level_step(&voice, 1.0f + 0.02f * (float)k, true);
    ck_assert_double_eq_tol((double)voice_level_power(&voice), 1.51, 1e-5);
}
END_TEST

START_TEST(later_it_forgets_with_1500_ms) {
    voice_level_prepare(&voice, STEPS);
    sing(20.0, -20.0, true);
    sing(1.5, -30.0, true);
    /* 1/e of the step of power is left */
    double expected = 10.0 * log10(1e-3 + (1e-2 - 1e-3) * exp(-1.0));
    ck_assert_double_eq_tol(level_db(), expected, 0.02);
}
END_TEST

START_TEST(what_is_not_periodic_or_far_below_changes_nothing) {
    voice_level_prepare(&voice, STEPS);
    sing(3.0, -20.0, true);
    float before = voice_level_power(&voice);
    sing(5.0, 0.0, false);
    sing(5.0, -43.0, true);
    voice_level_step(&voice, 0.0f, true);
    ck_assert_float_eq(voice_level_power(&voice), before);
}
END_TEST

START_TEST(a_hum_taken_for_a_voice_is_corrected_in_a_fifth_of_a_second) {
    voice_level_prepare(&voice, STEPS);
    sing(10.0, -70.0, true);
    sing(0.2, -20.0, true);
    /* 50 ms time constant to within 12 dB, slower from there: nearly there in 4 of them */
    ck_assert_double_eq_tol(level_db(), -20.0, 13.0);
    sing(3.0, -20.0, true);
    ck_assert_double_eq_tol(level_db(), -20.0, 1.0);
}
END_TEST

START_TEST(gain_in_front_is_gain_of_the_level) {
    Random random = random_seeded(141);
    printf("seed 141\n");
    VoiceLevel loud;
    voice_level_prepare(&voice, STEPS);
    voice_level_prepare(&loud, STEPS);
    for (int k = 0; k < 5000; k++) {
        float power = (float)pow(10.0, random_range(&random, -7.0, -1.0));
        bool periodic = random_unit(&random) < 0.7;
        voice_level_step(&voice, power, periodic);
        voice_level_step(&loud, 1024.0f * power, periodic);
        ck_assert_float_eq(voice_level_power(&loud), 1024.0f * voice_level_power(&voice));
    }
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("voice_level");
    tcase_add_test(tcase, it_is_known_after_50_ms_of_singing);
    tcase_add_test(tcase, it_begins_as_the_plain_mean_of_power);
    tcase_add_test(tcase, later_it_forgets_with_1500_ms);
    tcase_add_test(tcase, what_is_not_periodic_or_far_below_changes_nothing);
    tcase_add_test(tcase, a_hum_taken_for_a_voice_is_corrected_in_a_fifth_of_a_second);
    tcase_add_test(tcase, gain_in_front_is_gain_of_the_level);
    return run_tcase(tcase, "voice_level");
}
