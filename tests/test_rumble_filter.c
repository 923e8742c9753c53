/* SPDX-License-Identifier: ISC */
/* The whole chain of rumble-filter, driven through its plugin_spec as the shell drives it. */
/* NOLINTNEXTLINE(bugprone-suspicious-include): to reach its tables and its struct. */
#include "../plugins/rumble-filter/rumble-filter_plugin.c"
#include "basic/maths.h"

#include "run_tcase.h"
#include "signals.h"

#include <check.h>
#include <stdlib.h>
#include <string.h>

enum { LENGTH = 600000 };
static unsigned char memory[1 << 20];
static RumbleFilter rumble;
static float in[2][LENGTH], out[2][LENGTH], other[LENGTH];
static float control[N_CONTROLS], meters[N_METERS], reduction_db;

static void prepare_filter(double rate, unsigned channels) {
    Arena arena = arena_over(memory, sizeof memory);
    memset(&rumble, 0, sizeof rumble);
    ck_assert(plugin_spec.prepare(&rumble, rate, channels, &arena));
    plugin_spec.reset(&rumble);
    for (int i = 0; i < N_CONTROLS; i++)
        control[i] = CONTROLS[i].initial;
}

static void run(unsigned channels, size_t from, size_t n, size_t chunk) {
    plugin_spec.set(&rumble, control);
    for (size_t at = from; at < from + n; at += chunk) {
        const float *const i[2] = {in[0] + at, in[1] + at};
        float *const o[2] = {out[0] + at, out[1] + at};
        size_t left = from + n - at;
        const Io io = {.n = left < chunk ? left : chunk,
                       .channels = channels,
                       .in = i,
                       .dry = i,
                       .out = o,
                       .meter = meters,
                       .reduction_db = &reduction_db};
        plugin_spec.process(&rumble, &io);
    }
}

START_TEST(the_corner_keeps_under_the_voice) {
    const double rates[] = {8000.0, 44100.0, 48000.0, 192000.0};
    for (int r = 0; r < 4; r++)
        for (int hz_step = 0; hz_step < 6; hz_step++) {
            double hz = 90.0 * pow(1.5, hz_step);
            prepare_filter(rates[r], 1);
            size_t n = (size_t)(2.5 * rates[r]);
            signals_harmonics(in[0], n, rates[r], hz, fmin(8000.0, 0.45 * rates[r]), -9.0, 0.1);
            run(1, 0, n, 256);
            double want = fmin(fmax(0.6 * hz, 40.0), 160.0);
            /* Within the dead band of 4 % up, 2 % down, and the pitch's 15 cents. */
            ck_assert_double_eq_tol((double)meters[CUTOFF] / want, 1.0, 0.07);
            ck_assert_double_eq_tol((double)meters[PITCH] / hz, 1.0, 0.009);
            /* The fundamental loses 10 log10(1 + 0.6^8) = 0.07 dB; 0.5 is allowed. */
            size_t settled = n / 2;
            double before = signals_tone_amplitude(in[0] + settled, n - settled, rates[r], hz);
            double after = signals_tone_amplitude(out[0] + settled, n - settled, rates[r], hz);
            ck_assert_double_gt(20.0 * log10(after / before), -0.12);
        }
}
END_TEST

START_TEST(rumble_goes_while_a_note_is_sung) {
    prepare_filter(48000.0, 1);
    size_t n = 144000, settled = 96000;
    signals_harmonics(in[0], n, 48000.0, 200.0, 8000.0, -9.0, 0.1);
    signals_sine_add(in[0], n, 48000.0, 30.0, 0.1, 0.0);
    run(1, 0, n, 256);
    double before = signals_tone_amplitude(in[0] + settled, n - settled, 48000.0, 30.0);
    double after = signals_tone_amplitude(out[0] + settled, n - settled, 48000.0, 30.0);
    /* The corner is at 120 Hz: 10 log10(1 + 4^8) = 48.2 dB, less the dead band; 24 are asked. */
    ck_assert_double_lt(20.0 * log10(after / before), -46.0);
    ck_assert_double_eq_tol((double)meters[PITCH], 200.0, 1.0);
    /* Voice 0.01, rumble 0.005: 1.8 dB of level went. */
    ck_assert_float_eq_tol(reduction_db, 1.76f, 0.3f);
}
END_TEST

