/* SPDX-License-Identifier: ISC */
#include "filter/k_weight.h"
#include "run_tcase.h"
#include "signals.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

static const double pi = 3.14159265358979323846;
static const double rates[] = {8000.0,  11025.0, 16000.0, 22050.0,  32000.0, 44100.0,
                               48000.0, 88200.0, 96000.0, 176400.0, 192000.0};
enum { RATES = sizeof rates / sizeof *rates, LENGTH = 1 << 18 };
static float in[LENGTH], out[LENGTH], cut[LENGTH];

/* |H| of b / a at w = 2 pi f / rate, by definition. */
static double gain_of(double b0, double b1, double b2, double a1, double a2, double w) {
    double up = hypot(b0 + b1 * cos(w) + b2 * cos(2.0 * w), b1 * sin(w) + b2 * sin(2.0 * w));
    double down = hypot(1.0 + a1 * cos(w) + a2 * cos(2.0 * w), a1 * sin(w) + a2 * sin(2.0 * w));
    return up / down;
}

static double designed_db(const KWeight *k, double rate_hz, double hz) {
    double w = 2.0 * pi * hz / rate_hz;
    return 20.0 *
           log10(gain_of(k->shelf_b0, k->shelf_b1, k->shelf_b2, k->shelf_a1, k->shelf_a2, w) *
                 gain_of(1.0, -2.0, 1.0, k->pass_a1, k->pass_a2, w));
}

START_TEST(coefficients_at_48_khz_are_the_published_ones) {
    /* ITU-R BS.1770 Annex 1, tables 1 and 2, printed to 14 digits. */
    KWeight k;
    k_weight_prepare(&k, 48000.0);
    const double tolerance = 1e-13;
    ck_assert_double_eq_tol(k.shelf_b0, 1.53512485958697, tolerance);
    ck_assert_double_eq_tol(k.shelf_b1, -2.69169618940638, tolerance);
    ck_assert_double_eq_tol(k.shelf_b2, 1.19839281085285, tolerance);
    ck_assert_double_eq_tol(k.shelf_a1, -1.69065929318241, tolerance);
    ck_assert_double_eq_tol(k.shelf_a2, 0.73248077421585, tolerance);
    ck_assert_double_eq_tol(k.pass_a1, -1.99004745483398, tolerance);
    ck_assert_double_eq_tol(k.pass_a2, 0.99007225036621, tolerance);
}
END_TEST

START_TEST(coefficients_at_other_rates_are_the_rederived_ones) {
    /* Computed from the same analogue parameters outside the project, 12 digits. */
    KWeight k;
    k_weight_prepare(&k, 44100.0);
    const double tolerance = 1e-11;
    ck_assert_double_eq_tol(k.shelf_b0, 1.53084123005, tolerance);
    ck_assert_double_eq_tol(k.shelf_b1, -2.650979995155, tolerance);
    ck_assert_double_eq_tol(k.shelf_b2, 1.169079079922, tolerance);
    ck_assert_double_eq_tol(k.shelf_a1, -1.663655113256, tolerance);
    ck_assert_double_eq_tol(k.shelf_a2, 0.712595428073, tolerance);
    ck_assert_double_eq_tol(k.pass_a1, -1.98916967363, tolerance);
    ck_assert_double_eq_tol(k.pass_a2, 0.989199035787, tolerance);
    k_weight_prepare(&k, 96000.0);
    ck_assert_double_eq_tol(k.shelf_b0, 1.559714228976, tolerance);
    ck_assert_double_eq_tol(k.shelf_b1, -2.926741578251, tolerance);
    ck_assert_double_eq_tol(k.shelf_b2, 1.378261202316, tolerance);
    ck_assert_double_eq_tol(k.shelf_a1, -1.84460946989, tolerance);
    ck_assert_double_eq_tol(k.shelf_a2, 0.855843322931, tolerance);
    ck_assert_double_eq_tol(k.pass_a1, -1.995017544725, tolerance);
    ck_assert_double_eq_tol(k.pass_a2, 0.995023759041, tolerance);
}
END_TEST

START_TEST(gains_at_48_khz_are_those_of_the_curve) {
    /* K gain, dB, computed from the published coefficients; printed to 3 decimals. */
    const double hz[] = {20, 50, 100, 200, 500, 997, 1000, 2000, 4000, 8000, 16000};
    const double db[] = {-13.275, -3.934, -1.134, -0.265, 0.043, 0.6910,
                         0.6977,  3.071,  3.968,  4.039,  4.043};
    KWeight k;
    k_weight_prepare(&k, 48000.0);
    for (size_t i = 0; i < sizeof hz / sizeof *hz; i++)
        ck_assert_double_eq_tol(designed_db(&k, 48000.0, hz[i]), db[i], 1e-3);
}
END_TEST

