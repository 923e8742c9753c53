/* SPDX-License-Identifier: ISC */
#include "detect/click_finder.h"
#include "run_tcase.h"
#include "signals.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { RATE = 48000, HOP = 24, SECONDS = 4, LENGTH = RATE * SECONDS, HOPS = LENGTH / HOP };
enum { ROW = BAND_LEVELS_ROW };
static BandLevels levels;
static ClickFinder finder;
static float audio[LENGTH];
static float cut[HOPS][ROW]; /* as final when due */
static const ClickFinderParams DEFAULTS = {
    .threshold_db = 8.0f, .depth_db = 24.0f, .max_length = 24, .bands = 7};

static void prepare(const ClickFinderParams *params) {
    BandLevelsParams focus = {1500.0f, 12000.0f};
    memset(&levels, 0, sizeof levels);
    memset(&finder, 0, sizeof finder);
    band_levels_prepare(&levels, RATE, 1);
    band_levels_set(&levels, &focus);
    click_finder_prepare(&finder, (double)HOP / RATE);
    click_finder_set(&finder, params);
}

static void run(const ClickFinderParams *params) {
    prepare(params);
    const float *const in[1] = {audio};
    size_t late = click_finder_latency(params->max_length);
    memset(cut, 0, sizeof cut);
    for (size_t t = 0; t < HOPS; t++) {
        float power[ROW];
        ck_assert(band_levels_process(&levels, in, t * HOP, HOP, power));
        click_finder_step(&finder, power);
        /* What the filters are told when this hop has come in. */
        if (t >= late)
            memcpy(cut[t - late + CLICK_FINDER_RUN_UP],
                   click_finder_cut(&finder, t - late + CLICK_FINDER_RUN_UP), sizeof cut[0]);
    }
}

static void room(double rms, uint64_t seed) {
    Random random = random_seeded(seed);
    signals_noise(audio, LENGTH, rms, &random);
}

/* The largest cut within from..to seconds, dB. */
static double largest(double from_s, double to_s) {
    float most = 0.0f;
    for (size_t t = (size_t)(from_s * RATE / HOP); t < (size_t)(to_s * RATE / HOP); t++)
        for (size_t b = 0; b < DEFAULTS.bands; b++)
            most = cut[t][b] > most ? cut[t][b] : most;
    return (double)most;
}

/* Damped resonances at 1, 1.5, 2 ... 3.5 s: what a mouth click is like (common practice). */
static void lay_clicks(double amplitude) {
    const double hz[] = {2000, 2800, 3600, 4700, 6300, 8000};
    for (size_t k = 0; k < 6; k++) {
        size_t at = (size_t)((1.0 + 0.5 * (double)k) * RATE);
        signals_burst_add(audio + at, LENGTH - at, RATE, hz[k], 0.8, amplitude);
    }
}

START_TEST(clicks_in_room_tone_are_found_where_they_are_and_nowhere_else) {
    for (uint64_t seed = 1; seed <= 5; seed++) {
        room(0.001, seed);
        lay_clicks(0.02);
        run(&DEFAULTS);
        ck_assert_uint_eq(finder.state.clicks, 6);
        for (size_t k = 0; k < 6; k++) {
            double at = 1.0 + 0.5 * (double)k;
            ck_assert_double_ge(largest(at - 0.001, at + 0.003), 10.0);
            ck_assert_double_eq(largest(at + 0.012, at + 0.498), 0.0);
        }
        ck_assert_double_eq(largest(0.0, 0.998), 0.0);
    }
}
END_TEST

/* What a gap is, is told by the voice before: noise of the bands and below, for the first 0.8 s. */
static void sing_first(double rms) {
    static float voice[LENGTH];
    Random random = random_seeded(15);
    size_t n = (size_t)(0.8 * RATE);
    signals_noise(voice, n, rms, &random);
    signals_fade_ends(voice, n, RATE / 20);
    signals_add(audio, voice, n);
}

