/* SPDX-License-Identifier: ISC */
#include "basic/turns.h"
#include "filter/tone_cancel.h"
#include "run_tcase.h"
#include "signals.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

enum { RATE = 48000, LENGTH = 6 * RATE, HOP = 256 };
static float in[2][LENGTH], out[2][LENGTH], other[LENGTH];
static ToneCancel cancel;
static const float none[TONE_CANCEL_TONES];
static const float all[TONE_CANCEL_TONES] = {1.0f, 1.0f, 1.0f, 1.0f, 1.0f, 1.0f,
                                             1.0f, 1.0f, 1.0f, 1.0f, 1.0f, 1.0f};

static void prepare(unsigned channels, float depth_db, double hz) {
    tone_cancel_prepare(&cancel, RATE, channels);
    tone_cancel_set(&cancel, depth_db);
    tone_cancel_aim(&cancel, hz);
}

static void play(size_t from, size_t to, const float *share, double tau_ms) {
    for (size_t at = from; at < to; at += HOP) {
        const float *x[2] = {in[0] + at, in[1] + at};
        float *y[2] = {out[0] + at, out[1] + at};
        tone_cancel_adapt(&cancel, share, tau_ms);
        tone_cancel_process(&cancel, x, y, HOP);
    }
}

static double tone_db(const float *audio, size_t from, size_t n, double hz) {
    return 20.0 * log10(signals_tone_amplitude(audio + from, n, RATE, hz) + 1e-10);
}

START_TEST(turns_are_cosine_and_sine) {
    Random random = random_seeded(51);
    printf("seed 51\n");
    for (int i = 0; i < 10000; i++) {
        double x = i < 9 ? 0.125 * i : random_range(&random, -100.0, 100.0);
        double angle = 6.283185307179586477 * (x - floor(x));
        Turned turned = turned_by(x);
        ck_assert_double_eq_tol(turned.re, cos(angle), 2e-13);
        ck_assert_double_eq_tol(turned.im, sin(angle), 2e-13);
    }
}
END_TEST

START_TEST(with_nothing_on_it_is_the_input_bit_for_bit) {
    Random random = random_seeded(52);
    printf("seed 52\n");
    signals_noise(in[0], LENGTH, 0.3, &random);
    prepare(1, 60.0f, 50.0);
    play(0, LENGTH / 2, none, 250.0);
    ck_assert(signals_same_bits(in[0], out[0], LENGTH / 2));
    /* And again, 2 s after something was: 30 ms of tau, 180 dB in 0.62 s. */
    play(LENGTH / 2, LENGTH / 2 + RATE / 2, all, 250.0);
    ck_assert(!signals_same_bits(in[0] + LENGTH / 2, out[0] + LENGTH / 2, RATE / 2));
    play(LENGTH / 2 + RATE / 2, LENGTH, none, 250.0);
    ck_assert(signals_same_bits(in[0] + LENGTH - RATE / 2, out[0] + LENGTH - RATE / 2, RATE / 2));
}
END_TEST

/* Twelve harmonics, after 10 tau: each is down by the depth, within 0.5 dB; 60 dB at most are left
 * to rounding of the phasors. */
START_TEST(tones_go_down_by_the_depth) {
    const float depths[] = {6.0f, 20.0f, 40.0f};
    for (int d = 0; d < 3; d++) {
        signals_silence(in[0], LENGTH);
        for (int k = 1; k <= TONE_CANCEL_TONES; k++)
            signals_sine_add(in[0], LENGTH, RATE, 60.0 * k, 0.01 * k, 0.7 * k);
        prepare(1, depths[d], 60.0);
        play(0, LENGTH, all, 250.0);
        for (int k = 1; k <= TONE_CANCEL_TONES; k++) {
            double down = tone_db(in[0], (size_t)4 * RATE, RATE, 60.0 * k) -
                          tone_db(out[0], (size_t)4 * RATE, RATE, 60.0 * k);
            ck_assert_double_eq_tol(down, (double)depths[d], 0.5);
        }
    }
}
END_TEST

