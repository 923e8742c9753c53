/* SPDX-License-Identifier: ISC */
#include "measure/clipping.h"
#include "run_tcase.h"
#include "signals.h"
#include "singer.h"

#include <check.h>
#include <math.h>

enum { LENGTH = 48000 };
static float audio[LENGTH];

static Clipping measure(const float *in, size_t n, double rate_hz) {
    Clipping tops;
    clipping_prepare(&tops, rate_hz, 1);
    clipping_process(&tops, &in, n);
    return tops;
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
        Clipping tops = measure(audio, LENGTH, 48000.0);
        ck_assert_uint_eq(tops.state.tops, 200);
        ck_assert_double_eq_tol((double)tops.state.longest / 48.0, 3.333, 0.05);
        ck_assert(i == 0 ? tops.state.full_scale > 31000 : tops.state.full_scale == 0);
    }
}
END_TEST

START_TEST(tops_under_a_later_larger_sample_were_no_clipping) {
    signals_sine(audio, LENGTH, 48000.0, 100.0, 1.0, 0.0);
    clip(audio, LENGTH / 2, 0.3f);
    ck_assert_uint_eq(measure(audio, LENGTH, 48000.0).state.tops, 0);
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
        ck_assert_uint_eq(measure(take.mix, take.n, take.rate_hz).state.tops, 0);
        clip(take.mix, take.n, 0.15f);
        ck_assert_uint_gt(measure(take.mix, take.n, take.rate_hz).state.tops, 5);
        singer_free(&take);
    }
}
END_TEST

START_TEST(dc_is_the_mean_of_each_channel_and_silence_is_no_top) {
    static float other[LENGTH];
    Clipping tops;
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
    ck_assert_uint_eq(measure(audio, LENGTH, 48000.0).state.tops, 0);
}
END_TEST

START_TEST(the_cutting_of_blocks_does_not_show) {
    Clipping cut;
    signals_sine(audio, LENGTH, 48000.0, 300.0, 1.4, 0.0);
    clip(audio, LENGTH, 1.0f);
    Clipping whole = measure(audio, LENGTH, 48000.0);
    clipping_prepare(&cut, 48000.0, 1);
    for (size_t at = 0; at < LENGTH; at += 7) {
        const float *in = audio + at;
        clipping_process(&cut, &in, LENGTH - at < 7 ? LENGTH - at : 7);
    }
    ck_assert_uint_eq(whole.state.tops, cut.state.tops);
    ck_assert_uint_eq(whole.state.longest, cut.state.longest);
    ck_assert_uint_eq(whole.state.full_scale, cut.state.full_scale);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("flat_tops");
    tcase_add_test(tcase, a_clipped_sine_has_a_flat_top_each_half_period);
    tcase_add_test(tcase, tops_under_a_later_larger_sample_were_no_clipping);
    tcase_add_test(tcase, a_voice_is_not_clipped_until_it_is);
    tcase_add_test(tcase, dc_is_the_mean_of_each_channel_and_silence_is_no_top);
    tcase_add_test(tcase, the_cutting_of_blocks_does_not_show);
    tcase_set_timeout(tcase, 60);
    return run_tcase(tcase, "flat_tops");
}
