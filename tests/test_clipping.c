/* SPDX-License-Identifier: ISC */
#include "measure/clipping.h"
#include "run_tcase.h"
#include "signals.h"
#include "singer.h"

#include <check.h>
#include <math.h>
#include <stdlib.h>

enum { LENGTH = 48000 };
static float audio[LENGTH];

static Clipping measure(const float *in, size_t n, double rate_hz) {
    static Clipping tops;
    clipping_prepare(&tops, rate_hz, 1);
    clipping_process(&tops, &in, n);
    return tops;
}

static uint64_t tops_of(const float *in, size_t n, double rate_hz) {
    static Clipping tops;
    tops = measure(in, n, rate_hz);
    return clipping_reading(&tops).tops;
}

static void clip(float *x, size_t n, float at) {
    for (size_t i = 0; i < n; i++)
        x[i] = x[i] > at ? at : x[i] < -at ? -at : x[i];
}

/* 100 Hz for 1 s has 200 tops; at 6 dB over the ceiling each is flat for a third of a period twice:
 * (pi - 2 asin(1/2)) / (2 pi) / 100 Hz = 3.33 ms. */
START_TEST(a_clipped_sine_has_a_flat_top_each_half_period) {
    const float ceilings[] = {1.0f, 0.5f, 0.01f};
    for (size_t i = 0; i < 3; i++) {
        signals_sine(audio, LENGTH, 48000.0, 100.0, 2.0 * (double)ceilings[i], 0.0);
        clip(audio, LENGTH, ceilings[i]);
        static Clipping tops;
        tops = measure(audio, LENGTH, 48000.0);
        ck_assert_uint_eq(clipping_reading(&tops).tops, 200);
        ck_assert_double_eq_tol((double)clipping_reading(&tops).longest / 48.0, 3.333, 0.05);
        ck_assert(i == 0 ? tops.state.full_scale > 31000 : tops.state.full_scale == 0);
    }
}
END_TEST

START_TEST(tops_under_a_later_larger_sample_were_no_clipping) {
    signals_sine(audio, LENGTH, 48000.0, 100.0, 1.0, 0.0);
    clip(audio, LENGTH / 2, 0.3f);
    ck_assert_uint_eq(tops_of(audio, LENGTH, 48000.0), 0);
}
END_TEST

static void to_16_bit(float *x, size_t n) {
    for (size_t i = 0; i < n; i++)
        x[i] = (float)(floor((double)x[i] * 32768.0 + 0.5) / 32768.0);
}

/* Also after 16 bit, a voice that was not clipped has none; one that was has. */
START_TEST(a_voice_is_not_clipped_until_it_is) {
    for (uint64_t seed = 1; seed <= 3; seed++) {
        SingerTake take;
        SingerParams params = singer_params(seed % 2 ? SINGER_WOMAN : SINGER_MAN, 48000.0, seed);
        params.phrases = 2;
        ck_assert(singer_take(&params, &take));
        signals_scale(take.mix, take.n, 0.9 / signals_peak(take.mix, take.n));
        to_16_bit(take.mix, take.n);
        ck_assert_uint_eq(tops_of(take.mix, take.n, take.rate_hz), 0);
        clip(take.mix, take.n, 0.15f);
        ck_assert_uint_gt(tops_of(take.mix, take.n, take.rate_hz), 5);
        singer_free(&take);
    }
}
END_TEST

/* The singer, loud, 6 dB over what it is clipped at. */
static SingerTake clipped_singer(uint64_t seed, bool both_sides) {
    SingerTake take;
    SingerParams params = singer_params(seed % 2 ? SINGER_WOMAN : SINGER_MAN, 48000.0, seed);
    params.phrases = 3;
    ck_assert(singer_take(&params, &take));
    signals_scale(take.mix, take.n, 0.9 / signals_peak(take.mix, take.n));
    for (size_t i = 0; i < take.n; i++) {
        float x = take.mix[i];
        take.mix[i] = x > 0.45f ? 0.45f : both_sides && x < -0.45f ? -0.45f : x;
    }
    return take;
}

/* Windowed sinc, 16 frames to either side, corner at 0.45 of the lower rate. */
static size_t at_44100(const float *in, size_t n, float *out) {
    const double pi = 3.14159265358979323846, ratio = 48000.0 / 44100.0, corner = 0.9 / ratio;
    size_t count = (size_t)((double)n / ratio);
    for (size_t i = 0; i < count; i++) {
        double at = (double)i * ratio, sum = 0.0;
        for (long k = (long)at - 16; k <= (long)at + 17; k++) {
            double x = at - (double)k, t = pi * corner * x;
            double sinc = fabs(t) < 1e-9 ? 1.0 : sin(t) / t;
            if (k >= 0 && k < (long)n)
                sum += corner * sinc * (0.5 + 0.5 * cos(pi * x / 17.5)) * (double)in[k];
        }
        out[i] = (float)sum;
    }
    return count;
}

START_TEST(one_side_is_enough) {
    for (uint64_t seed = 11; seed <= 12; seed++) {
        SingerTake take = clipped_singer(seed, false);
        ck_assert_uint_gt(tops_of(take.mix, take.n, 48000.0), 5);
        singer_free(&take);
    }
}
END_TEST

