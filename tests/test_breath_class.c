/* SPDX-License-Identifier: ISC */
#include "run_tcase.h"
#include "signals.h"
#include "voice/breath_class.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

static float likelihood[SOUND_CLASSES];

static SoundClass likeliest(const BreathMoment *moment, float sensitivity_db) {
    breath_class(moment, sensitivity_db, likelihood);
    int best = 0;
    for (int c = 1; c < SOUND_CLASSES; c++)
        best = likelihood[c] > likelihood[best] ? c : best;
    return (SoundClass)best;
}

/* An inhalation as Werner et al. 2021 and 2023 describe it: noise, about 30 dB under the voice,
 * even over the octaves up to 3 kHz, falling above, little below its first peak. */
static BreathMoment air(void) {
    return (BreathMoment){.value = {[BREATH_PERIODIC] = 0.2f,
                                    [BREATH_OVER_ROOM] = 20.0f,
                                    [BREATH_OVER_VOICE] = -30.0f,
                                    [BREATH_LOW] = -12.0f,
                                    [BREATH_FIRST] = -6.0f,
                                    [BREATH_THIRD] = 0.0f,
                                    [BREATH_HIGH] = -6.0f,
                                    [BREATH_HISS] = -18.0f},
                          .voice_known = true};
}

static BreathMoment changed(BreathFeature feature, float value) {
    BreathMoment moment = air();
    moment.value[feature] = value;
    return moment;
}

START_TEST(an_inhalation_is_a_breath_as_loud_as_breaths_are) {
    for (int db = -40; db <= -15; db++) {
        BreathMoment moment = changed(BREATH_OVER_VOICE, (float)db);
        ck_assert_int_eq(likeliest(&moment, 0.0f), SOUND_BREATH);
    }
}
END_TEST

START_TEST(it_is_one_before_any_voice_was_heard) {
    BreathMoment moment = changed(BREATH_OVER_VOICE, 150.0f);
    moment.voice_known = false;
    ck_assert_int_eq(likeliest(&moment, 0.0f), SOUND_BREATH);
}
END_TEST

START_TEST(what_is_periodic_is_voiced) {
    BreathMoment moment = changed(BREATH_PERIODIC, 0.95f);
    moment.value[BREATH_LOW] = 10.0f;
    ck_assert_int_eq(likeliest(&moment, 0.0f), SOUND_VOICED);
}
END_TEST

START_TEST(sibilants_are_none) {
    /* Jongman, Wayland and Wong 2000: /s/ lies 11 dB under the vowel, peak at 6.8 kHz, so that the
     * octave from 5.7 kHz holds far more than the core. */
    BreathMoment moment = changed(BREATH_HISS, 15.0f);
    moment.value[BREATH_HIGH] = 5.0f;
    moment.value[BREATH_OVER_VOICE] = -20.0f;
    moment.value[BREATH_OVER_ROOM] = 40.0f;
    ck_assert_int_eq(likeliest(&moment, 0.0f), SOUND_OTHER);
    /* /f/: flat, 21 dB under it: each octave 3 dB more than the one below */
    moment.value[BREATH_HISS] = 6.0f;
    moment.value[BREATH_HIGH] = 2.0f;
    moment.value[BREATH_THIRD] = 3.0f;
    ck_assert_int_eq(likeliest(&moment, 0.0f), SOUND_OTHER);
}
END_TEST

START_TEST(what_does_not_stand_over_the_room_is_room) {
    BreathMoment moment = changed(BREATH_OVER_ROOM, 1.0f);
    moment.value[BREATH_OVER_VOICE] = -55.0f;
    ck_assert_int_eq(likeliest(&moment, 0.0f), SOUND_ROOM);
}
END_TEST

START_TEST(each_is_a_tempered_posterior) {
    /* exp(l / 0.2) = 0.8 P + 0.05, with P summing to 1. */
    Random random = random_seeded(191);
    printf("seed 191\n");
    for (int k = 0; k < 1000; k++) {
        BreathMoment moment = {.voice_known = k % 2 == 0};
        double sum = 0.0;
        for (int f = 0; f < BREATH_FEATURES; f++)
            moment.value[f] = (float)random_range(&random, -60.0, 60.0);
        breath_class(&moment, 0.0f, likelihood);
        for (int c = 0; c < SOUND_CLASSES; c++) {
            double p = exp((double)likelihood[c] / 0.2);
            ck_assert_double_ge(p, 0.05 - 1e-5);
            sum += p;
        }
        ck_assert_double_eq_tol(sum, 1.0, 1e-4);
    }
}
END_TEST

START_TEST(sensitivity_settles_doubt_and_no_more) {
    Random random = random_seeded(192);
    printf("seed 192\n");
    for (int k = 0; k < 1000; k++) {
        BreathMoment moment = air();
        for (int f = 1; f < BREATH_FEATURES; f++)
            moment.value[f] += (float)random_range(&random, -20.0, 20.0);
        float last = -1e9f;
        for (int db = -12; db <= 12; db += 4) {
            breath_class(&moment, (float)db, likelihood);
            ck_assert_float_ge(likelihood[SOUND_BREATH], last);
            last = likelihood[SOUND_BREATH];
        }
    }
    BreathMoment vowel = changed(BREATH_PERIODIC, 0.95f);
    vowel.value[BREATH_LOW] = 10.0f;
    ck_assert_int_eq(likeliest(&vowel, 12.0f), SOUND_VOICED);
    BreathMoment plain = air();
    ck_assert_int_eq(likeliest(&plain, -6.0f), SOUND_BREATH);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("breath_class");
    tcase_add_test(tcase, an_inhalation_is_a_breath_as_loud_as_breaths_are);
    tcase_add_test(tcase, it_is_one_before_any_voice_was_heard);
    tcase_add_test(tcase, what_is_periodic_is_voiced);
    tcase_add_test(tcase, sibilants_are_none);
    tcase_add_test(tcase, what_does_not_stand_over_the_room_is_room);
    tcase_add_test(tcase, each_is_a_tempered_posterior);
    tcase_add_test(tcase, sensitivity_settles_doubt_and_no_more);
    return run_tcase(tcase, "breath_class");
}
