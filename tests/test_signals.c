/* SPDX-License-Identifier: ISC */
/* The signals and measures of the other suites, held against closed forms. */
#include "run_tcase.h"
#include "signals.h"

#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { RATE = 48000, LENGTH = 48000 };
static float audio[LENGTH], other[LENGTH];

START_TEST(the_random_sequence_is_the_published_one) {
    /* SplitMix64 from seed 0; from memory, and what the recurrence gives by hand for step one. */
    Random random = random_seeded(0);
    ck_assert_uint_eq(random_bits(&random), UINT64_C(0xe220a8397b1dcdaf));
    Random a = random_seeded(7), b = random_seeded(7);
    for (int i = 0; i < 100; i++)
        ck_assert_uint_eq(random_bits(&a), random_bits(&b));
}
END_TEST

START_TEST(normal_numbers_have_the_moments_of_a_gaussian) {
    Random random = random_seeded(1);
    double m1 = 0.0, m2 = 0.0, m4 = 0.0;
    const int n = 100000;
    for (int i = 0; i < n; i++) {
        double x = random_normal(&random);
        m1 += x;
        m2 += x * x;
        m4 += x * x * x * x;
    }
    /* Deviations of the estimates: 1/sqrt(n), sqrt(2/n), sqrt(96/n); bounds are 4 of them. */
    ck_assert_double_eq_tol(m1 / n, 0.0, 4.0 * sqrt(1.0 / n));
    ck_assert_double_eq_tol(m2 / n, 1.0, 4.0 * sqrt(2.0 / n));
    ck_assert_double_eq_tol(m4 / n, 3.0, 4.0 * sqrt(96.0 / n));
}
END_TEST

START_TEST(a_sine_reads_its_amplitude_and_3_01_db_less_rms) {
    signals_sine(audio, LENGTH, RATE, 1000.0, 0.25, 0.3);
    ck_assert_double_eq_tol(signals_tone_amplitude(audio, LENGTH, RATE, 1000.0), 0.25, 2.5e-4);
    ck_assert_double_eq_tol(signals_rms_db(audio, LENGTH), 20.0 * log10(0.25) - 3.0103, 1e-3);
    ck_assert_double_lt(signals_tone_amplitude(audio, LENGTH, RATE, 1100.0), 1e-6);
}
END_TEST

START_TEST(a_band_passes_its_middle_and_loses_3_db_at_its_edges) {
    const double hz[] = {1000.0, 3000.0, 8000.0};
    const double expected_db[] = {-3.0103, 0.0, -3.0103};
    for (int i = 0; i < 3; i++) {
        signals_sine(audio, LENGTH, RATE, hz[i], 1.0, 0.0);
        signals_band_filter(audio, other, LENGTH, RATE, 1000.0, 8000.0);
        double gain = signals_tone_amplitude(other + 4800, LENGTH - 4800, RATE, hz[i]);
        ck_assert_double_eq_tol(20.0 * log10(gain), expected_db[i], 0.02);
    }
    /* An octave outside, a 4th-order Butterworth edge is near 24.1 dB down: 10 log10(1 + 2^8). */
    signals_sine(audio, LENGTH, RATE, 500.0, 1.0, 0.0);
    signals_band_filter(audio, other, LENGTH, RATE, 1000.0, 24000.0);
    double gain = signals_tone_amplitude(other + 4800, LENGTH - 4800, RATE, 500.0);
    ck_assert_double_eq_tol(20.0 * log10(gain), -24.1, 0.1);
}
END_TEST

START_TEST(band_noise_has_the_rms_and_the_zero_crossings_asked_for) {
    Random random = random_seeded(3);
    signals_band_noise(audio, LENGTH, RATE, 4000.0, 10000.0, 0.1, &random);
    ck_assert_double_eq_tol(signals_rms(audio, LENGTH), 0.1, 1e-6);
    size_t crossings = 0;
    for (size_t i = 1; i < LENGTH; i++)
        crossings += (audio[i] < 0.0f) != (audio[i - 1] < 0.0f);
    /* Rice 1944-45, Kedem 1986: 14297 a second for an ideal 4-10 kHz band; the skirts of a
     * Butterworth band move that by less than 5 %. */
    ck_assert_double_eq_tol((double)crossings, 14297.0, 0.05 * 14297.0);
}
END_TEST

START_TEST(harmonics_fall_by_the_slope_and_have_the_rms) {
    signals_harmonics(audio, LENGTH, RATE, 200.0, 8000.0, -12.0, 0.1);
    ck_assert_double_eq_tol(signals_rms(audio, LENGTH), 0.1, 1e-5);
    double first = signals_tone_amplitude(audio, LENGTH, RATE, 200.0);
    double fourth = signals_tone_amplitude(audio, LENGTH, RATE, 800.0);
    ck_assert_double_eq_tol(20.0 * log10(fourth / first), -24.0, 0.02);
}
END_TEST

START_TEST(quantiles_are_between_ranks) {
    double values[] = {4.0, 1.0, 3.0, 2.0};
    ck_assert_double_eq(signals_quantile(values, 4, 0.5), 2.5);
    ck_assert_double_eq(signals_quantile(values, 4, 0.0), 1.0);
    ck_assert_double_eq(signals_quantile(values, 4, 1.0), 4.0);
    ck_assert(isnan(signals_quantile(values, 0, 0.5)));
}
END_TEST

START_TEST(comparisons_see_one_bit_and_nan) {
    Random random = random_seeded(5);
    signals_noise(audio, LENGTH, 0.1, &random);
    memcpy(other, audio, sizeof audio);
    ck_assert(signals_same_bits(audio, other, LENGTH));
    other[77] = nextafterf(other[77], 1.0f);
    ck_assert_uint_eq(signals_first_difference(audio, other, LENGTH), 77);
    ck_assert(signals_all_finite(audio, LENGTH));
    other[78] = NAN;
    ck_assert(!signals_all_finite(other, LENGTH));
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("signals");
    tcase_add_test(tcase, the_random_sequence_is_the_published_one);
    tcase_add_test(tcase, normal_numbers_have_the_moments_of_a_gaussian);
    tcase_add_test(tcase, a_sine_reads_its_amplitude_and_3_01_db_less_rms);
    tcase_add_test(tcase, a_band_passes_its_middle_and_loses_3_db_at_its_edges);
    tcase_add_test(tcase, band_noise_has_the_rms_and_the_zero_crossings_asked_for);
    tcase_add_test(tcase, harmonics_fall_by_the_slope_and_have_the_rms);
    tcase_add_test(tcase, quantiles_are_between_ranks);
    tcase_add_test(tcase, comparisons_see_one_bit_and_nan);
    return run_tcase(tcase, "signals");
}
