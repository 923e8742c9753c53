/* SPDX-License-Identifier: ISC */
/* The scene, listening to audio by voice_sense at every rate; test_scene.c gives it hops. */
#include "run_tcase.h"
#include "signals.h"
#include "voice/scene.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { LENGTH = 8 * 192000, MOST_HOPS = 2000 };
static float audio[LENGTH], part[LENGTH];
/* A moment as those who ask take it. */
typedef enum { QUIET, BREATH, NOISE, HISS, SUNG } Sound;
static Sound kinds[MOST_HOPS], others[MOST_HOPS];
static double hop_s;

static Sound sound_of(const SceneMoment *moment) {
    if (moment->sung)
        return SUNG;
    if (moment->likeliest == SCENE_ROOM)
        return QUIET;
    if (moment->hisses)
        return HISS;
    return moment->likeliest == SCENE_BREATH ? BREATH : NOISE;
}

/* What the scene says of each hop of audio[0..n): kind[h] is of the audio around (h + 1/2) hops. */
static size_t judge(double rate_hz, size_t n, Sound *kind) {
    static VoiceSense sense;
    static Scene scene;
    voice_sense_prepare(&sense, rate_hz);
    hop_s = (double)sense.hop / rate_hz;
    scene_prepare(&scene, rate_hz, 1.0 / hop_s);
    size_t hops = 0;
    for (size_t at = 0; at + sense.bank.group <= n; at += sense.bank.group) {
        VoiceFrame frame;
        if (!voice_sense_group(&sense, audio + at, &frame))
            continue;
        SceneMoment moment;
        scene_step(&scene, &frame, &moment);
        if (hops >= VOICE_SENSE_DELAY)
            kind[hops - VOICE_SENSE_DELAY] = sound_of(&moment);
        hops++;
    }
    return hops - VOICE_SENSE_DELAY;
}

/* Share of the hops between two times that are of that kind. */
static double share(const Sound *kind, Sound of, double from_s, double to_s) {
    size_t first = (size_t)ceil(from_s / hop_s), last = (size_t)floor(to_s / hop_s), hits = 0;
    for (size_t h = first; h < last; h++)
        hits += kind[h] == of;
    return (double)hits / (double)(last - first);
}

static void lay(double rate_hz, double from_s, double to_s) {
    size_t from = (size_t)(from_s * rate_hz), n = (size_t)(to_s * rate_hz) - from;
    signals_fade_ends(part, n, (size_t)(0.005 * rate_hz));
    signals_add(audio + from, part, n);
}

static void lay_vowel(double rate_hz, double from_s, double to_s, double f0_hz, double db) {
    size_t n = (size_t)((to_s - from_s) * rate_hz) + 1;
    signals_harmonics(part, n, rate_hz, f0_hz, 4000.0, -9.0, pow(10.0, db / 20.0));
    lay(rate_hz, from_s, to_s);
}

static void lay_noise(double rate_hz, double from_s, double to_s, double low_hz, double high_hz,
                      double db, Random *random) {
    size_t n = (size_t)((to_s - from_s) * rate_hz) + 1;
    signals_band_noise(part, n, rate_hz, low_hz, high_hz, pow(10.0, db / 20.0), random);
    lay(rate_hz, from_s, to_s);
}

/* Room throughout; vowels at 1..2 s (-20 dB) and 5..5.5 s (12 dB less), a breath at 3..3.4 s 25 dB
 * under the first, a hiss at 4..4.2 s 10 dB under it. */
static void fill_take(double rate_hz, double gain, Random *random) {
    size_t n = (size_t)(6.0 * rate_hz);
    signals_band_noise(audio, n, rate_hz, 50.0, 15000.0, pow(10.0, -70.0 / 20.0), random);
    lay_vowel(rate_hz, 1.0, 2.0, 180.0, -20.0);
    lay_noise(rate_hz, 3.0, 3.4, 500.0, 3000.0, -45.0, random);
    lay_noise(rate_hz, 4.0, 4.2, rate_hz > 18000.0 ? 6000.0 : 0.31 * rate_hz, 10000.0, -30.0,
              random);
    lay_vowel(rate_hz, 5.0, 5.5, 240.0, -32.0);
    signals_scale(audio, n, gain);
}