START_TEST(the_curve_is_the_same_at_every_rate) {
    /* The bounds of the header. */
    KWeight reference;
    k_weight_prepare(&reference, 48000.0);
    for (int r = 0; r < RATES; r++) {
        KWeight k;
        k_weight_prepare(&k, rates[r]);
        double bound = rates[r] >= 16000.0 ? 0.2 : 0.6;
        for (int step = 0; step < 140; step++) {
            double hz = 20.0 * pow(1.05, step);
            if (hz > 0.49 * rates[r] || hz > 20000.0)
                break;
            ck_assert_double_eq_tol(designed_db(&k, rates[r], hz),
                                    designed_db(&reference, 48000.0, hz), bound);
        }
        ck_assert_double_eq_tol(designed_db(&k, rates[r], 1000.0), 0.698, 0.041);
    }
}
END_TEST

START_TEST(a_full_scale_sine_reads_minus_3_01_lkfs) {
    /* BS.1770: a 0 dBFS sine of 997 Hz on one front channel reads -3.01 LKFS, with -0.691 dB in the
     * formula to undo the gain there. One second to settle, 10000 ms = 9970 whole periods. */
    KWeight k;
    k_weight_prepare(&k, 48000.0);
    enum { SETTLE = 48000, WHOLE = 192000 };
    signals_sine(in, SETTLE + WHOLE, 48000.0, 997.0, 1.0, 0.0);
    k_weight_process(&k, in, out, SETTLE + WHOLE);
    double loudness = -0.691 + signals_rms_db(out + SETTLE, WHOLE);
    ck_assert_double_eq_tol(loudness, -3.010, 1e-3);
}
END_TEST

START_TEST(what_runs_is_what_was_designed) {
    const double hz[] = {30.0, 100.0, 1000.0, 1700.0, 3000.0};
    for (int r = 0; r < RATES; r++)
        for (int i = 0; i < 5; i++) {
            KWeight k;
            k_weight_prepare(&k, rates[r]);
            size_t n = (size_t)(0.5 * rates[r]), settle = n / 2;
            signals_sine(in, n, rates[r], hz[i], 0.5, 0.0);
            k_weight_process(&k, in, out, n);
            double got = signals_tone_amplitude(out + settle, n - settle, rates[r], hz[i]) / 0.5;
            /* Within the 0.1 % of the correlation. */
            ck_assert_double_eq_tol(20.0 * log10(got), designed_db(&k, rates[r], hz[i]), 0.01);
        }
}
END_TEST

START_TEST(cutting_blocks_reset_and_working_in_place_change_no_bit) {
    Random random = random_seeded(21);
    printf("seed 21\n");
    signals_noise(in, LENGTH, 0.3, &random);
    KWeight k;
    k_weight_prepare(&k, 48000.0);
    k_weight_process(&k, in, out, LENGTH);
    k_weight_reset(&k);
    for (size_t at = 0; at < LENGTH;) {
        size_t n = random_below(&random, 300);
        n = n < LENGTH - at ? n : LENGTH - at;
        for (size_t i = at; i < at + n; i++)
            cut[i] = in[i];
        k_weight_process(&k, cut + at, cut + at, n);
        at += n;
    }
    ck_assert(signals_same_bits(out, cut, LENGTH));
}
END_TEST

START_TEST(two_channels_together_are_each_alone) {
    Random random = random_seeded(22);
    printf("seed 22\n");
    signals_noise(in, LENGTH, 0.3, &random);
    const size_t half = LENGTH / 2;
    KWeight alone[2], both[2];
    for (size_t c = 0; c < 2; c++) {
        k_weight_prepare(&alone[c], 44100.0);
        k_weight_prepare(&both[c], 44100.0);
        k_weight_process(&alone[c], in + c * half, out + c * half, half);
    }
    for (size_t at = 0; at < half;) {
        size_t n = random_below(&random, 300);
        n = n < half - at ? n : half - at;
        k_weight_process_two(both, (const float *const[]){in + at, in + half + at},
                             (float *const[]){cut + at, cut + half + at}, n);
        at += n;
    }
    ck_assert(signals_same_bits(out, cut, 2 * half));
}
END_TEST

START_TEST(a_constant_leaves_nothing_behind) {
    /* The double zero at 0 Hz: after 2 s only rounding is left, where float states would hum. */
    KWeight k;
    k_weight_prepare(&k, 192000.0);
    for (int part = 0; part < 2; part++) {
        for (size_t i = 0; i < LENGTH; i++)
            in[i] = 1.0f;
        k_weight_process(&k, in, out, LENGTH);
    }
    ck_assert_double_lt(signals_peak(out + LENGTH - 1000, 1000), 1e-9);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("k_weight");
    tcase_add_test(tcase, coefficients_at_48_khz_are_the_published_ones);
    tcase_add_test(tcase, coefficients_at_other_rates_are_the_rederived_ones);
    tcase_add_test(tcase, gains_at_48_khz_are_those_of_the_curve);
    tcase_add_test(tcase, the_curve_is_the_same_at_every_rate);
    tcase_add_test(tcase, a_full_scale_sine_reads_minus_3_01_lkfs);
    tcase_add_test(tcase, what_runs_is_what_was_designed);
    tcase_add_test(tcase, cutting_blocks_reset_and_working_in_place_change_no_bit);
    tcase_add_test(tcase, two_channels_together_are_each_alone);
    tcase_add_test(tcase, a_constant_leaves_nothing_behind);
    return run_tcase(tcase, "k_weight");
}