/* A note with vibrato of `cents` either side, 6 Hz. */
static void vibrato(size_t n, double hz, double cents, double rate) {
    double phase = 0.0;
    for (size_t i = 0; i < n; i++) {
        double at = hz * exp2(cents / 1200.0 * sin(2.0 * PI * 6.0 * (double)i / rate));
        phase += 2.0 * PI * at / rate;
        double x = 0.0;
        for (int k = 1; k <= 8; k++)
            x += 0.1 / k * sin(k * phase + k * k);
        in[0][i] = (float)x;
    }
}

START_TEST(following_does_not_modulate_a_note) {
    /* What following adds is what differs from the same filter standing still at the same corner:
     * under -80 dB. With vibrato of 70 cents and without, when the memory of the pitch has been
     * full for so long that no swing is the lowest yet. */
    for (int round = 0; round < 4; round++) {
        double hz = round < 2 ? 150.0 : 233.0, cents = round % 2 ? 70.0 : 0.0;
        size_t n = 580000, settled = 480000;
        vibrato(n, hz, cents, 48000.0);
        prepare_filter(48000.0, 1);
        run(1, 0, settled, 256);
        float corner = meters[CUTOFF];
        run(1, settled, n - settled, 256);
        memcpy(other, out[0], sizeof other);
        ck_assert_float_eq(meters[CUTOFF], corner);

        EdgeFilter still;
        edge_filter_prepare(&still, 48000.0, 1);
        edge_filter_set(&still, &(EdgeFilterParams){edge_filter_low_hz(&rumble.edges), 2, 20000.0});
        const float *const i[1] = {in[0]};
        float *const o[1] = {out[0]};
        edge_filter_process(&still, i, o, n);
        double level = signals_rms_db(other + settled, n - settled);
        double added = signals_difference_db(other + settled, out[0] + settled, n - settled);
        ck_assert_double_lt(added - level, -80.0);
    }
}
END_TEST

START_TEST(a_move_is_not_heard) {
    /* While the corner rises from 40 to 120 Hz under a steady 200 Hz, which takes 0.8 s, nothing is
     * added more than 40 Hz from the tone. The Hann window over 0.8 s is 95 dB down at 50 bins. */
    prepare_filter(48000.0, 1);
    size_t n = 48000;
    signals_sine(in[0], n, 48000.0, 200.0, 0.1, 0.0);
    run(1, 0, n, 256);
    ck_assert_float_gt(meters[CUTOFF], 100.0f);
    const double beside[] = {120.0, 160.0, 240.0, 280.0, 400.0, 1000.0, 2000.0, 4000.0};
    for (int i = 0; i < 8; i++) {
        double got = signals_tone_amplitude(out[0] + 4800, 38400, 48000.0, beside[i]);
        ck_assert_double_lt(20.0 * log10(got / 0.1), -80.0);
    }
}
END_TEST

