/* SPDX-License-Identifier: ISC */
#include "run_tcase.h"
#include "signals.h"
#include "voice/phrase_level.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

/* A round number of steps a second, so that 20 ms, 100 ms, 200 ms and 400 ms are whole. */
static const double STEPS = 200.0;
enum { BEGIN = 4, PRIOR = 20, GOES_ON = 40, SPLIT = 80 };

static float power_of(double lufs) {
    return (float)pow(10.0, (lufs + 0.691) / 10.0);
}

static void sing(PhraseLevel *level, int steps, double lufs) {
    for (int i = 0; i < steps; i++)
        phrase_level_step(level, power_of(lufs), true);
}

static void pause_for(PhraseLevel *level, int steps, double lufs) {
    for (int i = 0; i < steps; i++)
        phrase_level_step(level, power_of(lufs), false);
}

static PhraseLevel fresh(void) {
    PhraseLevel level;
    phrase_level_prepare(&level, STEPS);
    return level;
}

START_TEST(a_steady_voice_reads_its_loudness) {
    PhraseLevel level = fresh();
    ck_assert(!phrase_level_known(&level));
    sing(&level, 400, -23.0);
    ck_assert(phrase_level_known(&level));
    /* decibel.h: within 2.4e-5 dB, and the mean of equal floats. */
    ck_assert_double_eq_tol((double)phrase_level_now(&level), -23.0, 1e-3);
    ck_assert_double_eq_tol((double)phrase_level_average(&level), -23.0, 1e-3);
}
END_TEST

START_TEST(what_is_not_sung_changes_nothing) {
    PhraseLevel level = fresh();
    sing(&level, 100, -23.0);
    float now = phrase_level_now(&level), average = phrase_level_average(&level);
    pause_for(&level, 3000, -3.0);
    ck_assert_float_eq(phrase_level_now(&level), now);
    ck_assert_float_eq(phrase_level_average(&level), average);
}
END_TEST

START_TEST(within_a_phrase_the_level_is_the_mean_power) {
    /* Half at -20, half at -30: 10 log10((1 + 0.1) / 2) over -20, while shorter than the memory.
     * Short pauses do not count. */
    PhraseLevel level = fresh();
    phrase_level_set(&level, 1e6);
    for (int i = 0; i < 100; i++) {
        sing(&level, 1, i % 2 ? -20.0 : -30.0);
        pause_for(&level, GOES_ON, -60.0);
    }
    ck_assert_double_eq_tol((double)phrase_level_now(&level), -20.0 + 10.0 * log10(0.55), 1e-3);
}
END_TEST

START_TEST(a_new_phrase_weighs_its_mean_against_the_average) {
    /* (k average + n mean) / (k + n) with k = 100 ms: 0.1 s after the start halfway, 0.3 s after it
     * three quarters of the way. The average itself has moved by then, but the prior is kept. */
    PhraseLevel level = fresh();
    sing(&level, 6000, -20.0);
    pause_for(&level, SPLIT, -60.0);
    sing(&level, PRIOR, -32.0);
    ck_assert_double_eq_tol((double)phrase_level_now(&level), -26.0, 1e-3);
    sing(&level, 2 * PRIOR, -32.0);
    ck_assert_double_eq_tol((double)phrase_level_now(&level), -29.0, 1e-3);
}
END_TEST

/* 1000 steps at -20 of a second phrase, then 20 at -32 after a pause between the two limits: the
 * share `kept` of the 1000 is left, and the prior, 20 steps of -20. A hop more of pause takes 1000
 * / 40 of these steps, which moves the level by less than 0.7 dB as long as a tenth of them is
 * left. */
