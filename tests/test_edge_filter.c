/* SPDX-License-Identifier: ISC */
#include "basic/maths.h"
#include "filter/edge_filter.h"
#include "filter/svf.h"
#include "run_tcase.h"
#include "signals.h"

#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { LENGTH = 1 << 17 };
static float in[2][LENGTH], out[2][LENGTH], other[2][LENGTH];

static const double RATES[] = {8000.0, 44100.0, 48000.0, 192000.0};
enum { N_RATES = 4 };

static EdgeFilter designed(double rate, double low_hz, unsigned pairs, double high_hz) {
    EdgeFilter filter;
    edge_filter_prepare(&filter, rate, 2);
    edge_filter_set(&filter, &(EdgeFilterParams){low_hz, pairs, high_hz});
    return filter;
}

static void run(EdgeFilter *filter, size_t from, size_t n) {
    const float *const i[2] = {in[0] + from, in[1] + from};
    float *const o[2] = {out[0] + from, out[1] + from};
    edge_filter_process(filter, i, o, n);
}

static double gain_db(EdgeFilter *filter, double rate, double hz) {
    size_t n = (size_t)(0.6 * rate), settle = n / 3;
    signals_sine(in[0], n, rate, hz, 0.5, 0.0);
    signals_sine(in[1], n, rate, hz, 0.5, 0.0);
    edge_filter_reset(filter);
    run(filter, 0, n);
    return 20.0 * log10(signals_tone_amplitude(out[0] + settle, n - settle, rate, hz) / 0.5);
}

/* |H|^2 = 1 / (1 + u^2n), u the ratio of corner and frequency under the bilinear warp. */
static double butterworth_db(double hz, double corner, double rate, double order, bool high) {
    double u = tan(PI * corner / rate) / tan(PI * hz / rate);
    return -10.0 * log10(1.0 + pow(high ? u : 1.0 / u, 2.0 * order));
}

START_TEST(losses_at_the_fundamental_are_the_published_ones) {
    /* Butterworth's law at fc/f0 = 0.5, 0.7, 0.8: order 2 and order 4. */
    const double ratio[] = {0.5, 0.7, 0.8};
    const double loss[2][3] = {{-0.263, -0.935, -1.491}, {-0.017, -0.243, -0.674}};
    for (unsigned pairs = 1; pairs <= 2; pairs++)
        for (int i = 0; i < 3; i++) {
            EdgeFilter filter = designed(48000.0, 200.0 * ratio[i], pairs, 0.0);
            /* The warp at 200 Hz changes the ratio by (pi 200 / 48000)^2 / 3 = 6e-5. */
            ck_assert_double_eq_tol(gain_db(&filter, 48000.0, 200.0), loss[pairs - 1][i], 2e-3);
        }
}
END_TEST

START_TEST(every_slope_is_butterworths_at_every_rate) {
    for (int r = 0; r < N_RATES; r++)
        for (unsigned pairs = 1; pairs <= 4; pairs++)
            for (int corner_step = 0; corner_step < 3; corner_step++) {
                double corner = 40.0 * pow(3.1, corner_step);
                EdgeFilter filter = designed(RATES[r], corner, pairs, 0.0);
                for (int hz_step = 0; 25.0 * pow(2.3, hz_step) < 0.4 * RATES[r]; hz_step++) {
                    double hz = 25.0 * pow(2.3, hz_step);
                    double want = butterworth_db(hz, corner, RATES[r], 2.0 * pairs, true);
                    if (want > -70.0)
                        ck_assert_double_eq_tol(gain_db(&filter, RATES[r], hz), want, 0.02);
                }
            }
}
END_TEST

