/* SPDX-License-Identifier: ISC */
#include "run_tcase.h"
#include "signals.h"
#include "voice/periodicity.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { LENGTH = 24000, HOP = 32, HOPS = LENGTH / HOP, STARTED = 20 };
static const double RATE = 6000.0;
static float in[LENGTH];
static double value[HOPS];

static void analyse(double rate_hz) {
    Periodicity p;
    periodicity_prepare(&p, rate_hz, HOP);
    for (size_t h = 0; h < HOPS; h++) {
        for (size_t at = 0; at < HOP; at += 8)
            periodicity_add(&p, in + h * HOP + at, 8);
        value[h] = (double)periodicity_finish(&p);
    }
}

static double least(void) {
    double smallest = 2.0;
    for (size_t h = STARTED; h < HOPS; h++)
        smallest = fmin(smallest, value[h]);
    return smallest;
}

START_TEST(the_value_is_that_of_the_definition) {
    /* Talkin 1995's ratio in double, lag by lag, on the same high-passed audio. */
    Random random = random_seeded(121);
    printf("seed 121\n");
    signals_harmonics(in, LENGTH, RATE, 137.0, 2500.0, -6.0, 0.1);
    static float noise[LENGTH], x[LENGTH];
    signals_noise(noise, LENGTH, 0.08, &random);
    signals_add(in, noise, LENGTH);
    analyse(RATE);
    Svf high_pass = {0};
    svf_set(&high_pass, RATE,
            &(SvfParams){.kind = SVF_HIGH_PASS, .frequency_hz = 180.0f, .q = 0.7071f});
    svf_process(&high_pass, in, x, LENGTH);
    for (size_t h = STARTED; h < HOPS; h++) {
        size_t end = (h + 1) * HOP, start = end - (size_t)PERIODICITY_HOPS * HOP;
        double best = 0.0;
        for (size_t lag = 15; lag <= 84; lag++) { /* 2.4..14 ms at 6 kHz */
            double c = 0.0, e = 0.0, l = 0.0;
            for (size_t t = start; t < end; t++) {
                c += (double)x[t] * (double)x[t - lag];
                e += (double)x[t] * (double)x[t];
                l += (double)x[t - lag] * (double)x[t - lag];
            }
            best = fmax(best, c / sqrt(e * l));
        }
        ck_assert_double_eq_tol(value[h], best, 1e-4);
    }
}
END_TEST

START_TEST(a_voice_is_periodic_from_75_to_1000_hz) {
    for (double f0 = 75.0; f0 < 1000.0; f0 *= 1.13) {
        /* Partials up to 1.5 kHz, where a lag is right within a tenth of a period. */
        signals_harmonics(in, LENGTH, RATE, f0, 1500.0, -6.0, 0.1);
        analyse(RATE);
        ck_assert_double_ge(least(), 0.9);
    }
}
END_TEST

START_TEST(noise_is_not) {
    /* The largest of some 70 Gaussians of deviation 1 / sqrt(2 B N), B 2820 Hz, N 26.7 ms, is 0.08
     * times 2.4 on average; 4.5 deviations more are not seen in 700 windows. */
    Random random = random_seeded(122);
    printf("seed 122\n");
    signals_noise(in, LENGTH, 0.1, &random);
    analyse(RATE);
    double mean = 0.0;
    for (size_t h = STARTED; h < HOPS; h++) {
        mean += value[h] / (HOPS - STARTED);
        ck_assert_double_le(value[h], 0.08 * 7.0);
    }
    ck_assert_double_eq_tol(mean, 0.19, 0.05);
}
END_TEST

START_TEST(a_voice_that_dies_away_stays_periodic) {
    signals_harmonics(in, LENGTH, RATE, 200.0, 1500.0, -6.0, 0.3);
    for (size_t t = 0; t < LENGTH; t++) /* 60 dB in the half second that reverb takes, 8 times */
        in[t] *= (float)pow(10.0, -6.0 * fmod((double)t / RATE, 0.5));
    analyse(RATE);
    for (size_t h = 0; h < HOPS; h++) {
        double since_s = fmod((double)(h + 1) * HOP / RATE, 0.5);
        if (since_s > 0.06 &&
            since_s < 0.49) /* a window and the longest lag after the last onset */
            ck_assert_double_ge(value[h], 0.9);
    }
}
END_TEST

START_TEST(hum_under_noise_does_not_make_it_periodic) {
    /* 50 Hz as strong as the noise: the high-pass leaves a thirteenth of its amplitude. */
    Random random = random_seeded(123);
    printf("seed 123\n");
    signals_noise(in, LENGTH, 0.1, &random);
    signals_sine_add(in, LENGTH, RATE, 50.0, 0.14, 0.0);
    analyse(RATE);
    for (size_t h = STARTED; h < HOPS; h++)
        ck_assert_double_le(value[h], 0.57);
}
END_TEST

START_TEST(level_does_not_matter) {
    Random random = random_seeded(124);
    printf("seed 124\n");
    static double loud[HOPS];
    signals_noise(in, LENGTH, 0.25, &random);
    analyse(RATE);
    memcpy(loud, value, sizeof loud);
    signals_scale(in, LENGTH, 1.0 / 4096.0); /* a power of two rounds nothing */
    analyse(RATE);
    for (size_t h = 0; h < HOPS; h++)
        ck_assert_double_eq_tol(value[h], loud[h], 1e-6);
}
END_TEST

START_TEST(silence_is_zero_and_forgotten) {
    signals_silence(in, LENGTH);
    analyse(RATE);
    for (size_t h = 0; h < HOPS; h++)
        ck_assert_double_eq(value[h], 0.0);
    /* A loud tone, then noise 100 dB below it: what is left of the tone must not show. */
    Random random = random_seeded(125);
    signals_noise(in, LENGTH, 1e-6, &random);
    signals_sine_add(in, LENGTH / 2, RATE, 440.0, 1.0, 0.0);
    analyse(RATE);
    for (size_t h = HOPS / 2 + STARTED; h < HOPS; h++)
        ck_assert_double_le(value[h], 0.57);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("periodicity");
    tcase_add_test(tcase, the_value_is_that_of_the_definition);
    tcase_add_test(tcase, a_voice_is_periodic_from_75_to_1000_hz);
    tcase_add_test(tcase, noise_is_not);
    tcase_add_test(tcase, a_voice_that_dies_away_stays_periodic);
    tcase_add_test(tcase, hum_under_noise_does_not_make_it_periodic);
    tcase_add_test(tcase, level_does_not_matter);
    tcase_add_test(tcase, silence_is_zero_and_forgotten);
    return run_tcase(tcase, "periodicity");
}