START_TEST(nothing_is_cut_below_the_surroundings_or_by_more_than_depth) {
    ClickFinderParams params = DEFAULTS;
    params.depth_db = 15.0f;
    room(0.05, 6); /* no gap: the room is as loud as the voice that is assumed at first */
    lay_clicks(2.0);
    run(&params);
    ck_assert_double_eq(largest(0.9, 3.9), 15.0);
    room(0.001, 6);
    sing_first(0.1);
    lay_clicks(0.5);
    run(&params);
    ck_assert_double_eq(largest(0.9, 3.9), (double)CLICK_FINDER_GAP_SHARE * 15.0);
}
END_TEST

/* Over the room by 25 to 45 dB, in peaks over the room's RMS: of the six bands of each some stand
 * out by nearly all of that. Taken away is what stands out, and no more: 10 dB are for the
 * noise. */
START_TEST(a_click_in_a_gap_is_taken_to_its_surroundings_whatever_its_height) {
    for (double over_db = 25.0; over_db < 46.0; over_db += 5.0) {
        room(0.001, 6);
        sing_first(0.1);
        lay_clicks(0.001 * pow(10.0, over_db / 20.0));
        run(&DEFAULTS);
        for (size_t k = 0; k < 6; k++) {
            double at = 1.0 + 0.5 * (double)k;
            ck_assert_double_ge(largest(at - 0.001, at + 0.003), over_db - 10.0);
            ck_assert_double_le(largest(at - 0.001, at + 0.003), over_db + 10.0);
        }
    }
}
END_TEST

/* Noise above 1500 Hz under t^2 exp(-t / tau), over after 7 tau, `peak` high: a lip that smacks. */
static void lay_smack(double at_s, double ms, double peak, uint64_t seed) {
    static float smack[LENGTH];
    Random random = random_seeded(seed);
    size_t n = (size_t)(ms * 0.001 * RATE), at = (size_t)(at_s * RATE);
    SignalsBiquad high = signals_high_pass(RATE, 1500.0, 0.7071);
    for (size_t i = 0; i < n; i++) {
        double x = 7.0 * (double)i / (double)n;
        smack[i] = (float)(x * x * exp(-x) * signals_biquad_step(&high, random_normal(&random)));
    }
    signals_scale(smack, n, peak / signals_peak(smack, n));
    signals_add(audio + at, smack, n);
}

/* A smack stands over the room by more than the opening can tell, and for longer. It is 40 dB high
 * in its peak, so some 30 in a band; over its last third it is under 3 % of that. */
/* Silence has nothing to keep, and what is left of a click is all that is heard there. */
START_TEST(of_a_click_in_digital_silence_all_is_taken_that_may_be) {
    signals_silence(audio, LENGTH);
    sing_first(0.1);
    lay_clicks(0.001);
    run(&DEFAULTS);
    for (size_t k = 0; k < 6; k++) {
        double at = 1.0 + 0.5 * (double)k;
        ck_assert_double_eq(largest(at - 0.001, at + 0.003), (double)CLICK_FINDER_GAP_SHARE * 24.0);
    }
}
END_TEST

START_TEST(a_smack_in_a_gap_goes_whole_however_long_it_rings) {
    const double lengths_ms[] = {4.0, 8.0, 11.0};
    for (size_t k = 0; k < 3; k++)
        for (uint64_t seed = 70; seed < 73; seed++) {
            double ms = lengths_ms[k], end = 2.0 + 0.001 * ms;
            room(0.001, seed);
            sing_first(0.1);
            lay_smack(2.0, ms, 0.1, seed + 10);
            run(&DEFAULTS);
            ck_assert_double_ge(largest(2.0, 2.0 + 0.0005 * ms), 22.0);
            ck_assert_double_ge(largest(2.0 + 0.0004 * ms, 2.0 + 0.0006 * ms), 12.0);
            ck_assert_double_eq(largest(1.0, 1.998), 0.0);
            ck_assert_double_eq(largest(end + 0.004, 3.9), 0.0);
        }
}
END_TEST

/* Before anybody has sung, a room of -40 dBFS might be a voice, were it not steady. */
START_TEST(a_click_ahead_of_the_first_word_is_taken_down_as_any) {
    room(0.01, 90);
    lay_clicks(1.0); /* the first, at 1 s: 40 dB over the room in its peak */
    run(&DEFAULTS);
    ck_assert_double_ge(largest(0.999, 1.003), 28.0);
}
END_TEST