START_TEST(the_low_pass_is_butterworths_of_order_4) {
    EdgeFilter filter = designed(48000.0, 40.0, 1, 10000.0);
    const double hz[] = {1000.0, 5000.0, 10000.0, 15000.0, 20000.0};
    for (int i = 0; i < 5; i++) {
        double want = butterworth_db(hz[i], 10000.0, 48000.0, 4.0, false) +
                      butterworth_db(hz[i], 40.0, 48000.0, 2.0, true);
        ck_assert_double_eq_tol(gain_db(&filter, 48000.0, hz[i]), want, 0.02);
    }
    /* Beyond the band there is none: at 0.49 of the rate and above, and for 0. */
    filter = designed(8000.0, 40.0, 2, 8000.0);
    ck_assert_double_eq_tol(gain_db(&filter, 8000.0, 3900.0), 0.0, 0.001);
}
END_TEST

/* Another order of the same sums. Each rounds by at most 2^-24 of values of up to 1, some five
 * times a frame, and a section holds an error for rate / (2 pi corner) = 62 frames at most: as
 * noise, 2^-24 sqrt(5 x 62 x 4 sections) = 2e-6; four times that for the largest of 130 000
 * frames. */
START_TEST(at_rest_it_is_a_cascade_of_svf) {
    Random random = random_seeded(111);
    signals_noise(in[0], LENGTH, 0.2, &random);
    signals_noise(in[1], LENGTH, 0.2, &random);
    EdgeFilter filter = designed(48000.0, 123.0, 2, 15000.0);
    run(&filter, 0, LENGTH);
    const SvfKind kinds[4] = {SVF_LOW_PASS, SVF_LOW_PASS, SVF_HIGH_PASS, SVF_HIGH_PASS};
    memcpy(other, in, sizeof other);
    for (int s = 0; s < 4; s++) {
        double k = 2.0 * cos(PI * (s % 2 ? 3.0 : 1.0) / 8.0);
        double g = tan(PI * (kinds[s] == SVF_LOW_PASS ? 15000.0 : 123.0) / 48000.0);
        double a1 = 1.0 / (1.0 + g * (g + k));
        Svf svf = {.a1 = (float)a1, .a2 = (float)(g * a1), .a3 = (float)(g * g * a1)};
        bool low = kinds[s] == SVF_LOW_PASS;
        svf.m0 = low ? 0.0f : 1.0f;
        svf.m1 = low ? 0.0f : (float)-k;
        svf.m2 = low ? 1.0f : -1.0f;
        Svf right = svf;
        svf_process(&svf, other[0], other[0], LENGTH);
        svf_process(&right, other[1], other[1], LENGTH);
    }
    for (int channel = 0; channel < 2; channel++)
        for (size_t i = 0; i < LENGTH; i++)
            ck_assert_float_eq_tol(out[channel][i], other[channel][i], 8e-6f);
}
END_TEST

START_TEST(one_channel_is_as_one_of_two) {
    Random random = random_seeded(112);
    signals_noise(in[0], LENGTH, 0.2, &random);
    signals_noise(in[1], LENGTH, 0.2, &random);
    EdgeFilter filter = designed(48000.0, 90.0, 3, 12000.0);
    run(&filter, 0, LENGTH);
    EdgeFilter mono;
    edge_filter_prepare(&mono, 48000.0, 1);
    edge_filter_set(&mono, &(EdgeFilterParams){90.0, 3, 12000.0});
    const float *const i[1] = {in[0]};
    float *const o[1] = {other[0]};
    edge_filter_process(&mono, i, o, LENGTH);
    ck_assert(signals_same_bits(out[0], other[0], LENGTH));
}
END_TEST

/* Largest output above 1 kHz from frame `from` on, dB re the tone's amplitude of 0.5. */
static double splatter_db(size_t from, size_t n) {
    /* Twice, so that of the tone itself, at most 150 Hz, less than -130 dB is left. */
    signals_band_filter(out[0], other[0], n, 48000.0, 1000.0, 20000.0);
    signals_band_filter(other[0], other[0], n, 48000.0, 1000.0, 20000.0);
    return 20.0 * log10(signals_peak(other[0] + from, n - from) / 0.5);
}

