/* SPDX-License-Identifier: ISC */
#include "run_tcase.h"
#include "signals.h"
#include "speech_measures.h"

#include <check.h>
#include <math.h>
#include <stdio.h>

enum { RATE = 16000, LENGTH = 3 * RATE };
static float clean[LENGTH], noise[LENGTH], mixed[LENGTH];

/* Noise that swells and dies away four times a second, as syllables do. */
static void make(unsigned long long seed) {
    Random random = random_seeded(seed);
    printf("seed %llu\n", seed);
    signals_band_noise(clean, LENGTH, RATE, 100.0, 5000.0, 0.1, &random);
    for (size_t i = 0; i < LENGTH; i++)
        clean[i] *= 0.02f + (float)pow(sin(3.14159265 * 4.0 * (double)i / RATE), 2.0);
    signals_noise(noise, LENGTH, signals_rms(clean, LENGTH), &random);
}

static void mix(double db) {
    for (size_t i = 0; i < LENGTH; i++)
        mixed[i] = clean[i] + (float)(pow(10.0, db / 20.0) * (double)noise[i]);
}

/* Noise that is apart from the voice: its level below is the ratio, whatever the gain. Two seconds
 * of both correlate by chance by 1 / root 48000: 0.04 dB at 0 dB, less below. */
START_TEST(si_sdr_is_the_level_of_the_noise_below_the_voice) {
    make(41);
    for (double db = -40.0; db <= 0.0; db += 10.0) {
        mix(db);
        double ratio = speech_si_sdr(clean, mixed, LENGTH);
        ck_assert_double_eq_tol(ratio, -db, 0.1);
        signals_scale(mixed, LENGTH, 0.25);
        ck_assert_double_eq_tol(speech_si_sdr(clean, mixed, LENGTH), ratio, 1e-4);
    }
    ck_assert_double_gt(speech_si_sdr(clean, clean, LENGTH), 150.0);
}
END_TEST

/* 1 for the voice itself, and less the more noise; of 30 dB of noise over the voice chance leaves
 * some: 30 frames of a band, clipped, correlate by a third. */
START_TEST(stoi_is_1_and_falls_with_noise) {
    make(42);
    ck_assert_double_eq_tol(speech_stoi(clean, clean, LENGTH, RATE), 1.0, 1e-9);
    double last = 1.0;
    for (double db = -30.0; db <= 30.0; db += 10.0) {
        mix(db);
        double index = speech_stoi(clean, mixed, LENGTH, RATE);
        ck_assert_double_lt(index, last);
        last = index;
    }
    ck_assert_double_lt(last, 0.4);
    signals_scale(clean, LENGTH, 0.5);
    ck_assert_double_eq_tol(speech_stoi(clean, mixed, LENGTH, RATE), last, 1e-6);
}
END_TEST

/* A gain moves every bin by as much: of -6.02 dB, but for bins near the floor. */
START_TEST(lsd_of_a_gain_is_the_gain) {
    Random random = random_seeded(43);
    printf("seed 43\n");
    signals_noise(clean, LENGTH, 0.1, &random);
    for (size_t i = 0; i < LENGTH; i++)
        mixed[i] = 0.5f * clean[i];
    ck_assert_double_eq_tol(speech_lsd(clean, mixed, LENGTH, RATE), 6.0206, 0.01);
    ck_assert_double_eq_tol(speech_lsd(clean, clean, LENGTH, RATE), 0.0, 1e-12);
}
END_TEST

START_TEST(too_short_a_take_is_told) {
    make(44);
    ck_assert(isnan(speech_stoi(clean, clean, 1000, RATE)));
    ck_assert(isnan(speech_lsd(clean, clean, 10, RATE)));
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("speech_measures");
    tcase_add_test(tcase, si_sdr_is_the_level_of_the_noise_below_the_voice);
    tcase_add_test(tcase, stoi_is_1_and_falls_with_noise);
    tcase_add_test(tcase, lsd_of_a_gain_is_the_gain);
    tcase_add_test(tcase, too_short_a_take_is_told);
    tcase_set_timeout(tcase, 60);
    return run_tcase(tcase, "speech_measures");
}