/* Of a tone on in part so much is taken, within 2 % of it, from 5 tau on. */
START_TEST(a_tone_on_in_part_goes_down_in_part) {
    const float shares[] = {0.02f, 0.1f, 0.5f, 0.9f};
    for (int i = 0; i < 4; i++) {
        const float share[TONE_CANCEL_TONES] = {0.0f, shares[i]};
        signals_sine(in[0], LENGTH, RATE, 100.0, 0.1, 0.4);
        prepare(1, 100.0f, 50.0);
        play(0, LENGTH, share, 250.0);
        double left = signals_tone_amplitude(out[0] + (size_t)4 * RATE, RATE, RATE, 100.0);
        ck_assert_double_eq_tol(left, 0.1 * (1.0 - (double)shares[i]), 0.002);
    }
}
END_TEST

/* Bandwidth: a tone off by 1 / (2 pi tau) Hz is down by 3 dB (depth 60 is as good as all of it),
 * one ten times as far by less than 0.1 dB: 10 log10(1 / (1 + 1 / x^2)), x in half bandwidths. */
START_TEST(notches_are_as_wide_as_said) {
    const double tau_s = 0.25, half_hz = 1.0 / (2.0 * 3.14159265 * tau_s);
    const double off[] = {0.5, 1.0, 3.0, 10.0};
    for (int i = 0; i < 4; i++) {
        double hz = 100.0 + off[i] * half_hz;
        const float second[TONE_CANCEL_TONES] = {0.0f, 1.0f};
        signals_sine(in[0], LENGTH, RATE, hz, 0.1, 0.0);
        prepare(1, 60.0f, 50.0);
        play(0, LENGTH, second, 1000.0 * tau_s);
        double down = signals_rms_db(in[0] + (size_t)3 * RATE, RATE) -
                      signals_rms_db(out[0] + (size_t)3 * RATE, RATE);
        ck_assert_double_eq_tol(down, 10.0 * log10(1.0 + 1.0 / (off[i] * off[i])), 0.1);
    }
}
END_TEST

/* A voice's partial on a harmonic, exactly, for one second at tau 4 s: 8.69 / 4 = 2.17 dB at its
 * end, and never more; half of it over the whole. */
START_TEST(a_voice_on_a_harmonic_loses_no_more_than_said) {
    signals_sine(in[0], LENGTH, RATE, 100.0, 0.2, 1.0);
    prepare(1, 40.0f, 50.0);
    play(0, RATE, all, 4000.0);
    size_t last = RATE / 20;
    double lost =
        signals_rms_db(in[0] + RATE - last, last) - signals_rms_db(out[0] + RATE - last, last);
    ck_assert_double_ge(lost, 1.9);
    ck_assert_double_le(lost, 8.69 / 4.0 + 0.02);
    ck_assert_double_le(signals_rms_db(in[0], RATE) - signals_rms_db(out[0], RATE), 1.2);
}
END_TEST

/* Known hum goes on being taken out at a tau of 4 s, under a voice elsewhere. */
START_TEST(what_is_known_is_taken_from_under_a_voice) {
    signals_sine(in[0], LENGTH, RATE, 50.0, 0.01, 0.3);
    for (int k = 1; k < 9; k++)
        signals_sine_add(in[0] + (size_t)2 * RATE, LENGTH - (size_t)2 * RATE, RATE, 223.0 * k,
                         0.1 / k, k);
    prepare(1, 60.0f, 50.0);
    play(0, (size_t)2 * RATE, all, 250.0);
    play((size_t)2 * RATE, LENGTH, all, 4000.0);
    ck_assert_double_le(tone_db(out[0], (size_t)3 * RATE, (size_t)2 * RATE, 50.0), -40.0 - 30.0);
    for (int k = 1; k < 9; k++)
        ck_assert_double_eq_tol(tone_db(out[0], (size_t)3 * RATE, (size_t)2 * RATE, 223.0 * k),
                                tone_db(in[0], (size_t)3 * RATE, (size_t)2 * RATE, 223.0 * k),
                                0.05);
}
END_TEST

/* What a word of TONE_CANCEL_KEPT - 1 hops did to the tones is taken back, by half, and then by all
 * that is left, since what is remembered went back as far. */
