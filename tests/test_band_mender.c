/* SPDX-License-Identifier: ISC */
#include "gain/band_mender.h"
#include "run_tcase.h"
#include "signals.h"

#include <check.h>
#include <complex.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { ROW = BAND_LEVELS_ROW, LENGTH = 48000 };
static BandLevels levels;
static BandMender mender;
static float in[2][LENGTH], out[2][LENGTH], other[2][LENGTH];

static void prepare(double rate, float low, float high, float most_db) {
    BandLevelsParams params = {low, high};
    memset(&levels, 0, sizeof levels);
    memset(&mender, 0, sizeof mender);
    band_levels_prepare(&levels, rate, 2);
    band_levels_set(&levels, &params);
    band_mender_set(&mender, &levels, most_db);
}

static void process(unsigned channels, size_t from, size_t at, size_t n) {
    const float *const x[2] = {in[0] + from, in[1] + from};
    float *const y[2] = {out[0] + from, out[1] + from};
    band_mender_process(&mender, x, y, channels, at, n);
}

/* Whole hops with the same cut, awake. */
static void run_steady(unsigned channels, const float cut[ROW]) {
    float both[2][ROW];
    memcpy(both[0], cut, sizeof both[0]);
    memcpy(both[1], cut, sizeof both[1]);
    for (size_t at = 0; at + levels.hop <= LENGTH; at += levels.hop) {
        band_mender_hop(&mender, (const float(*)[ROW])both, levels.hop, true);
        process(channels, at, 0, levels.hop);
    }
}

static double centre(size_t b) {
    return sqrt((double)levels.edge_hz[b] * (double)levels.edge_hz[b + 1]);
}

START_TEST(with_nothing_to_cut_the_output_is_the_input_bit_for_bit) {
    Random random = random_seeded(51);
    signals_noise(in[0], LENGTH, 0.3, &random);
    signals_noise(in[1], LENGTH, 0.3, &random);
    const float none[ROW] = {0.0f};
    prepare(48000.0, 1500.0f, 12000.0f, 24.0f);
    process(2, 0, 0, LENGTH); /* at rest */
    ck_assert(signals_same_bits(in[0], out[0], LENGTH));
    ck_assert(signals_same_bits(in[1], out[1], LENGTH));
    run_steady(2, none);
    ck_assert(signals_same_bits(in[0], out[0], LENGTH));
    ck_assert(signals_same_bits(in[1], out[1], LENGTH));
}
END_TEST

/* The level of a sine after the filters have settled, over what went in, dB. */
static double gain_at(double rate, double hz, const float cut[ROW]) {
    signals_sine(in[0], LENGTH, rate, hz, 0.5, 0.0);
    band_mender_reset(&mender);
    run_steady(1, cut);
    size_t from = LENGTH / 2, n = LENGTH / 2 - levels.hop;
    return 20.0 * log10(signals_tone_amplitude(out[0] + from, n, rate, hz) / 0.5);
}

/* The same by the transfer function, s = j tan(pi f / rate) (bilinear transform), bands of the
 * width and the shares that the header speaks of taken from the struct. */
static double expected_gain(double rate, double hz, const double cut_db[ROW]) {
    double complex h = 1.0;
    double s = tan(3.14159265358979 * hz / rate);
    for (size_t b = 0; b < mender.bands; b++) {
        double g = 0.5 * (double)mender.g2[b][0], k = (double)mender.k[b];
        double complex x = I * (s / g), pass = k * x / (1.0 + k * x + x * x);
        h *= 1.0 - (1.0 - pow(10.0, -cut_db[b] / 20.0)) * pass;
    }
    return 20.0 * log10(cabs(h));
}

