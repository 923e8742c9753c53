/* SPDX-License-Identifier: ISC */
#include "run_tcase.h"
#include "signals.h"
#include "voice/scene_class.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

static float p[SCENE_KINDS];

static SceneKind likeliest(const SceneFeatures *moment, float sensitivity_db) {
    scene_class(moment, sensitivity_db, p);
    int best = 0;
    for (int c = 1; c < SCENE_KINDS; c++)
        best = p[c] > p[best] ? c : best;
    return (SceneKind)best;
}

/* An inhalation as Werner et al. 2021 and 2023 describe it: noise, about 30 dB under the voice,
 * even over the octaves up to 3 kHz, falling above, little below its first peak. */
static SceneFeatures air(void) {
    return (SceneFeatures){.value = {[SCENE_PERIODIC] = 0.2f,
                                     [SCENE_OVER_ROOM] = 20.0f,
                                     [SCENE_OVER_VOICE] = -30.0f,
                                     [SCENE_LOW] = -12.0f,
                                     [SCENE_FIRST] = -6.0f,
                                     [SCENE_THIRD] = 0.0f,
                                     [SCENE_HIGH] = -6.0f,
                                     [SCENE_HISS] = -18.0f},
                           .voice_known = true};
}

static SceneFeatures changed(SceneFeature feature, float value) {
    SceneFeatures moment = air();
    moment.value[feature] = value;
    return moment;
}

START_TEST(an_inhalation_is_a_breath_as_loud_as_breaths_are) {
    for (int db = -40; db <= -15; db++) {
        SceneFeatures moment = changed(SCENE_OVER_VOICE, (float)db);
        ck_assert_int_eq(likeliest(&moment, 0.0f), SCENE_BREATH);
    }
}
END_TEST

START_TEST(it_is_one_before_any_voice_was_heard) {
    SceneFeatures moment = changed(SCENE_OVER_VOICE, 150.0f);
    moment.voice_known = false;
    ck_assert_int_eq(likeliest(&moment, 0.0f), SCENE_BREATH);
}
END_TEST

START_TEST(what_is_periodic_is_voiced) {
    SceneFeatures moment = changed(SCENE_PERIODIC, 0.95f);
    moment.value[SCENE_LOW] = 10.0f;
    ck_assert_int_eq(likeliest(&moment, 0.0f), SCENE_VOICED);
}
END_TEST

START_TEST(sibilants_are_none) {
    /* Jongman, Wayland and Wong 2000: /s/ lies 11 dB under the vowel, peak at 6.8 kHz, so that the
     * octave from 5.7 kHz holds far more than the core. */
    SceneFeatures moment = changed(SCENE_HISS, 15.0f);
    moment.value[SCENE_HIGH] = 5.0f;
    moment.value[SCENE_OVER_VOICE] = -20.0f;
    moment.value[SCENE_OVER_ROOM] = 40.0f;
    ck_assert_int_eq(likeliest(&moment, 0.0f), SCENE_VOICELESS);
    /* /f/: flat, 21 dB under it: each octave 3 dB more than the one below */
    moment.value[SCENE_HISS] = 6.0f;
    moment.value[SCENE_HIGH] = 2.0f;
    moment.value[SCENE_THIRD] = 3.0f;
    ck_assert_int_eq(likeliest(&moment, 0.0f), SCENE_VOICELESS);
}
END_TEST

START_TEST(what_does_not_stand_over_the_room_is_room) {
    SceneFeatures moment = changed(SCENE_OVER_ROOM, 1.0f);
    moment.value[SCENE_OVER_VOICE] = -55.0f;
    ck_assert_int_eq(likeliest(&moment, 0.0f), SCENE_ROOM);
}
END_TEST

START_TEST(without_treble_a_breath_is_told_by_the_rest) {
    /* The same air and the same /s/ by telephone: nothing above 3.4 kHz. /s/ has a rising spectrum
     * (Jongman, Wayland and Wong 2000: its peak is at 6.8 kHz), a breath an even one. */
    SceneFeatures moment = changed(SCENE_HISS, -52.0f);
    moment.value[SCENE_HIGH] = -11.0f;
    moment.value[SCENE_FIRST] = -9.0f;
    SceneFeatures hiss = moment;
    hiss.value[SCENE_THIRD] = 16.0f;
    ck_assert_int_eq(likeliest(&hiss, 0.0f), SCENE_BREATH); /* as it is taken for where treble is */
    moment.dull = hiss.dull = 1.0f;
    ck_assert_int_eq(likeliest(&moment, 0.0f), SCENE_BREATH);
    ck_assert_int_eq(likeliest(&hiss, 0.0f), SCENE_VOICELESS);
    SceneFeatures other = moment;
    other.value[SCENE_HISS] = other.value[SCENE_HIGH] = 20.0f;
    scene_class(&moment, 0.0f, p);
    float with = p[SCENE_BREATH];
    scene_class(&other, 0.0f, p);
    ck_assert_float_eq(p[SCENE_BREATH], with);
}
END_TEST