START_TEST(a_lower_note_is_let_through_when_it_is_confirmed) {
    /* From 300 Hz, with the corner at 160, to a fifth lower and to 100 Hz. The pitch is known after
     * its window and 5 readings, 40 ms; it is believed after PITCH_FLOOR_SHALLOW_S, or after
     * PITCH_FLOOR_DEEP_S where it is under 0.6 of what was sung; the corner takes two poles of
     * 20 ms: 110 ms to within 3 %. */
    const double note[] = {200.0, 100.0}, wait_s[] = {PITCH_FLOOR_SHALLOW_S, PITCH_FLOOR_DEEP_S};
    for (int k = 0; k < 2; k++) {
        prepare_filter(48000.0, 1);
        size_t turn = 96000, n = 140000, after = (size_t)((1.5 * wait_s[k] + 0.15) * 48000.0);
        signals_harmonics(in[0], turn, 48000.0, 300.0, 6000.0, -9.0, 0.1);
        signals_harmonics(in[0] + turn, n - turn, 48000.0, note[k], 6000.0, -9.0, 0.1);
        run(1, 0, turn, 256);
        ck_assert_float_eq_tol(meters[CUTOFF], 160.0f, 0.1f);
        run(1, turn, (size_t)(0.1 * 48000.0), 256);
        ck_assert_float_eq(meters[CUTOFF], 160.0f);
        run(1, turn + (size_t)(0.1 * 48000.0), after - (size_t)(0.1 * 48000.0), 256);
        ck_assert_float_lt(meters[CUTOFF], 0.65f * (float)note[k]);
    }
}
END_TEST

/* Pulses through one resonance at 500 Hz: `hz` a second, each period off by up to `loose` of it. */
static void pulses(float *audio, size_t n, double hz, double loose, Random *random) {
    signals_silence(audio, n);
    for (double at = 0.0; at < (double)n;) {
        signals_burst_add(audio + (size_t)at, n - (size_t)at, 48000.0, 500.0, 4.0, 0.2);
        at += 48000.0 / hz * (1.0 + random_range(random, -loose, loose));
    }
}

START_TEST(a_creaky_stretch_does_not_let_the_corner_fall) {
    /* 222 Hz, and 0.3 s of creak: at half that, as a pitch tracker may also read a clean voice, at
     * a third, and about 75 Hz, loose. */
    const double creak_hz[] = {111.0, 74.0, 75.0}, loose[] = {0.0, 0.0, 0.03};
    for (int k = 0; k < 3; k++) {
        Random random = random_seeded(123);
        size_t creak = 144000, end = creak + 14400, n = 400000;
        pulses(in[0], creak, 222.0, 0.0, &random);
        pulses(in[0] + creak, end - creak, creak_hz[k], loose[k], &random);
        pulses(in[0] + end, n - end, 222.0, 0.0, &random);
        prepare_filter(48000.0, 1);
        run(1, 0, creak, 256);
        ck_assert_float_eq_tol(meters[CUTOFF], 133.0f, 7.0f);
        float lowest = meters[CUTOFF], corner = lowest;
        for (size_t at = creak; at < n; at += 1000) {
            run(1, at, 1000, 256);
            lowest = fminf(lowest, meters[CUTOFF]);
        }
        ck_assert_float_gt(lowest, 0.97f * corner);
    }
}
END_TEST

START_TEST(it_stands_still_through_consonants_and_rests_with_hum) {
    prepare_filter(48000.0, 2);
    Random random = random_seeded(121);
    size_t voice = 96000, n = 480000;
    signals_harmonics(in[0], voice, 48000.0, 220.0, 8000.0, -9.0, 0.1);
    signals_band_noise(in[0] + voice, 9600, 48000.0, 4000.0, 12000.0, 0.05, &random);
    signals_sine(in[0] + voice + 9600, n - voice - 9600, 48000.0, 100.0, 0.001, 0.0);
    memcpy(in[1], in[0], sizeof in[1]);
    run(2, 0, voice, 256);
    float corner = meters[CUTOFF];
    ck_assert_float_eq_tol(corner, 132.0f, 7.0f);
    run(2, voice, 9600, 256);
    ck_assert_float_eq(meters[PITCH], 0.0f);
    run(2, voice + 9600, n - voice - 9600, 256);
    ck_assert_float_eq(meters[CUTOFF], corner);
    ck_assert_float_eq(meters[PITCH], 0.0f);
    ck_assert(signals_same_bits(out[0], out[1], n));
}
END_TEST