/* A burst of 12 to 20 ms, aspiration that adds 2 dB to the room, and 60 ms later the vowel: all
 * that can be known of /t/ and /k/ before they must be let out (common practice: 30 to 80 ms). */
START_TEST(a_plosive_before_a_late_vowel_stays) {
    for (uint64_t seed = 100; seed < 105; seed++) {
        Random random = random_seeded(seed);
        static float sound[LENGTH];
        size_t at = (size_t)2 * RATE, aspiration = (size_t)(0.08 * RATE);
        room(0.001, seed + 20);
        sing_first(0.1);
        lay_smack(2.0, random_range(&random, 12.0, 20.0), 0.05, seed + 40);
        signals_noise(sound, aspiration, 0.00077, &random); /* 10 log(1 + 0.77^2) = 2 dB */
        signals_add(audio + at, sound, aspiration);
        signals_noise(sound, RATE, 0.1, &random);
        signals_fade_ends(sound, RATE, RATE / 100);
        signals_add(audio + at + aspiration, sound, RATE);
        run(&DEFAULTS);
        ck_assert_msg(largest(1.9, 2.07) == 0.0, "seed %llu: cut by %.1f dB",
                      (unsigned long long)seed, largest(1.9, 2.07));
    }
}
END_TEST

/* And at the end of a word, after a closure (40 to 90 ms, common practice; up to 120 here). */
static void lay_word_end(double vowel_rms, double burst_ms, double burst_peak, Random *random,
                         uint64_t seed) {
    static float vowel[LENGTH];
    size_t n = RATE / 2, closure = (size_t)(random_range(random, 0.06, 0.12) * RATE);
    room(0.001, seed + 20);
    sing_first(0.1);
    signals_noise(vowel, n, vowel_rms, random);
    signals_fade_ends(vowel, n, RATE / 100);
    signals_add(audio + (size_t)2 * RATE - closure - n, vowel, n);
    lay_smack(2.0, burst_ms, burst_peak, seed + 40);
}

static void check_word_ends(uint64_t seeds, double vowel_rms, double least_ms, double most_ms,
                            double burst_peak) {
    for (uint64_t seed = 120; seed < 120 + seeds; seed++) {
        Random random = random_seeded(seed);
        lay_word_end(vowel_rms, random_range(&random, least_ms, most_ms), burst_peak, &random,
                     seed);
        run(&DEFAULTS);
        ck_assert_msg(largest(1.9, 2.07) == 0.0, "seed %llu: cut by %.1f dB",
                      (unsigned long long)seed, largest(1.9, 2.07));
    }
}

START_TEST(a_plosive_at_the_end_of_a_word_stays) {
    check_word_ends(5, 0.1, 12.0, 20.0, 0.05);
}
END_TEST

/* A word that dies away leaves its vowel 12 dB over the room, where its burst is still 40 dB high:
 * far enough under the burst to pass for the room, were it not heard that it is none. */
START_TEST(a_plosive_after_a_vowel_that_dies_away_stays) {
    check_word_ends(10, 0.004, 8.0, 12.0, 0.1);
}
END_TEST

/* What was there before is not known: the burst of a plosive would look like a click. */
START_TEST(what_playback_begins_with_is_no_click) {
    const double at_s[] = {0.01, 0.05, 0.15};
    for (size_t k = 0; k < 3; k++) {
        room(0.001, 130 + k);
        size_t at = (size_t)(at_s[k] * RATE);
        signals_burst_add(audio + at, LENGTH - at, RATE, 4000.0, 0.8, 0.05);
        run(&DEFAULTS);
        ck_assert_uint_eq(finder.state.clicks, at_s[k] > 0.1);
    }
}
END_TEST

START_TEST(what_rises_and_stays_is_left_alone) {
    for (uint64_t seed = 7; seed < 12; seed++) {
        static float louder[LENGTH];
        room(0.001, seed);
        memcpy(louder, audio, sizeof louder);
        for (size_t i = LENGTH / 4; i < LENGTH / 2; i++)
            audio[i] = 100.0f * louder[i];
        run(&DEFAULTS);
        ck_assert_double_eq(largest(0.0, SECONDS - 0.1), 0.0);
    }
}
END_TEST

