/* SPDX-License-Identifier: ISC */
#include "filter/band_levels.h"
#include "run_tcase.h"
#include "signals.h"

#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { ROW = BAND_LEVELS_ROW, LENGTH = 48000, HOPS = LENGTH / 4 };
static BandLevels levels;
static float left[LENGTH], right[LENGTH];
static float power[HOPS][ROW];

static void prepare(double rate, unsigned channels, float low, float high) {
    BandLevelsParams params = {low, high};
    memset(&levels, 0, sizeof levels);
    band_levels_prepare(&levels, rate, channels);
    band_levels_set(&levels, &params);
}

/* Returns the number of whole hops. */
static size_t run(size_t n) {
    const float *const in[2] = {left, right};
    size_t hops = 0;
    for (size_t at = 0, room; at < n; at += room) {
        room = band_levels_room(&levels);
        room = room < n - at ? room : n - at;
        hops += band_levels_process(&levels, in, at, room, power[hops]);
    }
    return hops;
}

static double centre(size_t b) {
    return sqrt((double)levels.edge_hz[b] * (double)levels.edge_hz[b + 1]);
}

/* ---- the bands ---- */

START_TEST(bands_are_of_equal_ratio_and_fill_the_range) {
    const double rates[] = {8000, 11025, 16000, 44100, 48000, 96000, 192000};
    const size_t bands[] = {3, 4, 5, 7, 7, 7, 7};
    for (size_t k = 0; k < sizeof rates / sizeof *rates; k++) {
        prepare(rates[k], 1, 1500.0f, 12000.0f);
        ck_assert_uint_eq(levels.bands, bands[k]);
        double ratio = (double)levels.edge_hz[1] / (double)levels.edge_hz[0];
        for (size_t b = 0; b < levels.bands; b++)
            ck_assert_double_eq_tol(
                (double)levels.edge_hz[b + 1] / (double)levels.edge_hz[b] / ratio, 1.0, 1e-5);
        ck_assert_double_eq_tol((double)levels.edge_hz[0], 1500.0, 1e-3);
        ck_assert_double_eq_tol((double)levels.edge_hz[levels.bands],
                                fmin(12000.0, 0.45 * rates[k]), 1e-2);
        /* Half a millisecond, to the nearest frame. */
        ck_assert_double_le(fabs((double)levels.hop - 0.0005 * rates[k]), 0.5);
    }
}
END_TEST

START_TEST(any_range_is_made_one) {
    const float edges[][2] = {{16000.0f, 1000.0f}, {200.0f, 20000.0f}, {0.0f, 0.0f},
                              {1e9f, 1e9f},        {-5.0f, 3.0f},      {1500.0f, 1500.0f}};
    for (size_t k = 0; k < sizeof edges / sizeof *edges; k++)
        for (double rate = 8000.0; rate <= 192000.0; rate *= 2.0) {
            prepare(rate, 1, edges[k][0], edges[k][1]);
            ck_assert_uint_ge(levels.bands, 1);
            ck_assert_uint_le(levels.bands, BAND_LEVELS_BANDS);
            ck_assert_float_ge(levels.edge_hz[0], 19.0f);
            ck_assert_double_le((double)levels.edge_hz[levels.bands], 0.4501 * rate);
            ck_assert_double_ge((double)(levels.edge_hz[levels.bands] / levels.edge_hz[0]), 1.25);
        }
}
END_TEST

/* The squared gain of both high-passes: Butterworth, 4th order, through the bilinear transform. */
static double cut_power(double hz, double rate) {
    double x = tan(3.14159265358979 * 0.9 * (double)levels.edge_hz[0] / rate) /
               tan(3.14159265358979 * hz / rate);
    return 1.0 / (1.0 + pow(x, 8.0));
}

/* Mean of band b over the second half of what was run. */
static double steady(size_t b, size_t hops) {
    double sum = 0.0;
    size_t half = hops / 2;
    for (size_t t = half; t < hops; t++)
        sum += (double)power[t][b];
    return sum / (double)(hops - half);
}

