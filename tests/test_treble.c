/* SPDX-License-Identifier: ISC */
#include "run_tcase.h"
#include "signals.h"
#include "voice/treble.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

static const double STEPS = 187.5; /* a second */
static const float VOICE = 0.01f;  /* -20 dB */
static Treble treble;

/* Sounds with so much above 5745 Hz, dBFS. */
static void hear(double hops, double treble_db, bool sung) {
    VoiceFrame frame = {.power = {0.01f}};
    frame.power[5] = (float)pow(10.0, 0.1 * treble_db);
    for (int k = 0; k < (int)lround(hops); k++)
        treble_step(&treble, &frame, sung);
}

START_TEST(one_sibilant_shows_it_and_a_telephone_never_does) {
    /* /s/ 11 dB under the vowel (Jongman, Wayland and Wong 2000); a telephone band ends at 3400 Hz
     * (ITU-T G.712), and half-bands leave 50 dB less there. */
    treble_prepare(&treble, STEPS);
    hear(1000, -70.0, true);
    ck_assert_float_eq(treble_dull(&treble, VOICE), 1.0f);
    hear(TREBLE_HOPS, -31.0, false);
    ck_assert_float_eq(treble_dull(&treble, VOICE), 0.0f);
}
END_TEST

START_TEST(a_click_does_not_show_it) {
    treble_prepare(&treble, STEPS);
    hear(100, -70.0, true);
    hear(TREBLE_HOPS - 1, -20.0, false);
    hear(1, -70.0, false);
    ck_assert_float_eq(treble_dull(&treble, VOICE), 1.0f);
}
END_TEST

START_TEST(it_falls_by_a_decibel_with_each_second_that_is_sung) {
    treble_prepare(&treble, STEPS);
    hear(10, -50.0, false);
    hear(60.0 * STEPS, -90.0, false); /* a rest changes nothing */
    ck_assert_double_eq_tol((double)treble_held_db(&treble), -50.0, 1e-3);
    hear(6.0 * STEPS, -90.0, true);
    ck_assert_double_eq_tol((double)treble_held_db(&treble), -56.0, 0.02);
    /* 36 dB under the voice is halfway between 32 and 40. */
    ck_assert_double_eq_tol((double)treble_dull(&treble, VOICE), 0.5, 0.01);
}
END_TEST

START_TEST(a_gain_in_front_changes_nothing) {
    Random random = random_seeded(211);
    printf("seed 211\n");
    for (int k = 0; k < 200; k++) {
        double db = random_range(&random, -80.0, -20.0),
               gain_db = random_range(&random, -40.0, 20.0);
        treble_prepare(&treble, STEPS);
        hear(5, db, true);
        float plain = treble_dull(&treble, VOICE);
        treble_prepare(&treble, STEPS);
        hear(5, db + gain_db, true);
        float louder = treble_dull(&treble, VOICE * (float)pow(10.0, 0.1 * gain_db));
        /* Each logarithm is within 2.4e-5 dB, of a ramp of 8 dB; powers are floats. */
        ck_assert_float_eq_tol(plain, louder, 1e-4f);
    }
}
END_TEST

START_TEST(what_was_known_before_holds_from_the_first_hop) {
    treble_prepare(&treble, STEPS);
    treble_begin_with(&treble, -30.0f);
    ck_assert_float_eq(treble_dull(&treble, VOICE), 0.0f);
    treble_reset(&treble);
    ck_assert_float_eq(treble_dull(&treble, VOICE), 1.0f);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("treble");
    tcase_add_test(tcase, one_sibilant_shows_it_and_a_telephone_never_does);
    tcase_add_test(tcase, a_click_does_not_show_it);
    tcase_add_test(tcase, it_falls_by_a_decibel_with_each_second_that_is_sung);
    tcase_add_test(tcase, a_gain_in_front_changes_nothing);
    tcase_add_test(tcase, what_was_known_before_holds_from_the_first_hop);
    return run_tcase(tcase, "treble");
}
