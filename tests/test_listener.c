/* SPDX-License-Identifier: ISC */
#include "run_tcase.h"
#include "signals.h"
#include "voice/listener.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { LENGTH = 48000, MOST_HOPS = LENGTH / 16 };
static float left[LENGTH], right[LENGTH];
static VoiceFrame once[MOST_HOPS], again[MOST_HOPS];

/* Hops heard, cut at random (seed) or whole groups at a time (NULL). */
static size_t hear(double rate_hz, unsigned channels, Random *random, VoiceFrame *frames) {
    Listener listener;
    listener_prepare(&listener, rate_hz);
    const float *const in[2] = {left, right};
    size_t hops = 0;
    for (size_t at = 0; at < LENGTH;) {
        size_t n = listener_room(&listener);
        n = random ? random_below(random, n + 1) : n;
        n = n < LENGTH - at ? n : LENGTH - at;
        if (listener_hear(&listener, in, channels, at, n, &frames[hops]))
            hops++;
        at += n;
    }
    return hops;
}

static void fill_voice(double rate_hz) {
    Random random = random_seeded(71);
    signals_harmonics(left, LENGTH, rate_hz, 200.0, 3000.0, -9.0, 0.1);
    signals_noise(right, LENGTH, 0.01, &random);
    signals_add(left, right, LENGTH);
}

START_TEST(two_equal_channels_are_heard_as_one_bit_for_bit) {
    fill_voice(48000.0);
    memcpy(right, left, sizeof right);
    size_t mono = hear(48000.0, 1, NULL, once), stereo = hear(48000.0, 2, NULL, again);
    ck_assert_uint_eq(mono, stereo);
    ck_assert_uint_ge(mono, 180); /* every 5.33 ms */
    ck_assert_int_eq(memcmp(once, again, mono * sizeof *once), 0);
}
END_TEST

START_TEST(how_the_audio_is_cut_changes_no_bit) {
    Random random = random_seeded(72);
    printf("seed 72\n");
    const double rates[] = {8000.0, 44100.0, 192000.0};
    for (int r = 0; r < 3; r++) {
        fill_voice(rates[r]);
        size_t hops = hear(rates[r], 2, NULL, once);
        ck_assert_uint_eq(hear(rates[r], 2, &random, again), hops);
        ck_assert_int_eq(memcmp(once, again, hops * sizeof *once), 0);
    }
}
END_TEST

static double level_db(const VoiceFrame *frame) {
    double power = 0.0;
    for (int b = 0; b < OCTAVE_BANK_BANDS; b++)
        power += (double)frame->power[b];
    return 10.0 * log10(power + 1e-20);
}

START_TEST(no_pan_or_polarity_is_deaf) {
    /* One channel alone is half the mean: 6.02 dB down. Out of phase, the difference is all of it.
     */
    const float gain_left[] = {1.0f, 0.0f, 1.0f}, gain_right[] = {0.0f, 1.0f, -1.0f};
    const double expected_db[] = {-6.0206, -6.0206, 0.0};
    fill_voice(48000.0);
    hear(48000.0, 1, NULL, once);
    static float voice[LENGTH];
    memcpy(voice, left, sizeof voice);
    for (int k = 0; k < 3; k++) {
        for (size_t i = 0; i < LENGTH; i++) {
            left[i] = gain_left[k] * voice[i];
            right[i] = gain_right[k] * voice[i];
        }
        hear(48000.0, 2, NULL, again);
        ck_assert_double_eq_tol(level_db(&again[100]) - level_db(&once[100]), expected_db[k], 0.01);
        ck_assert_double_eq_tol((double)again[100].periodicity, (double)once[100].periodicity,
                                1e-3);
    }
}
END_TEST

START_TEST(changing_left_and_right_over_changes_no_bit) {
    /* In phase, then out of phase for a while, with other noise on each side. */
    fill_voice(48000.0);
    Random random = random_seeded(73);
    static float other[LENGTH];
    signals_noise(other, LENGTH, 0.02, &random);
    for (size_t i = 0; i < LENGTH; i++)
        right[i] = (i / 12000) % 2 ? -left[i] + other[i] : left[i] + other[i];
    size_t hops = hear(48000.0, 2, NULL, once);
    memcpy(other, left, sizeof other);
    memcpy(left, right, sizeof left);
    memcpy(right, other, sizeof right);
    ck_assert_uint_eq(hear(48000.0, 2, NULL, again), hops);
    ck_assert_int_eq(memcmp(once, again, hops * sizeof *once), 0);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("listener");
    tcase_add_test(tcase, two_equal_channels_are_heard_as_one_bit_for_bit);
    tcase_add_test(tcase, how_the_audio_is_cut_changes_no_bit);
    tcase_add_test(tcase, no_pan_or_polarity_is_deaf);
    tcase_add_test(tcase, changing_left_and_right_over_changes_no_bit);
    return run_tcase(tcase, "listener");
}
