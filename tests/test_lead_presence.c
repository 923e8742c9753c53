/* SPDX-License-Identifier: ISC */
#include "detect/lead_presence.h"
#include "run_tcase.h"
#include "signals.h"

#include <check.h>
#include <math.h>
#include <string.h>

enum { LENGTH = 96000, STEP = 64 };
static float key[2][LENGTH], share[BAND_LEVELS_ROW], other[BAND_LEVELS_ROW];

static LeadPresence make(double rate_hz, unsigned channels, double sharpness) {
    LeadPresence presence;
    memset(&presence, 0, sizeof presence);
    lead_presence_prepare(&presence, rate_hz, channels);
    band_levels_set(&presence.levels, &(BandLevelsParams){300.0f, 5000.0f});
    lead_presence_set(&presence, sharpness, 5000.0);
    lead_presence_reset(&presence);
    return presence;
}

/* In stretches of at most `most` frames; the shares of the last hop. */
static void hear(LeadPresence *presence, size_t n, size_t most, float *to) {
    const float *const from[2] = {key[0], key[1]};
    for (size_t at = 0; at < n;) {
        size_t k = band_levels_room(&presence->levels);
        k = k < most ? k : most;
        k = k < n - at ? k : n - at;
        lead_presence_process(presence, from, at, k, to);
        at += k;
    }
}

/* The band that holds hz. */
static size_t band_of(const LeadPresence *presence, double hz) {
    size_t b = 0;
    while (b + 1 < presence->levels.bands && (double)presence->levels.edge_hz[b + 1] < hz)
        b++;
    return b;
}

START_TEST(silence_is_in_no_band_and_white_noise_at_the_top) {
    LeadPresence presence = make(48000.0, 1, 0.5);
    signals_silence(key[0], LENGTH);
    hear(&presence, LENGTH, STEP, share);
    for (size_t b = 0; b < BAND_LEVELS_ROW; b++)
        ck_assert(share[b] == 0.0f);
    /* In bands of equal ratio white noise grows by 3 dB an octave, and by 6 of the lift above 500
     * Hz: to the top band by some 25 dB, so that this counts in full and the lowest next to
     * nothing. */
    Random random = random_seeded(71);
    signals_noise(key[0], LENGTH, 0.1, &random);
    hear(&presence, LENGTH, STEP, share);
    ck_assert(share[presence.levels.bands - 1] == 1.0f);
    ck_assert_float_lt(share[0], 0.3f);
}
END_TEST

START_TEST(a_tone_is_in_its_band_and_follows_the_law_down_to_another) {
    /* 400 Hz against 3 kHz, whose lift is 20 lg |1 + 6 j| = 15.7 dB against 2.1. At a level x dB
     * under the louder one after the lift, presence is (w - x) 3 / (2 w), at most 1. Bands and lift
     * are known to a dB and a half: 0.1 at w = 24. */
    for (double under = 0.0; under < 30.0; under += 3.0) {
        LeadPresence presence = make(48000.0, 1, 0.5);
        signals_sine(key[0], LENGTH, 48000.0, 400.0, 0.1, 0.0);
        signals_sine_add(key[0], LENGTH, 48000.0, 3000.0, 0.1 * pow(10.0, -(under + 13.6) / 20.0),
                         0.0);
        hear(&presence, LENGTH, STEP, share);
        double law = fmax(0.0, fmin(1.0, (24.0 - under) * 1.5 / 24.0));
        ck_assert(share[band_of(&presence, 400.0)] == 1.0f);
        ck_assert_double_eq_tol((double)share[band_of(&presence, 3000.0)], law, 0.13);
    }
}
END_TEST

START_TEST(what_is_above_the_range_is_not_heard_as_within) {
    LeadPresence presence = make(48000.0, 1, 0.5);
    Random random = random_seeded(72);
    signals_band_noise(key[0], LENGTH / 2, 48000.0, 400.0, 900.0, 0.1, &random);
    signals_band_noise(key[0] + LENGTH / 2, LENGTH / 2, 48000.0, 7000.0, 12000.0, 0.03, &random);
    hear(&presence, LENGTH, STEP, share);
    ck_assert_float_le(share[band_of(&presence, 1200.0)], 0.1f);
    ck_assert_float_le(share[0], 0.1f);
}
END_TEST

START_TEST(loudness_does_not_matter_and_a_whisper_after_a_shout_comes_back) {
    Random random = random_seeded(73);
    signals_band_noise(key[0], LENGTH, 48000.0, 800.0, 1200.0, 1.0, &random);
    LeadPresence presence = make(48000.0, 1, 0.5);
    hear(&presence, LENGTH, STEP, share);
    size_t b = band_of(&presence, 1000.0);
    ck_assert(share[b] == 1.0f);
    /* 40 dB down: gone at once, and back as the reference follows, by 8 dB in 40: 6 ln 5 = 10 s */
    signals_scale(key[0], LENGTH, 0.01);
    hear(&presence, LENGTH, STEP, share);
    ck_assert(share[b] == 0.0f);
    for (int k = 0; k < 10; k++)
        hear(&presence, LENGTH, STEP, share);
    ck_assert_float_ge(share[b], 0.9f);
}
END_TEST

START_TEST(cutting_changes_nothing_at_any_rate) {
    Random random = random_seeded(74);
    for (unsigned c = 0; c < 2; c++)
        signals_noise(key[c], LENGTH, 0.1, &random);
    const double rates_hz[] = {8000.0, 44100.0, 192000.0};
    for (size_t k = 0; k < 3; k++)
        for (unsigned channels = 1; channels <= 2; channels++) {
            LeadPresence presence = make(rates_hz[k], channels, 1.0);
            hear(&presence, LENGTH, LEAD_MOST, share);
            presence = make(rates_hz[k], channels, 1.0);
            hear(&presence, LENGTH, 7, other);
            ck_assert(signals_same_bits(share, other, BAND_LEVELS_ROW));
        }
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("lead_presence");
    tcase_add_test(tcase, silence_is_in_no_band_and_white_noise_at_the_top);
    tcase_add_test(tcase, a_tone_is_in_its_band_and_follows_the_law_down_to_another);
    tcase_add_test(tcase, what_is_above_the_range_is_not_heard_as_within);
    tcase_add_test(tcase, loudness_does_not_matter_and_a_whisper_after_a_shout_comes_back);
    tcase_add_test(tcase, cutting_changes_nothing_at_any_rate);
    return run_tcase(tcase, "lead_presence");
}
