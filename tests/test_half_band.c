/* SPDX-License-Identifier: ISC */
#include "filter/half_band.h"
#include "run_tcase.h"
#include "signals.h"

#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { PAIRS = 1 << 14, SETTLED = 1 << 12 };
static float in[(size_t)2 * PAIRS], low[PAIRS], high[PAIRS];

/* Power of both halves for a sine of `hz` of the rate 1, after the start has died away. */
static void split_sine(double hz, double *low_power, double *high_power) {
    HalfBand half;
    half_band_prepare(&half);
    signals_sine(in, (size_t)2 * PAIRS, 1.0, hz, 1.0, 0.3);
    half_band_split(&half, in, low, high, PAIRS);
    *low_power = pow(signals_rms(low + SETTLED, PAIRS - SETTLED), 2.0) / 0.5;
    *high_power = pow(signals_rms(high + SETTLED, PAIRS - SETTLED), 2.0) / 0.5;
}

/* Frequencies that no multiple of which is near the low rate, so that 12288 frames hold the mean
 * square of the folded sine to 1e-3. */
static double frequency(int k) {
    return 0.0047 + 0.0101 * k;
}

START_TEST(the_halves_share_the_power_of_a_sine_between_them) {
    /* |low|^2 + |high|^2 = 1: two all-passes halved (Valenzuela and Constantinides 1983). */
    for (int k = 0; k < 49; k++) {
        double l, h;
        split_sine(frequency(k), &l, &h);
        ck_assert_double_eq_tol(l + h, 1.0, 2e-3);
    }
}
END_TEST

START_TEST(each_half_stops_what_belongs_to_the_other) {
    for (int k = 0; k < 49; k++) {
        double l, h;
        split_sine(frequency(k), &l, &h);
        if (frequency(k) >= 0.295)
            ck_assert_double_le(10.0 * log10(l), -50.0);
        if (frequency(k) <= 0.205)
            ck_assert_double_le(10.0 * log10(h), -50.0);
    }
}
END_TEST

START_TEST(the_halves_cross_at_a_quarter_of_the_rate_3_db_down) {
    /* A little beside it, since at a quarter of the rate the low rate sees a constant; there the
     * slope is 5 dB in 1 % of the rate. */
    double l, h;
    split_sine(0.2503, &l, &h);
    ck_assert_double_eq_tol(10.0 * log10(l), -3.01, 0.25);
    ck_assert_double_eq_tol(10.0 * log10(h), -3.01, 0.25);
}
END_TEST

START_TEST(a_constant_goes_to_the_low_half_alone) {
    HalfBand half;
    half_band_prepare(&half);
    for (size_t i = 0; i < (size_t)2 * PAIRS; i++)
        in[i] = 0.5f;
    half_band_split(&half, in, low, high, PAIRS);
    ck_assert_double_eq_tol((double)low[PAIRS - 1], 0.5, 1e-6);
    ck_assert_double_eq_tol((double)high[PAIRS - 1], 0.0, 1e-6);
}
END_TEST

START_TEST(cutting_the_audio_changes_no_bit_nor_does_working_in_place) {
    Random random = random_seeded(101);
    signals_noise(in, (size_t)2 * PAIRS, 0.3, &random);
    HalfBand half;
    half_band_prepare(&half);
    half_band_split(&half, in, low, high, PAIRS);
    half_band_reset(&half);
    for (size_t at = 0; at < PAIRS;) {
        size_t n = random_below(&random, 50);
        n = n < PAIRS - at ? n : PAIRS - at;
        float high_again[50];
        float copy[100];
        memcpy(copy, in + 2 * at, 2 * n * sizeof *copy);
        half_band_split(&half, copy, copy, high_again, n);
        ck_assert(signals_same_bits(copy, low + at, n));
        ck_assert(signals_same_bits(high_again, high + at, n));
        at += n;
    }
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("half_band");
    tcase_add_test(tcase, the_halves_share_the_power_of_a_sine_between_them);
    tcase_add_test(tcase, each_half_stops_what_belongs_to_the_other);
    tcase_add_test(tcase, the_halves_cross_at_a_quarter_of_the_rate_3_db_down);
    tcase_add_test(tcase, a_constant_goes_to_the_low_half_alone);
    tcase_add_test(tcase, cutting_the_audio_changes_no_bit_nor_does_working_in_place);
    return run_tcase(tcase, "half_band");
}
