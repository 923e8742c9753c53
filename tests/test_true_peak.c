/* SPDX-License-Identifier: ISC */
#include "measure/true_peak.h"
#include "run_tcase.h"
#include "signals.h"
#include "singer.h"

#include <check.h>
#include <ebur128.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const double pi = 3.14159265358979323846;

enum { LENGTH = 48000 };
static float audio[LENGTH];

static double db(double amplitude) {
    return 20.0 * log10(amplitude);
}

static double reading_db(const float *in, size_t n) {
    TruePeak peak;
    true_peak_prepare(&peak, 1);
    true_peak_process(&peak, &in, n);
    return db((double)true_peak_true(&peak));
}

/* A sine at `share` of the rate, faded so that no start of it rings in the filter. */
static double sine_db(double share, double amplitude, double degrees) {
    signals_sine(audio, LENGTH, 1.0, share, amplitude, degrees * pi / 180.0);
    signals_fade_ends(audio, LENGTH, LENGTH / 10);
    return reading_db(audio, LENGTH);
}

/* EBU Tech 3341, cases 15 to 19, tolerance +0.2 / -0.4 dB; beside it what the Annex 2 filter itself
 * makes of them, computed outside the project to 3 digits. Where the samples hit the peak and are
 * larger than what is between them, they are the reading (15: -6.0206). */
START_TEST(tech_3341_15_to_19) {
    const struct {
        double share, amplitude, degrees, expected, filter;
    } cases[] = {{1.0 / 4.0, 0.5, 0.0, -6.0, -6.0206},
                 {1.0 / 4.0, 0.5, 45.0, -6.0, -5.976},
                 {1.0 / 6.0, 0.5, 60.0, -6.0, -6.316},
                 {1.0 / 8.0, 0.5, 67.5, -6.0, -6.028},
                 {1.0 / 4.0, 1.41, 45.0, 3.0, 3.029}};
    for (size_t i = 0; i < 5; i++) {
        double is = sine_db(cases[i].share, cases[i].amplitude, cases[i].degrees);
        printf("case %zu: %.3f dBTP\n", 15 + i, is);
        ck_assert_double_le(is, cases[i].expected + 0.2);
        ck_assert_double_ge(is, cases[i].expected - 0.4);
        ck_assert_double_eq_tol(is, cases[i].filter, 0.001);
    }
}
END_TEST

/* sum |h| of the middle phases is 2.022827, the largest there is: frames of full scale with the
 * filter's own signs make the largest possible reading, +6.119 dB, and none goes beyond. */
START_TEST(no_reading_is_over_the_samples_by_more_than_6_119_db) {
    const float sign[] = {-1, 1, -1, 1, -1, 1, 1, -1, 1, -1, 1, -1};
    memset(audio, 0, sizeof audio);
    for (size_t k = 0; k < 12; k++)
        audio[100 - k] = sign[k];
    ck_assert_double_eq_tol(reading_db(audio, 200), 6.119, 0.001);
    Random random = random_seeded(3);
    for (size_t i = 0; i < LENGTH; i++)
        audio[i] = random_unit(&random) < 0.5 ? -1.0f : 1.0f;
    ck_assert_double_le(reading_db(audio, LENGTH), 6.1192);
}
END_TEST

START_TEST(sine_readings_stay_within_the_filters_known_errors) {
    /* Too high by 0.221 dB at most (a quarter of the rate); too low by the spacing of four readings
     * a frame, -20 log10 cos(pi f / 4), and the filter's fall of 0.177 dB at 0.02. */
    for (int step = 0; step < 29; step++)
        for (int degrees = 0; degrees < 180; degrees += 30) {
            double share = 0.01 + 0.0137 * step;
            double is = sine_db(share, 1.0, degrees);
            ck_assert_double_le(is, 0.23);
            ck_assert_double_ge(is, db(cos(pi * share / 4.0)) - 0.18);
        }
}
END_TEST

START_TEST(the_largest_of_all_channels_counts_and_blocks_do_not_show) {
    SingerTake take;
    SingerParams params = singer_params(SINGER_WOMAN, 48000.0, 11);
    params.phrases = 2;
    ck_assert(singer_take(&params, &take));
    float *quiet = calloc(take.n, sizeof(float));
    signals_add(quiet, take.mix, take.n);
    signals_scale(quiet, take.n, 0.5);
    TruePeak whole, cut;
    true_peak_prepare(&whole, 2);
    true_peak_prepare(&cut, 2);
    const float *in[] = {quiet, take.mix};
    true_peak_process(&whole, in, take.n);
    ck_assert_double_eq((double)true_peak_sample(&whole), signals_peak(take.mix, take.n));
    Random random = random_seeded(12);
    for (size_t at = 0; at < take.n;) {
        size_t n = random_below(&random, 600);
        n = n < take.n - at ? n : take.n - at;
        const float *part[] = {quiet + at, take.mix + at};
        true_peak_process(&cut, part, n);
        at += n;
    }
    ck_assert(true_peak_true(&whole) == true_peak_true(&cut));
    true_peak_reset(&cut);
    ck_assert(true_peak_true(&cut) == 0.0f);
    free(quiet);
    singer_free(&take);
}
END_TEST

/* libebur128 interpolates with a filter of its own; both must lie within the standard's tolerance
 * of the truth, so within 0.6 dB of each other; on a voice, whose energy is low, far closer. */
START_TEST(an_independent_implementation_agrees_on_a_sung_take) {
    for (uint64_t seed = 1; seed <= 4; seed++) {
        SingerTake take;
        SingerParams params = singer_params(seed % 2 ? SINGER_WOMAN : SINGER_MAN, 48000.0, seed);
        params.phrases = 2;
        ck_assert(singer_take(&params, &take));
        double other = 0.0;
        ebur128_state *state = ebur128_init(1, 48000, EBUR128_MODE_TRUE_PEAK);
        ck_assert_int_eq(ebur128_add_frames_float(state, take.mix, take.n), 0);
        ebur128_true_peak(state, 0, &other);
        ebur128_destroy(&state);
        double ours = reading_db(take.mix, take.n);
        printf("true peak %.3f / %.3f dBTP (libebur128)\n", ours, db(other));
        ck_assert_double_eq_tol(ours, db(other), 0.2);
        singer_free(&take);
    }
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("true_peak");
    tcase_add_test(tcase, tech_3341_15_to_19);
    tcase_add_test(tcase, no_reading_is_over_the_samples_by_more_than_6_119_db);
    tcase_add_test(tcase, sine_readings_stay_within_the_filters_known_errors);
    tcase_add_test(tcase, the_largest_of_all_channels_counts_and_blocks_do_not_show);
    tcase_add_test(tcase, an_independent_implementation_agrees_on_a_sung_take);
    tcase_set_timeout(tcase, 60);
    return run_tcase(tcase, "true_peak");
}
