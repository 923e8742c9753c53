/* SPDX-License-Identifier: ISC */
/* Centre and spread by differences, held against spectra whose moments are known. */
#include "basic/maths.h"
#include "filter/spectral_centre.h"
#include "run_tcase.h"
#include "signals.h"

#include <check.h>
#include <math.h>
#include <stdlib.h>

static const double RATE = 48000.0;

static SpectralCentre fresh(double rate_hz) {
    SpectralCentre c;
    spectral_centre_prepare(&c, 2000.0);
    spectral_centre_set(&c, rate_hz, (float)(0.02 * rate_hz), (float)(0.46 * rate_hz));
    return c;
}

/* The powers of tones of equal power: each difference has the power response 4 sin^2(w/2). */
static CentreAndSpread of_tones(double rate_hz, const double *hz, size_t n, double power) {
    SpectralCentre c = fresh(rate_hz);
    double slope = 0.0, curve = 0.0;
    for (size_t i = 0; i < n; i++) {
        double response = 4.0 * pow(sin(PI * hz[i] / rate_hz), 2.0);
        slope += power * response / (double)n;
        curve += power * response * response / (double)n;
    }
    return spectral_centre_step(&c, (float)power, (float)slope, (float)curve);
}

START_TEST(the_centre_of_a_tone_is_its_frequency) {
    const double rates[] = {8000.0, 44100.0, 192000.0};
    for (int r = 0; r < 3; r++)
        for (double share = 0.03; share < 0.45; share += 0.03) {
            double hz = share * rates[r];
            CentreAndSpread now = of_tones(rates[r], &hz, 1, 0.01);
            ck_assert_double_eq_tol((double)spectral_centre_hz(rates[r], now.g), hz, 1e-4 * hz);
            ck_assert_double_eq_tol((double)now.g, tan(PI * share), 1e-3 * tan(PI * share));
        }
}
END_TEST

START_TEST(the_centre_of_a_band_is_its_mean_square_frequency) {
    double hz[2000];
    for (int i = 0; i < 2000; i++)
        hz[i] = 4000.0 + 6000.0 * (i + 0.5) / 2000.0;
    CentreAndSpread now = of_tones(192000.0, hz, 2000, 0.01);
    double expected = sqrt((4000.0 * 4000.0 + 4000.0 * 10000.0 + 10000.0 * 10000.0) / 3.0);
    /* sin x for x: (pi 10 / 192)^2 / 6 = 0.4 % at the band's top. */
    ck_assert_double_eq_tol((double)spectral_centre_hz(192000.0, now.g), expected,
                            0.004 * expected);
    /* Deviation of an even spread: width / sqrt(12). */
    double spread_hz = (double)now.spread * 192000.0 / PI;
    ck_assert_double_eq_tol(spread_hz, 6000.0 / sqrt(12.0), 0.05 * 6000.0 / sqrt(12.0));
}
END_TEST

START_TEST(the_spread_of_two_tones_is_half_their_distance) {
    for (double centre = 4000.0; centre < 20000.0; centre += 2000.0) {
        const double hz[] = {centre - 300.0, centre + 300.0};
        CentreAndSpread now = of_tones(RATE, hz, 2, 0.01);
        ck_assert_double_eq_tol((double)now.spread * RATE / PI, 300.0, 0.01 * 300.0);
        CentreAndSpread one = of_tones(RATE, &centre, 1, 0.01);
        /* Rounding leaves something of one tone, but less than a tenth of the centre, which is what
         * the edges take at least. */
        ck_assert_float_lt(one.spread, 0.01f);
    }
}
END_TEST

START_TEST(a_gain_changes_nothing) {
    const double hz[] = {5000.0, 6500.0, 9000.0};
    CentreAndSpread loud = of_tones(RATE, hz, 3, 1.0), soft = of_tones(RATE, hz, 3, 1e-12);
    ck_assert_float_eq_tol(loud.g, soft.g, 1e-5f * loud.g);
    ck_assert_float_eq_tol(loud.spread, soft.spread, 1e-4f * loud.spread);
}
END_TEST

