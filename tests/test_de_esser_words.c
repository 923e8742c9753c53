/* SPDX-License-Identifier: ISC */
/* The whole chain of de-esser, driven through its plugin_spec as the shell drives it. */
/* NOLINTNEXTLINE(bugprone-suspicious-include): to reach its tables and its struct. */
#include "../plugins/de-esser/de-esser_plugin.c"

#include "run_tcase.h"
#include "signals.h"

#include <check.h>
#include <stdlib.h>
#include <string.h>

enum { RATE = 48000, LENGTH = 4 * RATE };
static unsigned char memory[1 << 20];
static DeEsser esser;
static float in[LENGTH + RATE], out[LENGTH + RATE];
static float control[N_CONTROLS], meters[N_METERS], reduction_db;

/* out[i] is what was in[i]: the latency is taken out. */
static void run(double rate_hz, size_t n) {
    Arena arena = arena_over(memory, sizeof memory);
    memset(&esser, 0, sizeof esser);
    ck_assert(plugin_spec.prepare(&esser, rate_hz, 1, &arena));
    plugin_spec.reset(&esser);
    for (int i = 0; i < N_CONTROLS; i++)
        control[i] = CONTROLS[i].initial;
    plugin_spec.set(&esser, control);
    size_t late = plugin_spec.latency(&esser, control);
    static float dry[LENGTH + RATE], wet[LENGTH + RATE];
    memset(dry, 0, sizeof dry);
    memcpy(dry + late, in, n * sizeof *in);
    for (size_t at = 0; at < n + late; at += 64) {
        const float *const i[1] = {in + at};
        const float *const d[1] = {dry + at};
        float *const o[1] = {wet + at};
        const Io io = {.n = 64,
                       .channels = 1,
                       .in = i,
                       .dry = d,
                       .out = o,
                       .meter = meters,
                       .reduction_db = &reduction_db};
        plugin_spec.process(&esser, &io);
    }
    memcpy(out, wet + late, n * sizeof *out);
}

/* How much of the level goes between two times, dB. */
static double lost_db(double from_s, double to_s) {
    size_t from = (size_t)(from_s * RATE), n = (size_t)((to_s - from_s) * RATE);
    return signals_rms_db(in + from, n) - signals_rms_db(out + from, n);
}

/* Noise through one resonance, `db` over full scale in RMS, with ends of 2 ms. */
static void add_noise(double from_s, double to_s, double hz, double q, double db, Random *random) {
    static float noise[LENGTH];
    size_t from = (size_t)(from_s * RATE), n = (size_t)((to_s - from_s) * RATE);
    SignalsBiquad tone = signals_band_pass(RATE, hz, q);
    for (size_t i = 0; i < n; i++)
        noise[i] = (float)signals_biquad_step(&tone, random_normal(random));
    signals_scale(noise, n, pow(10.0, db / 20.0) / signals_rms(noise, n));
    signals_fade_ends(noise, n, RATE / 500);
    signals_add(in + from, noise, n);
}

/* Of -20 dBFS, 220 Hz, falling by 9 dB an octave. */
static void add_vowel(double from_s, double to_s) {
    static float vowel[LENGTH];
    size_t from = (size_t)(from_s * RATE), n = (size_t)((to_s - from_s) * RATE);
    signals_harmonics(vowel, n, RATE, 220.0, 8000.0, -9.0, 0.1);
    signals_fade_ends(vowel, n, RATE / 100);
    signals_add(in + from, vowel, n);
}

/* As in "come": the burst and the breath of a /k/ are one compact noise between 1.4 and 2.8 kHz,
 * here 80 ms of it with the vowel beginning in the middle, down from the vowel's own level. */
START_TEST(a_k_before_a_vowel_is_no_sibilant) {
    for (double hz = 1400.0; hz < 2800.0; hz *= 1.25)
        for (double q = 2.0; q < 5.0; q *= 1.5)
            for (double db = -20.0; db > -36.0; db -= 5.0) {
                Random random = random_seeded(7);
                signals_silence(in, LENGTH);
                add_vowel(0.2, 1.0);
                add_noise(1.1, 1.14, hz, q, db, &random);
                add_noise(1.12, 1.18, hz, q, db - 6.0, &random);
                add_vowel(1.16, 1.6);
                run(RATE, LENGTH);
                ck_assert_double_le(lost_db(1.1, 1.16), 0.3);
                ck_assert_double_le(lost_db(1.16, 1.2), 0.1);
            }
}
END_TEST

/* One resonance as of /s/ and of /sh/ (Jongman, Wayland and Wong 2000: 6.8 and 3.8 kHz), of the
 * vowel's level, which is 10 dB and more too hot: at 80 % of 12 dB and more the cut is all 10 dB
 * that the range allows, in the middle of the cut. */
START_TEST(hot_sibilants_are_taken_down) {
    const double hz[] = {6800.0, 3800.0}, least_db[] = {8.0, 4.0};
    for (int k = 0; k < 2; k++) {
        Random random = random_seeded(8);
        signals_silence(in, LENGTH);
        add_vowel(0.2, 1.0);
        add_noise(1.1, 1.25, hz[k], 3.0, -20.0, &random);
        add_vowel(1.26, 1.6);
        run(RATE, LENGTH);
        ck_assert_double_ge(lost_db(1.11, 1.24), least_db[k]);
        ck_assert_double_le(lost_db(1.3, 1.5), 0.1);
        ck_assert_double_le(lost_db(0.3, 0.9), 0.01);
    }
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("de_esser_words");
    tcase_add_test(tcase, a_k_before_a_vowel_is_no_sibilant);
    tcase_add_test(tcase, hot_sibilants_are_taken_down);
    tcase_set_timeout(tcase, 60.0);
    return run_tcase(tcase, "de_esser_words");
}
