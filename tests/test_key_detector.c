/* SPDX-License-Identifier: ISC */
#include "basic/maths.h"
#include "detect/key_detector.h"
#include "run_tcase.h"
#include "signals.h"

#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { LENGTH = 200000 };
static unsigned char memory[1 << 20];
static float left[LENGTH], right[LENGTH], level[LENGTH], other[LENGTH];
static const float *const KEY[2] = {left, right};

static const double RATES[] = {8000.0, 44100.0, 48000.0, 192000.0};
enum { N_RATES = 4 };

static KeyDetector designed(double rate, unsigned channels, double low_cut_hz, double hold_ms) {
    KeyDetector d;
    Arena arena = arena_over(memory, sizeof memory);
    ck_assert(key_detector_prepare(&d, rate, channels, 1000.0, &arena));
    key_detector_set(&d, &(KeyDetectorParams){(float)low_cut_hz, (float)hold_ms});
    return d;
}

/* Second-order Butterworth high-pass by the bilinear transform: |H|^2 = u^4 / (1 + u^4). */
static double low_cut_db(double hz, double cut_hz, double rate) {
    double u = tan(PI * hz / rate) / tan(PI * cut_hz / rate);
    return -10.0 * log10(1.0 + pow(u, -4.0));
}

START_TEST(a_sine_reads_its_peak_within_a_tenth_of_a_db) {
    Random random = random_seeded(71);
    for (int r = 0; r < N_RATES; r++)
        for (int hz_step = 0; 40.0 * pow(1.31, hz_step) < 0.048 * RATES[r]; hz_step++) {
            double hz = 40.0 * pow(1.31, hz_step);
            KeyDetector d = designed(RATES[r], 1, 20.0, 0.0);
            size_t n = (size_t)(0.5 * RATES[r]);
            signals_sine(left, n, RATES[r], hz, 0.1, random_range(&random, 0.0, 6.28));
            key_detector_process(&d, KEY, level, n);
            double expected = -20.0 + low_cut_db(hz, 20.0, RATES[r]);
            /* Above: rounding, and 3e-3 dB of the filter's start after 0.4 s (9 of its 45 Hz). */
            for (size_t i = n * 4 / 5; i < n; i++) {
                ck_assert_double_lt((double)level[i], expected + 3e-3);
                ck_assert_double_gt((double)level[i], expected - 0.1);
            }
            ck_assert_double_eq_tol((double)key_detector_level_db(&d), expected, 0.1);
        }
}
END_TEST

START_TEST(the_level_of_a_low_voice_does_not_flutter) {
    /* E2, 82.4 Hz, the low end of a bass (common practice), with overtones at -6 dB an octave. */
    for (int r = 0; r < N_RATES; r++) {
        KeyDetector d = designed(RATES[r], 1, 20.0, 0.0);
        size_t n = (size_t)RATES[r];
        signals_harmonics(left, n, RATES[r], 82.4, 3000.0, -6.0, 0.05);
        key_detector_process(&d, KEY, level, n);
        float lowest = 0.0f, highest = -200.0f;
        for (size_t i = n / 2; i < n; i++) {
            lowest = level[i] < lowest ? level[i] : lowest;
            highest = level[i] > highest ? level[i] : highest;
        }
        /* Where a period's samples fall about its peak: partials to 3 kHz miss it by at most
         * 0.17 dB at 48 kHz (1 - cos(pi 3000/48000)); at 8 kHz there is no such bound. */
        if (RATES[r] > 40000.0)
            ck_assert_float_lt(highest - lowest, 0.2f);
        /* The low cut turns the fundamental by 20 degrees, which may raise the peak a little. */
        ck_assert_double_lt((double)highest, signals_peak_db(left, n) + 1.0);
        ck_assert_double_gt((double)lowest, signals_rms_db(left, n));
    }
}
END_TEST

START_TEST(the_larger_channel_counts) {
    KeyDetector two = designed(48000.0, 2, 100.0, 40.0);
    signals_sine(left, LENGTH, 48000.0, 700.0, 0.01, 0.0);
    signals_sine(right, LENGTH, 48000.0, 400.0, 0.2, 1.0);
    memcpy(other, right, sizeof other);
    key_detector_process(&two, KEY, level, 48000);
    ck_assert_double_eq_tol((double)level[47999],
                            20.0 * log10(0.2) + low_cut_db(400.0, 100.0, 48e3), 0.1);
    for (int side = 0; side < 2; side++) {
        two = designed(48000.0, 2, 100.0, 40.0);
        signals_sine(left, LENGTH, 48000.0, 700.0, side == 0 ? 0.3 : 0.0, 0.0);
        signals_sine(right, LENGTH, 48000.0, 400.0, side == 0 ? 0.0 : 0.2, 1.0);
        key_detector_process(&two, KEY, level, 48000);
        KeyDetector one = designed(48000.0, 1, 100.0, 40.0);
        const float *const mono[1] = {KEY[side]};
        key_detector_process(&one, mono, other, 48000);
        ck_assert(signals_same_bits(level, other, 48000));
    }
}
END_TEST