START_TEST(a_cut_has_the_response_of_its_formula) {
    const double hz[] = {200, 700, 1500, 2100, 3000, 4700, 8000, 11000, 15000};
    const double rates[] = {44100, 48000, 96000};
    for (size_t r = 0; r < sizeof rates / sizeof *rates; r++) {
        prepare(rates[r], 1500.0f, 12000.0f, 48.0f);
        for (size_t b = 0; b < mender.bands; b++) {
            float cut[ROW] = {0.0f};
            double made[ROW] = {0.0};
            cut[b] = 10.0f;
            made[b] = 9.0; /* nine tenths: the neighbours add to it */
            for (size_t k = 0; k < sizeof hz / sizeof *hz; k++)
                ck_assert_double_eq_tol(gain_at(rates[r], hz[k], cut),
                                        expected_gain(rates[r], hz[k], made), 0.02);
        }
    }
}
END_TEST

START_TEST(low_voice_stays_and_no_ridge_stands_between_bands) {
    prepare(48000.0, 1500.0f, 12000.0f, 48.0f);
    float cut[ROW] = {0.0f};
    for (size_t b = 0; b < mender.bands; b++)
        cut[b] = 12.0f;
    ck_assert_double_ge(gain_at(48000.0, 200.0, cut), -0.2);
    ck_assert_double_ge(gain_at(48000.0, 400.0, cut), -1.0);
    for (size_t b = 1; b < mender.bands; b++) {
        ck_assert_double_le(gain_at(48000.0, (double)levels.edge_hz[b], cut), -10.0);
        ck_assert_double_le(gain_at(48000.0, centre(b - 1), cut), -10.0);
    }
}
END_TEST

START_TEST(never_more_than_allowed_is_taken_away) {
    const float most[] = {0.0f, 1.0f, 3.0f, 6.0f, 12.0f, 24.0f, 48.0f};
    Random random = random_seeded(52);
    for (size_t m = 0; m < sizeof most / sizeof *most; m++) {
        prepare(48000.0, 1500.0f, 12000.0f, most[m]);
        for (int trial = 0; trial < 20; trial++) {
            float cut[ROW] = {0.0f};
            for (size_t b = 0; b < mender.bands; b++)
                cut[b] = trial == 0                   ? most[m]
                         : random_unit(&random) < 0.4 ? 0.0f
                                                      : (float)random_unit(&random) * most[m];
            double deepest = 0.0;
            for (size_t b = 0; b < mender.bands; b++)
                deepest = fmin(deepest, gain_at(48000.0, centre(b), cut));
            /* Overlaps are those of a cut of 1 dB, 10 log10(1 - q (1 - 10^-0.1)) with 0 <= q <= 1
             * by the distance; the least cuts have up to 1 / (0.2057 * 4.343) = 1.12 times that. */
            ck_assert_double_ge(deepest, -1.12 * (double)most[m] - 0.01);
        }
    }
}
END_TEST

/* 45 dB of all bands, of which 27 are taken from all together: by the low-pass at 750 Hz, 4th
 * order, what is left of 2 kHz is 0.045 and the 0.02 that the low-pass lets through, 24 dB down;
 * notches of 18 dB reach 14 between them. */
START_TEST(all_bands_go_down_together_where_they_may_and_the_low_voice_stays) {
    prepare(48000.0, 1500.0f, 12000.0f, 24.0f);
    float cut[ROW];
    for (size_t b = 0; b < ROW; b++)
        cut[b] = 45.0f;
    const double hz[] = {2000.0, 2500.0, 3000.0, 4000.0, 5000.0, 7000.0, 9000.0, 11000.0};
    for (size_t k = 0; k < 8; k++)
        ck_assert_double_le(gain_at(48000.0, hz[k], cut), k < 2 ? -36.0 : -37.0);
    ck_assert_double_ge(gain_at(48000.0, 100.0, cut), -0.3);
    ck_assert_double_ge(gain_at(48000.0, 300.0, cut), -1.5);
    /* No more than the middle one needs. */
    float one[ROW] = {[3] = 45.0f, [BAND_LEVELS_LOW] = 45.0f};
    ck_assert_double_ge(gain_at(48000.0, 1500.0, one), -6.0);
}
END_TEST

