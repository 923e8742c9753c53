/* SPDX-License-Identifier: ISC */
#include "measure/tonality.h"
#include "run_tcase.h"
#include "signals.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Krumhansl and Kessler, Psych. Review 89(4), 1982. */
static const double major[12] = {6.35, 2.23, 3.48, 2.33, 4.38, 4.09,
                                 2.52, 5.19, 2.39, 3.66, 2.29, 2.88};
static const double minor[12] = {6.33, 2.68, 3.52, 5.38, 2.60, 3.53,
                                 2.54, 4.75, 3.98, 2.69, 3.34, 3.17};

/* Computed outside the project from the profiles: of C major with G, F, A minor, C minor, E minor
 * 0.591, 0.591, 0.650, 0.512, 0.536. */
START_TEST(correlations_between_keys_are_the_known_ones) {
    double r[TONALITY_KEYS];
    tonality_correlate(major, r);
    ck_assert_double_eq_tol(r[0], 1.0, 1e-12);
    ck_assert_double_eq_tol(r[7], 0.591, 5e-4);
    ck_assert_double_eq_tol(r[5], 0.591, 5e-4);
    ck_assert_double_eq_tol(r[12 + 9], 0.650, 5e-4);
    ck_assert_double_eq_tol(r[12 + 0], 0.512, 5e-4);
    ck_assert_double_eq_tol(r[12 + 4], 0.536, 5e-4);
    tonality_correlate(minor, r);
    ck_assert_double_eq_tol(r[12], 1.0, 1e-12);
    ck_assert_double_eq_tol(r[3], 0.650, 5e-4); /* relative major of C minor */
}
END_TEST

/* Time sung in semitones over C of a profile in a key, at a tuning. */
static void sing(double time[TONALITY_CENTS], const double *profile, unsigned tonic, int tuning) {
    memset(time, 0, TONALITY_CENTS * sizeof *time);
    for (unsigned i = 0; i < 12; i++) {
        int cents = 100 * ((int)(i + tonic) - 9) + tuning;
        time[(cents + 2400) % 1200] += profile[i];
    }
}

START_TEST(every_key_is_found_in_every_tuning) {
    static double time[TONALITY_CENTS];
    const int tunings[] = {-40, -13, 0, 25, 49};
    for (unsigned key = 0; key < TONALITY_KEYS; key++)
        for (size_t i = 0; i < 5; i++) {
            Tonality t;
            sing(time, key < 12 ? major : minor, key % 12, tunings[i]);
            ck_assert(tonality_find(time, &t));
            ck_assert_uint_eq(t.tonic, key % 12);
            ck_assert_int_eq(t.minor, key >= 12);
            ck_assert_double_eq_tol(t.tuning_cents, tunings[i], 0.01);
            ck_assert_double_eq_tol(t.tuning_strength, 1.0, 1e-9);
            ck_assert_double_eq_tol(t.r, 1.0, 1e-12);
            ck_assert_double_eq_tol(t.confidence, 1.0, 1e-9);
            ck_assert_uint_eq(t.relative_tonic, (key % 12 + (key < 12 ? 9 : 3)) % 12);
            ck_assert_double_eq_tol(t.relative_r, 0.650, 1e-3);
            ck_assert_double_eq_tol(t.parallel_r, 0.512, 1e-3);
        }
}
END_TEST

/* A scale sung up and down with long tonics and fifths, as its definition has it. */
START_TEST(a_sung_scale_has_its_key) {
    static double time[TONALITY_CENTS];
    const double scale[12] = {2.0, 0.0, 1.0, 0.0, 1.0, 1.0, 0.0, 1.5, 0.0, 1.0, 0.0, 1.0};
    const double minor_scale[12] = {2.0, 0.0, 1.0, 1.5, 0.0, 1.0, 0.0, 1.5, 1.0, 0.0, 1.0, 0.0};
    for (unsigned tonic = 0; tonic < 12; tonic++) {
        Tonality t;
        sing(time, scale, tonic, 0);
        ck_assert(tonality_find(time, &t));
        ck_assert(t.tonic == tonic && !t.minor);
        sing(time, minor_scale, tonic, 0);
        ck_assert(tonality_find(time, &t));
        ck_assert(t.tonic == tonic && t.minor);
    }
}
END_TEST

START_TEST(errors_are_distances_to_the_nearest_note_of_the_key) {
    const Tonality c_major = {.tonic = 0, .tuning_cents = 10.0};
    const Tonality a_minor = {.tonic = 9, .minor = true};
    ck_assert_double_eq_tol(tonality_error_cents(&c_major, 10.0), 0.0, 1e-9);    /* A */
    ck_assert_double_eq_tol(tonality_error_cents(&c_major, 30.0), 20.0, 1e-9);   /* sharp */
    ck_assert_double_eq_tol(tonality_error_cents(&c_major, 305.0), -5.0, 1e-9);  /* C, flat */
    ck_assert_double_eq_tol(tonality_error_cents(&c_major, 285.0), -25.0, 1e-9); /* C, not B */
    ck_assert_double_eq_tol(tonality_error_cents(&c_major, -2385.0), 5.0, 1e-9); /* A */
    ck_assert_double_eq_tol(tonality_error_cents(&a_minor, 1102.0), 2.0, 1e-9);  /* raised 7th */
    ck_assert_double_eq_tol(fabs(tonality_error_cents(&c_major, 110.0)), 100.0, 1e-9); /* Bb */
}
END_TEST

START_TEST(nothing_and_everything_have_no_key) {
    static double time[TONALITY_CENTS];
    Tonality t;
    memset(time, 0, sizeof time);
    ck_assert(!tonality_find(time, &t));
    for (size_t i = 0; i < 12; i++)
        time[100 * i] = 1.0;
    ck_assert(!tonality_find(time, &t));
    /* All semitones about equally: a key, but no confidence in it. */
    Random random = random_seeded(2);
    for (size_t i = 0; i < TONALITY_CENTS; i++)
        time[i] = random_range(&random, 0.9, 1.0);
    if (tonality_find(time, &t))
        ck_assert_double_lt(t.tuning_strength, 0.1);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("tonality");
    tcase_add_test(tcase, correlations_between_keys_are_the_known_ones);
    tcase_add_test(tcase, every_key_is_found_in_every_tuning);
    tcase_add_test(tcase, a_sung_scale_has_its_key);
    tcase_add_test(tcase, errors_are_distances_to_the_nearest_note_of_the_key);
    tcase_add_test(tcase, nothing_and_everything_have_no_key);
    tcase_set_timeout(tcase, 60);
    return run_tcase(tcase, "tonality");
}