START_TEST(a_longer_pause_leaves_less_of_the_phrase_and_no_pause_splits_at_once) {
    double before = 0.0;
    for (int pause = GOES_ON - 2; pause <= SPLIT + 2; pause++) {
        PhraseLevel level = fresh();
        phrase_level_set(&level, 1e6);
        sing(&level, 100, -20.0);
        pause_for(&level, SPLIT, -60.0);
        sing(&level, 1000, -20.0);
        pause_for(&level, pause, -60.0);
        sing(&level, 20, -32.0);
        double kept = fmin(1.0, fmax(0.0, (double)(SPLIT - pause) / (SPLIT - GOES_ON)));
        double n = 1000.0 * kept;
        double mean =
            10.0 * log10((n * power_of(-20.0) + 20.0 * power_of(-32.0)) / (n + 20.0)) - 0.691;
        double now = (double)phrase_level_now(&level);
        ck_assert_double_eq_tol(now, (PRIOR * -20.0 + (n + 20.0) * mean) / (PRIOR + n + 20.0),
                                0.01);
        if (pause > GOES_ON - 2 && kept > 0.1)
            ck_assert_double_le(fabs(now - before), 0.7);
        before = now;
    }
}
END_TEST

START_TEST(equal_limits_split_at_once) {
    for (int pause = 59; pause <= 60; pause++) {
        PhraseLevel level = fresh();
        phrase_level_set(&level, 1e6);
        phrase_level_split(&level, 300.0, 300.0);
        sing(&level, 100, -20.0);
        pause_for(&level, pause, -60.0);
        sing(&level, 20, -32.0);
        const float counted = pause < 60 ? 120.0f : 20.0f;
        ck_assert_float_eq(level.state.n, counted);
    }
}
END_TEST

START_TEST(a_stray_moment_begins_no_phrase) {
    PhraseLevel level = fresh();
    sing(&level, 1000, -20.0);
    float now = phrase_level_now(&level);
    for (int i = 0; i < 5; i++) {
        pause_for(&level, SPLIT, -60.0);
        sing(&level, BEGIN - 1, -36.0);
        ck_assert_float_eq(phrase_level_now(&level), now);
    }
}
END_TEST

START_TEST(a_long_phrase_is_forgotten_with_the_memory) {
    /* 1 s of memory, plain mean long past: after 1 s at -40 of a phrase at -20, M has fallen to
     * 1/e (and 1e-2 (1 - 1/e)). The prior, 20 steps of 2400, weighs 0.8 % of the 4.3 dB. */
    PhraseLevel level = fresh();
    phrase_level_set(&level, 1000.0);
    sing(&level, 2200, -20.0);
    sing(&level, 200, -40.0);
    double expected = -20.0 + 10.0 * log10(exp(-1.0) + 0.01 * (1.0 - exp(-1.0)));
    ck_assert_double_eq_tol((double)phrase_level_now(&level), expected, 0.01);
}
END_TEST

START_TEST(the_average_is_that_of_the_level_over_sung_time) {
    /* Two phrases of equal length, 10 dB apart. The level of the second goes from the prior to its
     * own by the rule above; the average must be the mean of all levels shown, from the first one
     * known on. */
    PhraseLevel level = fresh();
    double sum = 0.0;
    int n = 0;
    for (int phrase = 0; phrase < 2; phrase++) {
        for (int i = 0; i < 300; i++) {
            sing(&level, 1, phrase ? -30.0 : -20.0);
            if (i >= BEGIN - 1) {
                sum += (double)phrase_level_now(&level);
                n++;
            }
        }
        pause_for(&level, SPLIT, -60.0);
    }
    ck_assert_double_eq_tol((double)phrase_level_average(&level), sum / n, 1e-3);
}
END_TEST

START_TEST(a_voice_far_louder_than_what_came_before_starts_the_average_anew) {
    PhraseLevel level = fresh();
    sing(&level, 100, -50.0); /* a chair, a count-in */
    pause_for(&level, SPLIT, -70.0);
    sing(&level, 400, -18.0);
    ck_assert_double_eq_tol((double)phrase_level_average(&level), -18.0, 2.0);
}
END_TEST