START_TEST(a_moving_cut_is_straight_between_hops_for_any_cutting) {
    Random random = random_seeded(53);
    signals_noise(in[0], LENGTH, 0.3, &random);
    signals_noise(in[1], LENGTH, 0.3, &random);
    static float cuts[LENGTH / 24 + 2][ROW];
    for (size_t t = 0; t < LENGTH / 24 + 2; t++)
        for (size_t b = 0; b < ROW; b++)
            cuts[t][b] = random_unit(&random) < 0.5 ? 0.0f : (float)random_range(&random, 0, 20);
    for (int pass = 0; pass < 2; pass++) {
        prepare(48000.0, 1500.0f, 12000.0f, 24.0f);
        for (size_t t = 0; (t + 1) * levels.hop <= LENGTH; t++) {
            band_mender_hop(&mender, (const float(*)[ROW])cuts[t], levels.hop, true);
            for (size_t at = 0, n; at < levels.hop; at += n) {
                n = pass == 0 ? levels.hop : 1 + random_below(&random, levels.hop - at);
                process(2, t * levels.hop + at, at, n);
            }
        }
        if (pass == 0)
            memcpy(other, out, sizeof other);
    }
    ck_assert(signals_same_bits(out[0], other[0], LENGTH));
    ck_assert(signals_same_bits(out[1], other[1], LENGTH));
}
END_TEST

START_TEST(both_channels_get_the_same) {
    Random random = random_seeded(54);
    signals_noise(in[0], LENGTH, 0.3, &random);
    memcpy(in[1], in[0], sizeof in[0]);
    const float cut[ROW] = {3.0f, 0.0f, 9.0f, 20.0f, 0.0f, 5.0f, 1.0f};
    prepare(48000.0, 1500.0f, 12000.0f, 24.0f);
    run_steady(2, cut);
    ck_assert(signals_same_bits(out[0], out[1], LENGTH));
    memcpy(other[0], out[0], sizeof other[0]);
    band_mender_reset(&mender);
    run_steady(1, cut);
    ck_assert(signals_same_bits(out[0], other[0], LENGTH - LENGTH % levels.hop));
}
END_TEST

/* In the default range the lowest band's filter is some 1.9 kHz wide and forgets by a factor of
 * exp(-pi 1900 0.004) = exp(-24) in the 4 ms of the run-up; nothing is left but rounding. */
START_TEST(four_milliseconds_after_waking_nothing_tells_of_the_rest) {
    Random random = random_seeded(55);
    signals_noise(in[0], LENGTH, 0.3, &random);
    const float none[2][ROW] = {{0.0f}}, deep[2][ROW] = {{0.0f}, {20.0f, 20.0f, 20.0f, 20.0f}};
    for (int rested = 0; rested < 2; rested++) {
        prepare(48000.0, 1500.0f, 12000.0f, 24.0f);
        for (size_t t = 0; t < 200; t++) {
            bool cuts = t >= 108 && t < 109;
            band_mender_hop(&mender, (const float(*)[ROW])(cuts ? deep : none), levels.hop,
                            !rested || t >= 100);
            process(1, t * levels.hop, 0, levels.hop);
        }
        if (!rested)
            memcpy(other, out, sizeof other);
    }
    ck_assert_double_gt(signals_largest_difference(in[0], out[0], 200 * levels.hop), 0.01);
    ck_assert_double_lt(signals_largest_difference(other[0], out[0], 200 * levels.hop), 1e-6);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("band mender");
    tcase_set_timeout(tcase, 60.0);
    tcase_add_test(tcase, with_nothing_to_cut_the_output_is_the_input_bit_for_bit);
    tcase_add_test(tcase, a_cut_has_the_response_of_its_formula);
    tcase_add_test(tcase, low_voice_stays_and_no_ridge_stands_between_bands);
    tcase_add_test(tcase, never_more_than_allowed_is_taken_away);
    tcase_add_test(tcase, all_bands_go_down_together_where_they_may_and_the_low_voice_stays);
    tcase_add_test(tcase, a_moving_cut_is_straight_between_hops_for_any_cutting);
    tcase_add_test(tcase, both_channels_get_the_same);
    tcase_add_test(tcase, four_milliseconds_after_waking_nothing_tells_of_the_rest);
    return run_tcase(tcase, "band mender");
}