/* The most a filter raises a peak is the sum of its impulse response's magnitudes; the signs of
 * that response, played backwards, reach it. Figures of an analogue high-pass, from scipy's
 * Butterworth at 40 Hz; the warp makes others less. With the low-pass up to 1.2 dB more. */
START_TEST(no_peak_is_raised_by_more_than_documented) {
    const double most_db[] = {7.71, 10.09, 11.60, 12.71};
    const size_t n = LENGTH / 2;
    for (unsigned pairs = 1; pairs <= 4; pairs++)
        for (int low_pass = 0; low_pass < 2; low_pass++) {
            EdgeFilter filter = designed(48000.0, 40.0, pairs, low_pass ? 8000.0 : 0.0);
            signals_silence(in[0], n);
            signals_silence(in[1], n);
            in[0][0] = 1.0f;
            run(&filter, 0, n);
            double sum = 0.0;
            for (size_t i = 0; i < n; i++) {
                in[1][n - 1 - i] = out[0][i] < 0.0f ? -1.0f : 1.0f;
                sum += fabs((double)out[0][i]);
            }
            edge_filter_reset(&filter);
            run(&filter, 0, n);
            /* What is summed in float over 65536 frames strays by less than 0.01 dB. */
            double reached_db = 20.0 * log10((double)out[1][n - 1]);
            ck_assert_double_eq_tol(reached_db, 20.0 * log10(sum), 0.01);
            ck_assert_double_le(reached_db, most_db[pairs - 1] + 1.2 * low_pass);
            ck_assert_double_ge(reached_db, most_db[pairs - 1] - 0.05);
        }
}
END_TEST

START_TEST(no_change_of_slope_or_corner_clicks) {
    /* On rumble at the corner, where every change is largest, and on a tone above it. A step there
     * would leave -20 dB above 1 kHz; float leaves some -130. */
    const double tones[] = {50.0, 150.0};
    const size_t n = 96000;
    for (int t = 0; t < 2; t++) {
        signals_sine(in[0], n, 48000.0, tones[t], 0.5, 0.3);
        signals_sine(in[1], n, 48000.0, tones[t], 0.5, 0.3);
        EdgeFilter filter = designed(48000.0, 60.0, 2, 0.0);
        const EdgeFilterParams changes[] = {
            {60.0, 4, 0.0},      {60.0, 1, 20000.0}, {60.0, 3, 8000.0}, {60.0, 2, 0.0},
            {400.0, 2, 15000.0}, {20.0, 4, 0.0},     {160.0, 4, 0.0},   {60.0, 1, 0.0},
        };
        run(&filter, 0, 12000);
        for (int c = 0; c < 7; c++) {
            edge_filter_set(&filter, &changes[c]);
            run(&filter, 12000 * (size_t)(c + 1), 12000);
        }
        ck_assert_double_lt(splatter_db(12000, n), -70.0);
    }
}
END_TEST

START_TEST(the_corner_rises_an_octave_in_half_a_second_and_falls_faster) {
    EdgeFilter filter = designed(48000.0, 50.0, 2, 0.0);
    signals_silence(in[0], LENGTH);
    signals_silence(in[1], LENGTH);
    run(&filter, 0, 100);
    edge_filter_set(&filter, &(EdgeFilterParams){200.0, 2, 0.0});
    double last = 50.0;
    for (size_t i = 0; i < 48000; i += 48) {
        run(&filter, 0, 48);
        double now = edge_filter_low_hz(&filter);
        ck_assert_double_ge(now, last);
        /* 48 frames are a tick; an octave in 500 of them. */
        ck_assert_double_le(now / last, exp2(1.0 / 500.0) * (1.0 + 1e-9));
        last = now;
    }
    ck_assert_double_gt(last, 180.0);
    run(&filter, 0, 48000);
    ck_assert_double_eq(edge_filter_low_hz(&filter), 200.0);
    edge_filter_set(&filter, &(EdgeFilterParams){100.0, 2, 0.0});
    run(&filter, 0, 4800);
    /* Two poles of 20 ms after 100 ms: (1 + 5) exp(-5) = 4 % left. */
    ck_assert_double_eq_tol(edge_filter_low_hz(&filter), 104.0, 1.0);
}
END_TEST