START_TEST(vowels_are_sung_and_breath_hiss_and_room_are_not) {
    /* Edges are left out by 30 ms: the window of voice_sense is 27 ms long. Below 18 kHz there is
     * no octave of hiss left to tell it by, but it is not periodic either. */
    Random random = random_seeded(81);
    printf("seed 81\n");
    const double rates[] = {8000.0, 16000.0, 22050.0, 44100.0, 48000.0, 96000.0, 192000.0};
    for (size_t r = 0; r < sizeof rates / sizeof *rates; r++) {
        fill_take(rates[r], 1.0, &random);
        judge(rates[r], (size_t)(6.0 * rates[r]), kinds);
        ck_assert_double_eq(share(kinds, SUNG, 1.03, 1.97), 1.0);
        ck_assert_double_eq(share(kinds, SUNG, 5.03, 5.47), 1.0);
        ck_assert_double_eq(share(kinds, SUNG, 2.03, 4.97), 0.0);
        ck_assert_double_eq(share(kinds, BREATH, 3.03, 3.37), 1.0);
        double hiss = share(kinds, HISS, 4.03, 4.17);
        ck_assert_double_eq(hiss + share(kinds, NOISE, 4.03, 4.17), 1.0);
        ck_assert(rates[r] < 18000.0 || hiss == 1.0);
        ck_assert_double_ge(share(kinds, QUIET, 2.2, 2.9), 0.95);
        ck_assert_double_ge(share(kinds, QUIET, 3.5, 3.9), 0.95);
    }
}
END_TEST

START_TEST(voiced_friction_is_not_sung) {
    /* /z/: periodic below, and more friction above 5.7 kHz than voice: 6 dB. */
    Random random = random_seeded(84);
    size_t n = (size_t)4 * 48000;
    signals_band_noise(audio, n, 48000.0, 50.0, 15000.0, 1e-4, &random);
    lay_vowel(48000.0, 0.5, 2.0, 180.0, -20.0);
    lay_vowel(48000.0, 3.0, 3.5, 180.0, -30.0);
    lay_noise(48000.0, 3.0, 3.5, 6000.0, 11000.0, -24.0, &random);
    judge(48000.0, n, kinds);
    ck_assert_double_eq(share(kinds, SUNG, 3.03, 3.47), 0.0);
    ck_assert_double_eq(share(kinds, HISS, 3.03, 3.47), 1.0);
}
END_TEST

START_TEST(a_gain_before_it_changes_nothing) {
    /* A power of two, so that all that follows is the same but for the exponent. */
    const double gains[] = {0x1p-5, 0x1p2};
    for (int g = 0; g < 2; g++) {
        Random random = random_seeded(82), same = random_seeded(82);
        fill_take(48000.0, 1.0, &random);
        size_t hops = judge(48000.0, (size_t)6 * 48000, kinds);
        fill_take(48000.0, gains[g], &same);
        judge(48000.0, (size_t)6 * 48000, others);
        ck_assert_int_eq(memcmp(kinds, others, hops * sizeof *kinds), 0);
    }
}
END_TEST

START_TEST(a_voice_far_under_the_singer_is_not_the_singer) {
    /* Spill 30 dB down is no voice of ours; a phrase 20 dB down is. */
    Random random = random_seeded(83);
    size_t n = (size_t)6 * 48000;
    signals_band_noise(audio, n, 48000.0, 50.0, 15000.0, 1e-4, &random);
    lay_vowel(48000.0, 0.5, 2.0, 180.0, -20.0);
    lay_vowel(48000.0, 3.0, 3.5, 180.0, -50.0);
    lay_vowel(48000.0, 4.0, 4.5, 180.0, -40.0);
    judge(48000.0, n, kinds);
    ck_assert_double_eq(share(kinds, SUNG, 2.9, 3.6), 0.0);
    ck_assert_double_eq(share(kinds, SUNG, 4.03, 4.47), 1.0);
}
END_TEST

START_TEST(digital_silence_and_what_follows_it_are_judged) {
    size_t n = (size_t)3 * 48000;
    signals_silence(audio, n);
    lay_vowel(48000.0, 1.0, 2.0, 180.0, -30.0);
    judge(48000.0, n, kinds);
    ck_assert_double_eq(share(kinds, QUIET, 0.0, 0.9), 1.0);
    ck_assert_double_eq(share(kinds, SUNG, 1.03, 1.97), 1.0);
    ck_assert_double_eq(share(kinds, QUIET, 2.1, 2.9), 1.0);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("scene_sounds");
    tcase_add_test(tcase, vowels_are_sung_and_breath_hiss_and_room_are_not);
    tcase_add_test(tcase, voiced_friction_is_not_sung);
    tcase_add_test(tcase, a_gain_before_it_changes_nothing);
    tcase_add_test(tcase, a_voice_far_under_the_singer_is_not_the_singer);
    tcase_add_test(tcase, digital_silence_and_what_follows_it_are_judged);
    tcase_set_timeout(tcase, 60); /* slow under valgrind */
    return run_tcase(tcase, "scene_sounds");
}