START_TEST(what_a_word_did_is_taken_back) {
    signals_sine(in[0], LENGTH, RATE, 50.0, 0.01, 0.3);
    size_t word = (size_t)2 * RATE / HOP * HOP, n = (size_t)(TONE_CANCEL_KEPT - 1) * HOP;
    signals_scale(in[0] + word, n, 10.0);
    prepare(1, 60.0f, 50.0);
    play(0, word, all, 250.0);
    float power = tone_cancel_power(&cancel);
    for (size_t at = word; at < word + n; at += HOP) {
        tone_cancel_keep(&cancel);
        play(at, at + HOP, all, 250.0);
    }
    tone_cancel_keep(&cancel);
    double moved = sqrt((double)tone_cancel_power(&cancel)) - sqrt((double)power);
    ck_assert_double_ge(moved, 0.001);
    for (int i = 0; i < 2; i++) {
        tone_cancel_recall(&cancel, 0.5f);
        moved *= 0.5;
        ck_assert_double_eq_tol(sqrt((double)tone_cancel_power(&cancel)),
                                sqrt((double)power) + moved, 1e-5);
    }
    tone_cancel_recall(&cancel, 1.0f);
    ck_assert_float_eq_tol(tone_cancel_power(&cancel), power, 1e-5f * power);
}
END_TEST

/* Held to a tenth of its amplitude a tone goes there, 1 dB a call; one within what it may have is
 * left. */
START_TEST(no_tone_has_more_than_it_may) {
    float most[TONE_CANCEL_TONES];
    for (unsigned channels = 1; channels <= 2; channels++) {
        for (int k = 0; k < TONE_CANCEL_TONES; k++)
            most[k] = INFINITY;
        for (int c = 0; c < 2; c++) {
            signals_sine(in[c], LENGTH, RATE, 50.0, 0.01, 0.3);
            signals_sine_add(in[c], LENGTH, RATE, 450.0, 0.1, 0.4);
        }
        prepare(channels, 60.0f, 50.0);
        play(0, (size_t)2 * RATE, all, 250.0);
        ck_assert_float_eq_tol(tone_cancel_power(&cancel), 0.5f * (0.01f + 1e-4f), 5e-5f);
        tone_cancel_limit(&cancel, most);
        ck_assert_float_eq_tol(tone_cancel_power(&cancel), 0.5f * (0.01f + 1e-4f), 5e-5f);
        most[8] = 0.5e-4f;
        tone_cancel_limit(&cancel, most);
        ck_assert_float_eq_tol(tone_cancel_power(&cancel), 0.5f * (0.00792f + 1e-4f), 5e-5f);
        for (int i = 0; i < 20; i++)
            tone_cancel_limit(&cancel, most);
        ck_assert_float_eq_tol(tone_cancel_power(&cancel), 1e-4f, 2e-6f);
    }
}
END_TEST

START_TEST(each_channel_is_as_it_would_be_alone) {
    Random random = random_seeded(53);
    printf("seed 53\n");
    signals_noise(in[0], LENGTH, 0.1, &random);
    signals_noise(in[1], LENGTH, 0.01, &random);
    prepare(2, 30.0f, 50.1);
    play(0, (size_t)2 * RATE, all, 250.0);
    memcpy(other, out[1], sizeof other);
    memcpy(in[0], in[1], sizeof in[0]);
    prepare(1, 30.0f, 50.1);
    play(0, (size_t)2 * RATE, all, 250.0);
    ck_assert(signals_same_bits(out[0], other, (size_t)2 * RATE));
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("tone_cancel");
    tcase_add_test(tcase, turns_are_cosine_and_sine);
    tcase_add_test(tcase, with_nothing_on_it_is_the_input_bit_for_bit);
    tcase_add_test(tcase, tones_go_down_by_the_depth);
    tcase_add_test(tcase, a_tone_on_in_part_goes_down_in_part);
    tcase_add_test(tcase, notches_are_as_wide_as_said);
    tcase_add_test(tcase, a_voice_on_a_harmonic_loses_no_more_than_said);
    tcase_add_test(tcase, what_is_known_is_taken_from_under_a_voice);
    tcase_add_test(tcase, what_a_word_did_is_taken_back);
    tcase_add_test(tcase, no_tone_has_more_than_it_may);
    tcase_add_test(tcase, each_channel_is_as_it_would_be_alone);
    tcase_set_timeout(tcase, 60);
    return run_tcase(tcase, "tone_cancel");
}