START_TEST(a_sine_in_the_middle_of_a_band_reads_its_power) {
    const double rates[] = {8000, 44100, 48000, 192000};
    for (size_t k = 0; k < sizeof rates / sizeof *rates; k++) {
        prepare(rates[k], 1, 1500.0f, 12000.0f);
        for (size_t b = 0; b < levels.bands; b++) {
            double hz = centre(b), expected = 0.5 * 0.25 * 0.25 * cut_power(hz, rates[k]);
            signals_sine(left, LENGTH, rates[k], hz, 0.25, 0.3);
            band_levels_reset(&levels);
            double got = steady(b, run(LENGTH));
            /* Half a second is not a whole number of periods: 1 / (2 pi hz T) < 0.0003. */
            ck_assert_double_eq_tol(got / expected, 1.0, 0.001);
        }
    }
}
END_TEST

/* The same by cookbook biquads in double (signals.h); their bilinear transform is the trapezoidal
 * rule. The second high-pass gets the first's output a frame late, and so do the bands. */
static void reference(const float *x, size_t b, double rate, double *sums, size_t hops) {
    SignalsBiquad cut[2] = {signals_high_pass(rate, 0.9 * (double)levels.edge_hz[0], 0.5411961001),
                            signals_high_pass(rate, 0.9 * (double)levels.edge_hz[0], 1.3065629649)};
    double width = (double)levels.edge_hz[b + 1] - (double)levels.edge_hz[b];
    SignalsBiquad band = signals_band_pass(rate, centre(b), centre(b) / width);
    double late = 0.0;
    for (size_t t = 0; t < hops; t++)
        for (size_t i = 0; i < levels.hop; i++) {
            double first = signals_biquad_step(&cut[0], (double)x[t * levels.hop + i]);
            double v = signals_biquad_step(&band, signals_biquad_step(&cut[1], late));
            late = first;
            sums[t] += v * v / (double)levels.hop;
        }
}

START_TEST(noise_reads_what_biquads_in_double_make_of_it) {
    static double expected[HOPS];
    const double rates[] = {16000, 44100, 96000};
    Random random = random_seeded(41);
    for (size_t k = 0; k < sizeof rates / sizeof *rates; k++) {
        signals_noise(left, LENGTH, 0.2, &random);
        prepare(rates[k], 1, 1500.0f, 12000.0f);
        size_t hops = run(LENGTH);
        for (size_t b = 0; b < levels.bands; b++) {
            memset(expected, 0, sizeof expected);
            reference(left, b, rates[k], expected, hops);
            for (size_t t = 0; t < hops; t++)
                /* 24 bits through six recursive sections; quiet hops by comparison with 0.2^2. */
                ck_assert_double_eq_tol((double)power[t][b], expected[t],
                                        1e-4 * expected[t] + 1e-9);
        }
    }
}
END_TEST

START_TEST(the_low_band_hears_the_voice_and_the_others_do_not) {
    prepare(48000.0, 1, 1500.0f, 12000.0f);
    signals_sine(left, LENGTH, 48000.0, 200.0, 0.5, 0.0);
    size_t hops = run(LENGTH);
    /* 200 Hz through the band-pass 90..1200 Hz of 2nd order: its gain by the analogue formula, to
     * which the bilinear transform adds less than 0.1 % so far below the rate. */
    double detune =
        (200.0 / sqrt(90.0 * 1200.0) - sqrt(90.0 * 1200.0) / 200.0) * sqrt(90.0 * 1200.0) / 1110.0;
    ck_assert_double_eq_tol(steady(BAND_LEVELS_LOW, hops), 0.125 / (1.0 + detune * detune), 0.002);
    for (size_t b = 0; b < levels.bands; b++)
        ck_assert_double_lt(steady(b, hops), 0.125e-6);
}
END_TEST

START_TEST(bands_not_in_use_are_silent) {
    Random random = random_seeded(42);
    signals_noise(left, LENGTH, 0.2, &random);
    prepare(16000.0, 1, 3000.0f, 6000.0f);
    size_t hops = run(LENGTH);
    ck_assert_uint_eq(levels.bands, 2);
    for (size_t t = 0; t < hops; t++)
        for (size_t b = 2; b < BAND_LEVELS_LOW; b++)
            ck_assert_float_eq(power[t][b], 0.0f);
}
END_TEST

/* ---- channels, blocks, history ---- */