START_TEST(a_louder_click_hides_no_clipping) {
    for (uint64_t seed = 11; seed <= 12; seed++) {
        SingerTake take = clipped_singer(seed, true);
        uint64_t without = tops_of(take.mix, take.n, 48000.0);
        (void)singer_click(take.mix + 500, 2000, 48000.0, 0.95, seed);
        uint64_t with = tops_of(take.mix, take.n, 48000.0);
        ck_assert_uint_gt(without, 10);
        ck_assert_uint_ge(10 * with, 9 * without);
        singer_free(&take);
    }
}
END_TEST

/* A high-pass of second order at 80 Hz, another rate, or both. */
START_TEST(a_filter_or_another_rate_hides_no_clipping) {
    for (uint64_t seed = 11; seed <= 12; seed++)
        for (int way = 1; way < 4; way++) {
            SingerTake take = clipped_singer(seed, true);
            SignalsBiquad high = signals_high_pass(48000.0, 80.0, 0.7071);
            float *out = calloc(take.n, sizeof *out);
            ck_assert(out != NULL);
            for (size_t i = 0; i < take.n && way % 2; i++)
                take.mix[i] = (float)signals_biquad_step(&high, (double)take.mix[i]);
            size_t n = way >= 2 ? at_44100(take.mix, take.n, out) : take.n;
            uint64_t tops = tops_of(way >= 2 ? out : take.mix, n, way >= 2 ? 44100.0 : 48000.0);
            ck_assert_msg(tops > 10, "seed %d, way %d: %d", (int)seed, way, (int)tops);
            free(out);
            singer_free(&take);
        }
}
END_TEST

/* Neither of these has clipped anything. */
START_TEST(filters_and_rates_alone_are_no_clipping) {
    for (uint64_t seed = 21; seed <= 23; seed++) {
        SingerTake take;
        SingerParams params = singer_params(seed % 2 ? SINGER_WOMAN : SINGER_MAN, 48000.0, seed);
        params.phrases = 4;
        ck_assert(singer_take(&params, &take));
        float *out = calloc(take.n, sizeof *out);
        ck_assert(out != NULL);
        ck_assert_uint_eq(tops_of(take.mix, take.n, 48000.0), 0);
        size_t n = at_44100(take.mix, take.n, out);
        ck_assert_uint_eq(tops_of(out, n, 44100.0), 0);
        to_16_bit(out, n);
        signals_scale(out, n, 0.1);
        to_16_bit(out, n);
        ck_assert_uint_eq(tops_of(out, n, 44100.0), 0);
        free(out);
        singer_free(&take);
    }
}
END_TEST

START_TEST(dc_is_the_mean_of_each_channel_and_silence_is_no_top) {
    static float other[LENGTH];
    static Clipping tops;
    signals_sine(audio, LENGTH, 48000.0, 100.0, 0.5, 0.0);
    for (size_t i = 0; i < LENGTH; i++) {
        audio[i] += 0.01f;
        other[i] = -0.25f;
    }
    const float *in[] = {audio, other};
    clipping_prepare(&tops, 48000.0, 2);
    ck_assert_double_eq(clipping_dc(&tops, 0), 0.0);
    clipping_process(&tops, in, LENGTH);
    ck_assert_double_eq_tol(clipping_dc(&tops, 0), 0.01, 1e-6);
    ck_assert_double_eq(clipping_dc(&tops, 1), -0.25);
    signals_silence(audio, LENGTH);
    ck_assert_uint_eq(tops_of(audio, LENGTH, 48000.0), 0);
}
END_TEST

START_TEST(the_cutting_of_blocks_does_not_show) {
    static Clipping cut, whole;
    signals_sine(audio, LENGTH, 48000.0, 300.0, 1.4, 0.0);
    clip(audio, LENGTH, 1.0f);
    whole = measure(audio, LENGTH, 48000.0);
    clipping_prepare(&cut, 48000.0, 1);
    for (size_t at = 0; at < LENGTH; at += 7) {
        const float *in = audio + at;
        clipping_process(&cut, &in, LENGTH - at < 7 ? LENGTH - at : 7);
    }
    ck_assert_uint_eq(clipping_reading(&whole).tops, clipping_reading(&cut).tops);
    ck_assert_uint_eq(clipping_reading(&whole).longest, clipping_reading(&cut).longest);
    ck_assert_mem_eq(whole.state.side, cut.state.side, sizeof cut.state.side);
    ck_assert_uint_eq(whole.state.full_scale, cut.state.full_scale);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("flat_tops");
    tcase_add_test(tcase, a_clipped_sine_has_a_flat_top_each_half_period);
    tcase_add_test(tcase, tops_under_a_later_larger_sample_were_no_clipping);
    tcase_add_test(tcase, a_voice_is_not_clipped_until_it_is);
    tcase_add_test(tcase, one_side_is_enough);
    tcase_add_test(tcase, a_louder_click_hides_no_clipping);
    tcase_add_test(tcase, a_filter_or_another_rate_hides_no_clipping);
    tcase_add_test(tcase, filters_and_rates_alone_are_no_clipping);
    tcase_add_test(tcase, dc_is_the_mean_of_each_channel_and_silence_is_no_top);
    tcase_add_test(tcase, the_cutting_of_blocks_does_not_show);
    tcase_set_timeout(tcase, 60);
    return run_tcase(tcase, "flat_tops");
}