START_TEST(probabilities_are_those_of_exact_arithmetic) {
    /* decibel.h: exp2 within 4e-7 relative, the sum as much again; log2 within 5e-7, of which
     * 0.2 ln 2 = 0.14 is left, on top of what an error of p makes: 0.2 * 1e-6 / 0.05. */
    Random random = random_seeded(191);
    printf("seed 191\n");
    for (int k = 0; k < 1000; k++) {
        SceneFeatures moment = {.voice_known = k % 2 == 0};
        float evidence[SCENE_KINDS], turned[SCENE_KINDS];
        double sum = 0.0;
        for (int f = 0; f < SCENE_FEATURES; f++)
            moment.value[f] = (float)random_range(&random, -60.0, 60.0);
        scene_class(&moment, 0.0f, p);
        scene_class_evidence(p, evidence);
        for (int c = 0; c < SCENE_KINDS; c++) {
            ck_assert_float_ge(p[c], 0.0f);
            sum += (double)p[c];
            double exact = 0.2 * log((double)p[c] * 0.8 + 0.05);
            ck_assert_double_eq_tol((double)evidence[c], exact, 1e-6);
        }
        ck_assert_double_eq_tol(sum, 1.0, 1e-6);
        /* A dB of sensitivity multiplies the odds of a breath by exp(0.15). */
        scene_class(&moment, 2.0f, turned);
        double odds = (double)p[SCENE_BREATH] / (1.0 - (double)p[SCENE_BREATH]) * exp(0.3);
        ck_assert_double_eq_tol((double)turned[SCENE_BREATH], odds / (1.0 + odds), 2e-6);
    }
}
END_TEST

START_TEST(odds_are_those_of_the_evidence) {
    Random random = random_seeded(193);
    printf("seed 193\n");
    for (int k = 0; k < 1000; k++) {
        float evidence[SCENE_KINDS];
        for (int c = 0; c < SCENE_KINDS; c++)
            p[c] = (float)random_unit(&random);
        scene_class_evidence(p, evidence);
        double odds = exp(((double)evidence[0] - (double)evidence[1]) / 0.2);
        ck_assert_double_eq_tol((double)scene_class_odds(p[0], p[1]) / odds, 1.0, 1e-5);
    }
}
END_TEST

START_TEST(sensitivity_settles_doubt_and_no_more) {
    Random random = random_seeded(192);
    printf("seed 192\n");
    for (int k = 0; k < 1000; k++) {
        SceneFeatures moment = air();
        for (int f = 1; f < SCENE_FEATURES; f++)
            moment.value[f] += (float)random_range(&random, -20.0, 20.0);
        float last = -1e9f;
        for (int db = -12; db <= 12; db += 4) {
            scene_class(&moment, (float)db, p);
            ck_assert_float_ge(p[SCENE_BREATH], last);
            last = p[SCENE_BREATH];
        }
    }
    SceneFeatures vowel = changed(SCENE_PERIODIC, 0.95f);
    vowel.value[SCENE_LOW] = 10.0f;
    ck_assert_int_eq(likeliest(&vowel, 12.0f), SCENE_VOICED);
    SceneFeatures plain = air();
    ck_assert_int_eq(likeliest(&plain, -6.0f), SCENE_BREATH);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("scene_class");
    tcase_add_test(tcase, an_inhalation_is_a_breath_as_loud_as_breaths_are);
    tcase_add_test(tcase, it_is_one_before_any_voice_was_heard);
    tcase_add_test(tcase, what_is_periodic_is_voiced);
    tcase_add_test(tcase, sibilants_are_none);
    tcase_add_test(tcase, what_does_not_stand_over_the_room_is_room);
    tcase_add_test(tcase, without_treble_a_breath_is_told_by_the_rest);
    tcase_add_test(tcase, probabilities_are_those_of_exact_arithmetic);
    tcase_add_test(tcase, odds_are_those_of_the_evidence);
    tcase_add_test(tcase, sensitivity_settles_doubt_and_no_more);
    return run_tcase(tcase, "scene_class");
}