START_TEST(stereo_is_the_mean_of_both_channels) {
    static float mono[HOPS][ROW];
    Random random = random_seeded(43);
    signals_noise(left, LENGTH, 0.2, &random);
    memcpy(right, left, sizeof right);
    prepare(48000.0, 1, 1500.0f, 12000.0f);
    size_t hops = run(LENGTH);
    memcpy(mono, power, sizeof mono);
    prepare(48000.0, 2, 1500.0f, 12000.0f);
    run(LENGTH);
    for (size_t t = 0; t < hops; t++) /* x + x and x / 2 are exact */
        ck_assert(signals_same_bits(power[t], mono[t], ROW));
    signals_silence(right, LENGTH);
    prepare(48000.0, 2, 1500.0f, 12000.0f);
    run(LENGTH);
    for (size_t t = 0; t < hops; t++)
        for (size_t b = 0; b < ROW; b++)
            ck_assert_float_eq(power[t][b], 0.5f * mono[t][b]);
}
END_TEST

START_TEST(cutting_makes_no_difference) {
    static float whole[HOPS][ROW];
    Random random = random_seeded(44);
    signals_noise(left, LENGTH, 0.2, &random);
    signals_noise(right, LENGTH, 0.1, &random);
    prepare(44100.0, 2, 1500.0f, 12000.0f);
    size_t hops = run(LENGTH);
    memcpy(whole, power, sizeof whole);
    prepare(44100.0, 2, 1500.0f, 12000.0f);
    const float *const in[2] = {left, right};
    size_t got = 0;
    for (size_t at = 0, n; at < LENGTH && got < hops; at += n) {
        n = 1 + random_below(&random, band_levels_room(&levels));
        n = n < LENGTH - at ? n : LENGTH - at;
        got += band_levels_process(&levels, in, at, n, power[got]);
    }
    ck_assert_uint_eq(got, hops);
    for (size_t t = 0; t < hops; t++)
        ck_assert(signals_same_bits(power[t], whole[t], ROW));
}
END_TEST

START_TEST(reset_forgets) {
    static float fresh[HOPS][ROW];
    Random random = random_seeded(45);
    signals_noise(left, LENGTH, 0.2, &random);
    prepare(48000.0, 1, 1500.0f, 12000.0f);
    size_t hops = run(4801);
    memcpy(fresh, power, sizeof fresh);
    band_levels_reset(&levels);
    ck_assert_uint_eq(run(4801), hops);
    for (size_t t = 0; t < hops; t++)
        ck_assert(signals_same_bits(power[t], fresh[t], ROW));
}
END_TEST

/* One that takes over goes on as if it had been set itself, to the bit. */
START_TEST(new_bands_go_on_where_the_old_ones_were) {
    Random random = random_seeded(44);
    signals_noise(left, LENGTH, 0.2, &random);
    prepare(48000.0, 1, 1500.0f, 12000.0f);
    run(LENGTH / 2);
    BandLevels other;
    memset(&other, 0, sizeof other);
    band_levels_prepare(&other, 48000.0, 1);
    band_levels_set(&other, &(BandLevelsParams){1200.0f, 12000.0f});
    band_levels_take_over(&other, &levels);
    band_levels_set(&levels, &(BandLevelsParams){1200.0f, 12000.0f});
    float one[ROW], two[ROW];
    const float *const in[1] = {left + LENGTH / 2};
    for (size_t hop = 0; hop < 40; hop++) {
        ck_assert(band_levels_process(&levels, in, hop * 24, 24, one));
        ck_assert(band_levels_process(&other, in, hop * 24, 24, two));
        for (size_t b = 0; b < ROW; b++)
            ck_assert_float_eq(one[b], two[b]);
    }
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("band levels");
    tcase_add_test(tcase, bands_are_of_equal_ratio_and_fill_the_range);
    tcase_add_test(tcase, any_range_is_made_one);
    tcase_add_test(tcase, a_sine_in_the_middle_of_a_band_reads_its_power);
    tcase_add_test(tcase, noise_reads_what_biquads_in_double_make_of_it);
    tcase_add_test(tcase, the_low_band_hears_the_voice_and_the_others_do_not);
    tcase_add_test(tcase, bands_not_in_use_are_silent);
    tcase_add_test(tcase, stereo_is_the_mean_of_both_channels);
    tcase_add_test(tcase, cutting_makes_no_difference);
    tcase_add_test(tcase, reset_forgets);
    tcase_add_test(tcase, new_bands_go_on_where_the_old_ones_were);
    return run_tcase(tcase, "band levels");
}