START_TEST(without_following_the_corner_is_the_floor) {
    prepare_filter(48000.0, 1);
    control[FOLLOW] = 0.0f;
    control[FLOOR] = 80.0f;
    signals_harmonics(in[0], 96000, 48000.0, 300.0, 8000.0, -9.0, 0.1);
    run(1, 0, 96000, 256);
    ck_assert_float_eq(meters[CUTOFF], 80.0f);
    /* And where floor and ceiling contradict each other, the floor counts. */
    control[FOLLOW] = 1.0f;
    control[FLOOR] = 200.0f;
    control[CEILING] = 40.0f;
    run(1, 0, 96000, 256);
    ck_assert_float_eq(meters[CUTOFF], 200.0f);
}
END_TEST

START_TEST(a_thump_is_taken_down_and_the_voice_left_alone) {
    /* A man's 110 Hz; a 40 Hz burst of 80 ms, 6 dB over all of him, at 3 s. */
    const size_t n = 240000, at = 144000, burst = 3840;
    signals_harmonics(in[0], n, 48000.0, 110.0, 8000.0, -9.0, 0.1);
    signals_sine(other, burst, 48000.0, 40.0, 0.28, 0.0);
    signals_fade_ends(other, burst, 480);
    signals_add(in[0] + at, other, burst);
    memcpy(in[1], in[0], n * sizeof *in[0]);
    double level_db[2];
    for (int k = 0; k < 2; k++) {
        prepare_filter(48000.0, 2);
        control[THUMPS] = k ? 18.0f : 0.0f;
        run(2, 0, n, 64);
        level_db[k] = signals_band_db(out[0] + at, burst, 48000.0, 20.0, 60.0);
        ck_assert(signals_same_bits(out[0], out[1], n));
        if (k == 0)
            memcpy(other, out[0], n * sizeof *other);
    }
    /* The first 10 of 80 ms get through, -9 dB of the energy, and 18 dB less of the rest. */
    ck_assert_double_le(level_db[1], level_db[0] - 5.0);
    ck_assert(signals_same_bits(out[0], other, at));
    /* Back to 1 within 0.32 s of its end (deep_cut.h), which is told 0.05 s late at most. */
    ck_assert(signals_same_bits(out[0] + at + 21600, other + at + 21600, n - at - 21600));
}
END_TEST

START_TEST(cutting_the_block_changes_no_bit) {
    Random random = random_seeded(122);
    size_t n = 100000;
    signals_harmonics(in[0], n / 2, 44100.0, 311.0, 8000.0, -9.0, 0.1);
    signals_harmonics(in[0] + n / 2, n / 2, 44100.0, 131.0, 8000.0, -9.0, 0.1);
    signals_noise(in[1], n, 0.02, &random);
    signals_add(in[0], in[1], n);
    prepare_filter(44100.0, 2);
    run(2, 0, n, 256);
    memcpy(other, out[0], sizeof other);
    const size_t chunks[] = {1, 37, 255};
    for (int k = 0; k < 3; k++) {
        plugin_spec.reset(&rumble);
        run(2, 0, n, chunks[k]);
        ck_assert(signals_same_bits(other, out[0], n));
    }
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("rumble_filter");
    tcase_set_timeout(tcase, 60.0);
    tcase_add_test(tcase, the_corner_keeps_under_the_voice);
    tcase_add_test(tcase, rumble_goes_while_a_note_is_sung);
    tcase_add_test(tcase, following_does_not_modulate_a_note);
    tcase_add_test(tcase, a_move_is_not_heard);
    tcase_add_test(tcase, a_lower_note_is_let_through_when_it_is_confirmed);
    tcase_add_test(tcase, a_creaky_stretch_does_not_let_the_corner_fall);
    tcase_add_test(tcase, it_stands_still_through_consonants_and_rests_with_hum);
    tcase_add_test(tcase, without_following_the_corner_is_the_floor);
    tcase_add_test(tcase, a_thump_is_taken_down_and_the_voice_left_alone);
    tcase_add_test(tcase, cutting_the_block_changes_no_bit);
    return run_tcase(tcase, "rumble_filter");
}