/* A burst of a tone in noise, `ms` long with 0.5 ms flanks. */
static void lay_burst(double ms) {
    size_t n = (size_t)(ms * 0.001 * RATE);
    static float burst[LENGTH];
    signals_sine(burst, n, RATE, 4000.0, 0.03, 0.0);
    signals_fade_ends(burst, n, RATE / 2000);
    signals_add(audio + LENGTH / 2, burst, n);
}

START_TEST(what_lasts_longer_than_max_length_is_left_alone) {
    const double lengths_ms[] = {2.0, 4.0, 16.0, 40.0};
    for (size_t k = 0; k < 4; k++) {
        room(0.001, 12);
        lay_burst(lengths_ms[k]);
        run(&DEFAULTS);
        if (lengths_ms[k] < 12.0)
            ck_assert_double_ge(largest(1.99, 2.05), 10.0);
        else
            ck_assert_double_eq(largest(1.99, 2.05), 0.0);
    }
    ClickFinderParams params = DEFAULTS;
    params.max_length = 4; /* 2 ms */
    room(0.001, 12);
    lay_burst(4.0);
    run(&params);
    ck_assert_double_eq(largest(1.99, 2.05), 0.0);
}
END_TEST

/* Damped resonances in a row, as a low voice or a creak makes them, the periods 2 % apart. */
static void lay_pulses(double period_ms, Random *random) {
    for (double at_s = 0.5; at_s < 3.5;) {
        size_t at = (size_t)(at_s * RATE);
        double height = random_range(random, 0.9, 1.1);
        signals_burst_add(audio + at, LENGTH - at, RATE, 500.0, 3.0, 0.2 * height);
        signals_burst_add(audio + at, LENGTH - at, RATE, 1800.0, 2.0, 0.06 * height);
        signals_burst_add(audio + at, LENGTH - at, RATE, 3200.0, 1.0, 0.03 * height);
        at_s += 0.001 * period_ms * random_range(random, 0.98, 1.02);
    }
}

START_TEST(pulses_of_a_voice_are_left_alone_down_to_a_creak) {
    const double periods_ms[] = {4.0, 8.0, 12.0, 18.0, 25.0};
    for (size_t k = 0; k < 5; k++) {
        Random random = random_seeded(13 + k);
        room(0.0005, 20 + k);
        lay_pulses(periods_ms[k], &random);
        run(&DEFAULTS);
        /* All but the first and the last, which have nothing like them on one side. */
        ck_assert_double_eq(largest(0.5 + 0.002 * periods_ms[k], 3.5 - 0.002 * periods_ms[k]), 0.0);
    }
}
END_TEST

START_TEST(a_click_among_pulses_is_found) {
    Random random = random_seeded(30);
    room(0.0005, 31);
    lay_pulses(8.0, &random);
    const double at_s[] = {1.003, 1.7, 2.4, 3.1};
    for (size_t k = 0; k < 4; k++) {
        size_t at = (size_t)(at_s[k] * RATE);
        signals_burst_add(audio + at, LENGTH - at, RATE, 5200.0, 0.7, 0.1);
    }
    run(&DEFAULTS);
    ck_assert_uint_ge(finder.state.clicks, 4);
    for (size_t k = 0; k < 4; k++)
        ck_assert_double_ge(largest(at_s[k] - 0.001, at_s[k] + 0.003), 8.0);
}
END_TEST

START_TEST(cuts_are_final_when_they_are_due) {
    const size_t lengths[] = {12, 24, 60};
    for (size_t k = 0; k < 3; k++) {
        ClickFinderParams params = DEFAULTS;
        params.max_length = lengths[k];
        room(0.001, 40);
        lay_clicks(0.03);
        run(&params);
        /* The ring still holds the last 512 hops: whatever was told of them is what it says. */
        size_t due = HOPS - 1 - click_finder_latency(lengths[k]);
        ck_assert_uint_ge(finder.state.clicks, 4);
        for (size_t t = HOPS - CLICK_HISTORY; t <= due; t++)
            ck_assert(signals_same_bits(cut[t], click_finder_cut(&finder, t), ROW));
    }
}
END_TEST