START_TEST(a_peak_is_held_for_the_time_given_and_a_millisecond_more_at_most) {
    const double holds[] = {0.0, 12.5, 40.0, 333.0, 1000.0};
    for (int r = 0; r < N_RATES; r++)
        for (int h = 0; h < 5; h++) {
            KeyDetector d = designed(RATES[r], 1, 20.0, holds[h]);
            size_t at = 777, n = at + (size_t)(1.02 * RATES[r]);
            ck_assert_uint_le(n, LENGTH);
            signals_silence(left, n);
            left[at] = 0.5f;
            key_detector_process(&d, KEY, level, n);
            ck_assert_float_lt(level[at - 1], -199.0f);
            size_t fell = at;
            while (fell < n && level[fell] == level[at])
                fell++;
            double held_ms = (double)(fell - at) / RATES[r] * 1e3;
            double want = holds[h] > KEY_DETECTOR_CREST_MS ? holds[h] : KEY_DETECTOR_CREST_MS;
            ck_assert_double_ge(held_ms, want - 500.0 / RATES[r]); /* half a frame of rounding */
            ck_assert_double_le(held_ms, want + 1.0);
        }
}
END_TEST

START_TEST(rumble_is_cut_by_12_db_an_octave) {
    KeyDetector d = designed(48000.0, 1, 120.0, 1000.0);
    signals_sine(left, LENGTH, 48000.0, 30.0, 1.0, 0.0);
    key_detector_process(&d, KEY, level, LENGTH);
    ck_assert_double_eq_tol((double)level[LENGTH - 1], low_cut_db(30.0, 120.0, 48e3), 0.1);
    ck_assert_double_eq_tol(low_cut_db(30.0, 120.0, 48e3), -24.1, 0.1);
}
END_TEST

START_TEST(silence_reads_minus_200_and_reset_forgets) {
    KeyDetector d = designed(48000.0, 2, 120.0, 40.0);
    Random random = random_seeded(72);
    signals_noise(left, 4000, 0.2, &random);
    signals_noise(right, 4000, 0.2, &random);
    key_detector_process(&d, KEY, level, 4000);
    key_detector_reset(&d);
    ck_assert_double_eq_tol((double)key_detector_level_db(&d), -200.0, 1e-4);
    key_detector_process(&d, KEY, other, 4000);
    ck_assert(signals_same_bits(level, other, 4000));
}
END_TEST

START_TEST(cutting_the_block_changes_no_bit) {
    Random random = random_seeded(73);
    signals_noise(left, LENGTH, 0.2, &random);
    signals_noise(right, LENGTH, 0.2, &random);
    KeyDetector d = designed(44100.0, 2, 200.0, 15.0);
    key_detector_process(&d, KEY, level, LENGTH);
    key_detector_reset(&d);
    for (size_t at = 0; at < LENGTH;) {
        size_t n = random_below(&random, 300);
        n = n < LENGTH - at ? n : LENGTH - at;
        const float *const key[2] = {left + at, right + at};
        key_detector_process(&d, key, other + at, n);
        at += n;
    }
    ck_assert(signals_same_bits(level, other, LENGTH));
}
END_TEST

START_TEST(impossible_settings_are_refused) {
    KeyDetector d;
    Arena arena = arena_over(memory, sizeof memory);
    ck_assert(!key_detector_prepare(&d, 48000.0, 0, 1000.0, &arena));
    ck_assert(!key_detector_prepare(&d, 48000.0, 3, 1000.0, &arena));
    arena = arena_over(memory, 100);
    ck_assert(!key_detector_prepare(&d, 48000.0, 2, 1000.0, &arena));
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("key_detector");
    tcase_add_test(tcase, a_sine_reads_its_peak_within_a_tenth_of_a_db);
    tcase_add_test(tcase, the_level_of_a_low_voice_does_not_flutter);
    tcase_add_test(tcase, the_larger_channel_counts);
    tcase_add_test(tcase, a_peak_is_held_for_the_time_given_and_a_millisecond_more_at_most);
    tcase_add_test(tcase, rumble_is_cut_by_12_db_an_octave);
    tcase_add_test(tcase, silence_reads_minus_200_and_reset_forgets);
    tcase_add_test(tcase, cutting_the_block_changes_no_bit);
    tcase_add_test(tcase, impossible_settings_are_refused);
    return run_tcase(tcase, "key_detector");
}