START_TEST(a_gain_before_it_shifts_every_level_by_as_much) {
    Random random = random_seeded(61);
    printf("seed 61\n");
    PhraseLevel a = fresh(), b = fresh();
    for (int i = 0; i < 5000; i++) {
        float power = power_of(random_range(&random, -40.0, -10.0));
        bool sung = random_unit(&random) < 0.9 && (i / 500) % 3 != 2;
        phrase_level_step(&a, power, sung);
        phrase_level_step(&b, power * 0x1p-10f, sung); /* -30.103 dB */
        if (phrase_level_known(&a)) {
            /* -200 dB are added to powers before the logarithm: at -72 dB 6e-13 of them. */
            ck_assert_double_eq_tol((double)(phrase_level_now(&a) - phrase_level_now(&b)), 30.103,
                                    1e-3);
            ck_assert_double_eq_tol((double)(phrase_level_average(&a) - phrase_level_average(&b)),
                                    30.103, 1e-3);
        }
    }
}
END_TEST

START_TEST(what_is_sung_in_part_counts_in_part) {
    /* Two readings of one take, in which how far each moment is sung differs by up to 0.05: levels
     * stay within 0.2 dB. Told as sung or not, by half, they come 3 dB apart. */
    Random random = random_seeded(77);
    printf("seed 77\n");
    PhraseLevel one, other;
    phrase_level_prepare(&one, STEPS);
    phrase_level_prepare(&other, STEPS);
    double most = 0.0;
    for (int phrase = 0; phrase < 40; phrase++) {
        float loud = power_of(random_range(&random, -30.0, -18.0));
        for (int t = 0; t < 150; t++) {
            double sung = t < 60 ? 1.0 : t < 75 ? random_range(&random, 0.3, 0.7) : 0.0;
            double off = t < 60 || t >= 75 ? 0.0 : random_range(&random, -0.05, 0.05);
            float power = t < 60 ? loud : loud * 0.01f;
            phrase_level_step(&one, power, (float)sung);
            phrase_level_step(&other, power, (float)(sung + off));
            if (phrase > 0)
                most =
                    fmax(most, fabs((double)(phrase_level_now(&one) - phrase_level_now(&other))));
        }
    }
    printf("%.2f dB apart at most\n", most);
    ck_assert_double_le(most, 0.2);
}
END_TEST

START_TEST(the_average_is_relied_on_by_degrees) {
    /* The first words of a take are its average: what they are over or under it is chance. */
    PhraseLevel level = fresh();
    ck_assert_float_eq(phrase_level_trust(&level), 0.0f);
    sing(&level, BEGIN + 46, -20.0); /* the average begins with the last of BEGIN */
    ck_assert_float_eq_tol(phrase_level_trust(&level), 0.47f, 1e-3f);
    pause_for(&level, 400, -60.0);
    ck_assert_float_eq_tol(phrase_level_trust(&level), 0.47f, 1e-3f);
    sing(&level, 100, -20.0);
    ck_assert_float_eq(phrase_level_trust(&level), 1.0f);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("phrase_level");
    tcase_add_test(tcase, the_average_is_relied_on_by_degrees);
    tcase_add_test(tcase, what_is_sung_in_part_counts_in_part);
    tcase_add_test(tcase, a_steady_voice_reads_its_loudness);
    tcase_add_test(tcase, what_is_not_sung_changes_nothing);
    tcase_add_test(tcase, within_a_phrase_the_level_is_the_mean_power);
    tcase_add_test(tcase, a_new_phrase_weighs_its_mean_against_the_average);
    tcase_add_test(tcase, a_longer_pause_leaves_less_of_the_phrase_and_no_pause_splits_at_once);
    tcase_add_test(tcase, equal_limits_split_at_once);
    tcase_add_test(tcase, a_stray_moment_begins_no_phrase);
    tcase_add_test(tcase, a_long_phrase_is_forgotten_with_the_memory);
    tcase_add_test(tcase, the_average_is_that_of_the_level_over_sung_time);
    tcase_add_test(tcase, a_voice_far_louder_than_what_came_before_starts_the_average_anew);
    tcase_add_test(tcase, a_gain_before_it_shifts_every_level_by_as_much);
    return run_tcase(tcase, "phrase_level");
}