START_TEST(the_louder_sound_takes_over_and_silence_moves_nothing) {
    SpectralCentre c = fresh(RATE);
    double low = 4.0 * pow(sin(PI * 5000.0 / RATE), 2.0);
    double high = 4.0 * pow(sin(PI * 9000.0 / RATE), 2.0);
    for (int i = 0; i < 400; i++)
        spectral_centre_step(&c, 1e-6f, (float)(1e-6 * low), (float)(1e-6 * low * low));
    CentreAndSpread now = {0.0f, 0.0f};
    /* 20 dB louder, for a tenth of the memory: u is (0.905 low + 9.5 high) / 10.4. */
    for (int i = 0; i < 6; i++)
        now = spectral_centre_step(&c, 1e-4f, (float)(1e-4 * high), (float)(1e-4 * high * high));
    double share = 100.0 * (1.0 - exp(-0.1)) / (100.0 * (1.0 - exp(-0.1)) + exp(-0.1));
    double u = 0.25 * (share * high + (1.0 - share) * low);
    ck_assert_double_eq_tol((double)now.g, sqrt(u / (1.0 - u)), 1e-3);
    CentreAndSpread later = now;
    for (int i = 0; i < 400; i++)
        later = spectral_centre_step(&c, 0.0f, 0.0f, 0.0f);
    ck_assert_float_eq_tol(later.g, now.g, 1e-4f);
}
END_TEST

START_TEST(the_centre_keeps_within_its_limits_and_rests_in_their_middle) {
    SpectralCentre c;
    spectral_centre_prepare(&c, 2000.0);
    spectral_centre_set(&c, RATE, 4500.0f, 12000.0f);
    CentreAndSpread rest = spectral_centre_step(&c, 0.0f, 0.0f, 0.0f);
    ck_assert_double_eq_tol((double)rest.g, sqrt(tan(PI * 4500.0 / RATE) * tan(PI * 0.25)), 1e-5);
    CentreAndSpread now = spectral_centre_step(&c, 1.0f, 1e-4f, 1e-8f);
    ck_assert_float_eq_tol(spectral_centre_hz(RATE, now.g), 4500.0f, 0.5f);
    spectral_centre_reset(&c);
    now = spectral_centre_step(&c, 1.0f, 4.0f, 16.0f);
    ck_assert_float_eq_tol(spectral_centre_hz(RATE, now.g), 12000.0f, 0.5f);
}
END_TEST

START_TEST(edges_lie_deviations_away_in_frequency) {
    SpectralCentre c = fresh(RATE);
    for (double hz = 3000.0; hz < 15000.0; hz += 1500.0)
        for (double spread_hz = 0.11 * hz; spread_hz < 1500.0; spread_hz += 200.0) {
            const CentreAndSpread now = {(float)tan(PI * hz / RATE),
                                         (float)(PI * spread_hz / RATE)};
            float low, high;
            spectral_centre_edges(&c, now, 2.0f, 3.0f, &low, &high);
            /* small_tan is within 1e-4 below 0.5 radians, 1 % up to 1 (its header). */
            double low_hz = fmax(hz - 2.0 * spread_hz, atan(0.4 * (double)now.g) * RATE / PI);
            double high_hz = fmin(hz + 3.0 * spread_hz, 0.48 * RATE);
            ck_assert_double_eq_tol((double)spectral_centre_hz(RATE, low), low_hz, 1e-3 * low_hz);
            ck_assert_double_eq_tol((double)spectral_centre_hz(RATE, high), high_hz,
                                    1e-3 * high_hz);
        }
}
END_TEST

START_TEST(edges_are_in_order_whatever_is_measured) {
    Random random = random_seeded(61);
    for (int i = 0; i < 100000; i++) {
        double rate = random_range(&random, 8000.0, 192000.0);
        SpectralCentre c = fresh(rate);
        double power = pow(10.0, random_range(&random, -32.0, 6.0));
        CentreAndSpread now =
            spectral_centre_step(&c, (float)power, (float)(power * random_range(&random, 0.0, 4.5)),
                                 (float)(power * random_range(&random, 0.0, 17.0)));
        float low, high;
        spectral_centre_edges(&c, now, 4.0f, 5.0f, &low, &high);
        ck_assert(low > 0.0f && low < now.g && now.g <= high && isfinite(high));
    }
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("spectral_centre");
    tcase_add_test(tcase, the_centre_of_a_tone_is_its_frequency);
    tcase_add_test(tcase, the_centre_of_a_band_is_its_mean_square_frequency);
    tcase_add_test(tcase, the_spread_of_two_tones_is_half_their_distance);
    tcase_add_test(tcase, a_gain_changes_nothing);
    tcase_add_test(tcase, the_louder_sound_takes_over_and_silence_moves_nothing);
    tcase_add_test(tcase, the_centre_keeps_within_its_limits_and_rests_in_their_middle);
    tcase_add_test(tcase, edges_lie_deviations_away_in_frequency);
    tcase_add_test(tcase, edges_are_in_order_whatever_is_measured);
    return run_tcase(tcase, "spectral_centre");
}