START_TEST(cutting_the_block_changes_no_bit_while_it_moves) {
    Random random = random_seeded(113);
    signals_noise(in[0], LENGTH, 0.2, &random);
    signals_noise(in[1], LENGTH, 0.2, &random);
    const EdgeFilterParams goals[] = {
        {40.0, 1, 0.0}, {200.0, 4, 9000.0}, {90.0, 2, 20000.0}, {300.0, 3, 0.0}};
    for (int k = 0; k < 3; k++) {
        EdgeFilter filter = designed(44100.0, 40.0, 2, 20000.0);
        for (int g = 0; g < 4; g++) {
            edge_filter_set(&filter, &goals[g]);
            for (size_t at = 0; at < 30000;) {
                size_t n = k == 0 ? 30000 : random_below(&random, k == 1 ? 5 : 1000);
                n = n < 30000 - at ? n : 30000 - at;
                run(&filter, (size_t)g * 30000 + at, n);
                at += n;
            }
        }
        if (k == 0)
            memcpy(other, out, sizeof other);
        ck_assert(signals_same_bits(out[0], other[0], 120000));
        ck_assert(signals_same_bits(out[1], other[1], 120000));
        ck_assert(signals_all_finite(out[0], 120000));
    }
}
END_TEST

START_TEST(after_a_reset_it_is_as_new_and_works_in_place) {
    Random random = random_seeded(114);
    signals_noise(in[0], LENGTH, 0.2, &random);
    signals_noise(in[1], LENGTH, 0.2, &random);
    EdgeFilter filter = designed(48000.0, 40.0, 4, 9000.0);
    run(&filter, 0, 5000);
    edge_filter_set(&filter, &(EdgeFilterParams){150.0, 2, 0.0});
    run(&filter, 0, 5000);
    edge_filter_reset(&filter);
    run(&filter, 0, 20000);
    EdgeFilter fresh = designed(48000.0, 150.0, 2, 0.0);
    const float *const i[2] = {in[0], in[1]};
    edge_filter_process(&fresh, i, (float *const[2]){in[0], in[1]}, 20000);
    ck_assert(signals_same_bits(out[0], in[0], 20000));
    ck_assert(signals_same_bits(out[1], in[1], 20000));
    /* And so it is when something is set and moved afterwards. */
    edge_filter_set(&filter, &(EdgeFilterParams){80.0, 3, 12000.0});
    edge_filter_set(&fresh, &(EdgeFilterParams){80.0, 3, 12000.0});
    run(&filter, 20000, 20000);
    memcpy(other, out, sizeof other);
    run(&fresh, 20000, 20000);
    ck_assert(signals_same_bits(out[0] + 20000, other[0] + 20000, 20000));
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("edge_filter");
    tcase_set_timeout(tcase, 60.0);
    tcase_add_test(tcase, losses_at_the_fundamental_are_the_published_ones);
    tcase_add_test(tcase, every_slope_is_butterworths_at_every_rate);
    tcase_add_test(tcase, the_low_pass_is_butterworths_of_order_4);
    tcase_add_test(tcase, at_rest_it_is_a_cascade_of_svf);
    tcase_add_test(tcase, one_channel_is_as_one_of_two);
    tcase_add_test(tcase, no_peak_is_raised_by_more_than_documented);
    tcase_add_test(tcase, no_change_of_slope_or_corner_clicks);
    tcase_add_test(tcase, the_corner_rises_an_octave_in_half_a_second_and_falls_faster);
    tcase_add_test(tcase, cutting_the_block_changes_no_bit_while_it_moves);
    tcase_add_test(tcase, after_a_reset_it_is_as_new_and_works_in_place);
    return run_tcase(tcase, "edge_filter");
}