START_TEST(silence_and_steady_noise_hold_no_clicks) {
    signals_silence(audio, LENGTH);
    run(&DEFAULTS);
    ck_assert_uint_eq(finder.state.clicks, 0);
    size_t clicks = 0;
    for (uint64_t seed = 50; seed < 60; seed++) {
        room(seed % 2 ? 0.01 : 0.001, seed);
        run(&DEFAULTS);
        clicks += finder.state.clicks;
    }
    /* Of its own peaks one in a while may pass for a click. */
    printf("clicks in 40 s of white noise: %zu\n", clicks);
    ck_assert_uint_le(clicks, 4);
}
END_TEST

START_TEST(reset_forgets) {
    static float first[HOPS][ROW];
    room(0.001, 61);
    lay_clicks(0.03);
    run(&DEFAULTS);
    memcpy(first, cut, sizeof first);
    size_t clicks = finder.state.clicks;
    const float *const in[1] = {audio};
    click_finder_reset(&finder);
    band_levels_reset(&levels);
    for (size_t t = 0; t < HOPS; t++) {
        float power[ROW];
        (void)band_levels_process(&levels, in, t * HOP, HOP, power);
        click_finder_step(&finder, power);
    }
    ck_assert_uint_eq(finder.state.clicks, clicks);
}
END_TEST

START_TEST(max_length_may_change_while_it_runs) {
    room(0.001, 62);
    lay_clicks(0.03);
    prepare(&DEFAULTS);
    const float *const in[1] = {audio};
    ClickFinderParams params = DEFAULTS;
    for (size_t t = 0; t < HOPS; t++) {
        float power[ROW];
        if (t % 400 == 0) {
            params.max_length = t % 800 ? 24 : 60;
            click_finder_set(&finder, &params);
        }
        (void)band_levels_process(&levels, in, t * HOP, HOP, power);
        click_finder_step(&finder, power);
    }
    /* Events on the way are given up at a change, none is found twice or out of nothing. */
    ck_assert_uint_le(finder.state.clicks, 6);
    ck_assert_uint_ge(finder.state.clicks, 1);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("click finder");
    tcase_set_timeout(tcase, 60.0);
    tcase_add_test(tcase, clicks_in_room_tone_are_found_where_they_are_and_nowhere_else);
    tcase_add_test(tcase, nothing_is_cut_below_the_surroundings_or_by_more_than_depth);
    tcase_add_test(tcase, a_click_in_a_gap_is_taken_to_its_surroundings_whatever_its_height);
    tcase_add_test(tcase, of_a_click_in_digital_silence_all_is_taken_that_may_be);
    tcase_add_test(tcase, a_smack_in_a_gap_goes_whole_however_long_it_rings);
    tcase_add_test(tcase, a_click_ahead_of_the_first_word_is_taken_down_as_any);
    tcase_add_test(tcase, a_plosive_before_a_late_vowel_stays);
    tcase_add_test(tcase, a_plosive_at_the_end_of_a_word_stays);
    tcase_add_test(tcase, a_plosive_after_a_vowel_that_dies_away_stays);
    tcase_add_test(tcase, what_playback_begins_with_is_no_click);
    tcase_add_test(tcase, what_rises_and_stays_is_left_alone);
    tcase_add_test(tcase, what_lasts_longer_than_max_length_is_left_alone);
    tcase_add_test(tcase, pulses_of_a_voice_are_left_alone_down_to_a_creak);
    tcase_add_test(tcase, a_click_among_pulses_is_found);
    tcase_add_test(tcase, cuts_are_final_when_they_are_due);
    tcase_add_test(tcase, silence_and_steady_noise_hold_no_clicks);
    tcase_add_test(tcase, reset_forgets);
    tcase_add_test(tcase, max_length_may_change_while_it_runs);
    return run_tcase(tcase, "click finder");
}
