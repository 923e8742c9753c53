/* SPDX-License-Identifier: ISC */
/* The whole chain of return-ducker, driven through its plugin_spec as the shell drives it. */
/* NOLINTNEXTLINE(bugprone-suspicious-include): to reach its tables and its struct. */
#include "../plugins/return-ducker/return-ducker_plugin.c"

#include "run_tcase.h"
#include "signals.h"

#include <check.h>
#include <stdlib.h>
#include <string.h>

enum { LENGTH = 400000 };
static unsigned char memory[1 << 21];
static ReturnDucker ducker;
static float key[2][LENGTH], dry[2][LENGTH], out[2][LENGTH], other[2][LENGTH];
static float control[N_CONTROLS];
static float meters[N_METERS], reduction_db;

static void prepare_ducker(double rate, unsigned channels) {
    Arena arena = arena_over(memory, sizeof memory);
    memset(&ducker, 0, sizeof ducker);
    ck_assert(plugin_spec.prepare(&ducker, rate, channels, &arena));
    plugin_spec.reset(&ducker);
    for (int i = 0; i < N_CONTROLS; i++)
        control[i] = CONTROLS[i].initial;
}

/* `dry` delayed is what the caller has put there: here the gain alone is of interest. */
static void run_from(size_t start, unsigned channels, size_t n, size_t chunk) {
    plugin_spec.set(&ducker, control);
    reduction_db = 0.0f;
    for (size_t at = start; at < n; at += chunk) {
        const float *const k[2] = {key[0] + at, key[1] + at};
        const float *const d[2] = {dry[0] + at, dry[1] + at};
        float *const o[2] = {out[0] + at, out[1] + at};
        float largest = 0.0f;
        const Io io = {.n = n - at < chunk ? n - at : chunk,
                       .channels = channels,
                       .in = d,
                       .dry = d,
                       .key = k,
                       .out = o,
                       .meter = meters,
                       .reduction_db = &largest};
        plugin_spec.process(&ducker, &io);
        reduction_db = largest > reduction_db ? largest : reduction_db;
    }
}

static void run(unsigned channels, size_t n, size_t chunk) {
    run_from(0, channels, n, chunk);
}

static void steady_dry(size_t n) {
    for (size_t i = 0; i < n; i++)
        dry[0][i] = dry[1][i] = 0.5f;
}

static double gain_db(size_t i) {
    return 20.0 * log10((double)out[0][i] / (double)dry[0][i]);
}

/* Giannoulis, Massberg, Reiss 2012, eq. 4, with T -36, W 6, in double. */
static double law_db(double x, double r) {
    if (x <= -39.0)
        return 0.0;
    if (x < -33.0)
        return (1.0 - 1.0 / r) * (x + 39.0) * (x + 39.0) / 12.0;
    return (1.0 - 1.0 / r) * (x + 36.0);
}

START_TEST(the_static_law_holds_within_a_tenth_of_a_db) {
    const double rates[] = {8000.0, 48000.0, 192000.0};
    for (int r = 0; r < 3; r++)
        for (int level_step = 0; level_step < 17; level_step++) {
            double level = -60.0 + 3.7 * level_step;
            for (int hz_step = 0; 150.0 * pow(2.3, hz_step) < 0.048 * rates[r]; hz_step++) {
                double hz = 150.0 * pow(2.3, hz_step);
                if (hz >= 2500.0)
                    break;
                prepare_ducker(rates[r], 1);
                control[RANGE] = 60.0f;
                control[KEY_LOW_CUT] = 20.0f;
                control[RELEASE] = 10.0f; /* to forget the tone's start */
                size_t n = (size_t)(0.25 * rates[r]);
                signals_sine(key[0], n, rates[r], hz, pow(10.0, level / 20.0), 0.7);
                steady_dry(n);
                run(1, n - 100, 256);
                run_from(n - 100, 1, n, 256);
                ck_assert_double_eq_tol(gain_db(n - 1), -law_db(level, 4.0), 0.1);
                ck_assert_double_eq_tol((double)reduction_db, law_db(level, 4.0), 0.1);
                ck_assert_double_eq_tol((double)meters[KEY_LEVEL], level, 0.1);
            }
        }
}
END_TEST

START_TEST(the_duck_begins_with_the_word_in_the_key) {
    /* A word of -12 dB at `at`: the shell delays the return by the latency, so what is measured
     * here is what has to be near 0 for the duck to be `lookahead` early. */
    const double rates[] = {8000.0, 44100.0, 48000.0, 192000.0};
    for (int r = 0; r < 4; r++)
        for (int attack_step = 0; attack_step < 4; attack_step++) {
            double attack = 0.1 * pow(10.0, attack_step);
            prepare_ducker(rates[r], 1);
            control[ATTACK] = (float)attack;
            size_t at = 1000, n = at + (size_t)(0.1 * rates[r]);
            signals_silence(key[0], n);
            signals_sine(key[0] + at, n - at, rates[r], 300.0, 0.25, 0.0);
            steady_dry(n);
            run(1, n, 256);
            for (size_t i = 0; i < at; i++)
                ck_assert_float_eq(out[0][i], dry[0][i]);
            size_t start = at;
            while (start < n && gain_db(start) > -0.1)
                start++;
            /* 0.1 dB down is under way. A slow attack takes longer to get there:
             * 12 (1 - exp(-t/tau)) = 0.1 at t = tau/120. */
            double late_ms = (double)(start - at) / rates[r] * 1e3;
            ck_assert_double_lt(late_ms, 1.0 + attack / 120.0);
        }
}
END_TEST

START_TEST(the_latency_is_the_lookahead_to_the_nearest_frame) {
    prepare_ducker(44100.0, 2);
    control[LOOKAHEAD] = 10.0f;
    ck_assert_uint_eq(plugin_spec.latency(&ducker, control), 441);
    control[LOOKAHEAD] = 5.0f; /* 220.5: the even neighbour */
    ck_assert_uint_eq(plugin_spec.latency(&ducker, control), 220);
    control[LOOKAHEAD] = 0.0f;
    ck_assert_uint_eq(plugin_spec.latency(&ducker, control), 0);
    for (int i = 0; i < N_CONTROLS; i++)
        control[i] = CONTROLS[i].maximum;
    ck_assert_uint_eq(plugin_spec.latency(&ducker, control), 2205);
}
END_TEST

START_TEST(it_stays_down_for_the_hold_and_comes_back_with_the_time_constant) {
    prepare_ducker(48000.0, 1);
    control[HOLD] = 100.0f;
    control[RELEASE] = 300.0f;
    size_t word = 24000, n = 24000 + 96000;
    signals_silence(key[0], n);
    signals_sine(key[0], word, 48000.0, 500.0, 0.5, 0.0);
    steady_dry(n);
    run(1, n, 256);
    /* The last peak of the key lies within half a period, 1 ms, of its end, and the low cut rings
     * for less than 10 ms; hold is exact to 1 ms; the smoothing rounds the corner for 1 ms more. */
    double down = gain_db(word - 1);
    ck_assert_double_eq_tol(down, -12.0, 1e-3);
    ck_assert_double_eq_tol(gain_db(word + 4750), down, 1e-3);
    ck_assert_double_gt(gain_db(word + 5328), down + 0.01);
    double tau_ms = 500.0 / log(gain_db(word + 9600) / gain_db(word + 9600 + 24000));
    ck_assert_double_eq_tol(tau_ms / 300.0, 1.0, 0.01);
}
END_TEST

START_TEST(a_silent_key_leaves_every_bit) {
    Random random = random_seeded(81);
    prepare_ducker(48000.0, 2);
    signals_silence(key[0], LENGTH);
    signals_silence(key[1], LENGTH);
    signals_noise(dry[0], LENGTH, 0.2, &random);
    signals_noise(dry[1], LENGTH, 0.2, &random);
    run(2, 48000, 256);
    ck_assert(signals_same_bits(dry[0], out[0], 48000));
    ck_assert(signals_same_bits(dry[1], out[1], 48000));
    ck_assert_float_eq(reduction_db, 0.0f);
    /* And again some time after a word: 12 dB exp(-t/tau) is under 1e-7 dB after 18.7 tau. */
    control[RELEASE] = 200.0f;
    signals_sine(key[0], 9600, 48000.0, 500.0, 0.5, 0.0);
    run(2, LENGTH, 256);
    size_t back = 9600 + 2880 + (size_t)(18.7 * 9600.0);
    ck_assert(!signals_same_bits(dry[0], out[0], 20000));
    ck_assert(signals_same_bits(dry[0] + back, out[0] + back, LENGTH - back));
}
END_TEST

START_TEST(both_channels_get_one_gain) {
    Random random = random_seeded(82);
    prepare_ducker(48000.0, 2);
    signals_silence(key[0], 48000);
    signals_sine(key[1], 48000, 48000.0, 300.0, 0.3, 0.0);
    signals_noise(dry[0], 48000, 0.2, &random);
    memcpy(dry[1], dry[0], sizeof dry[1]);
    run(2, 48000, 256);
    ck_assert(signals_same_bits(out[0], out[1], 48000));
    ck_assert_double_eq_tol(gain_db(47999), -12.0, 1e-3);
}
END_TEST

START_TEST(no_control_moves_the_gain_with_a_step) {
    /* Every control from one end to the other while the key sounds: the gain stays within the slope
     * that the ballistics promise, 60 dB / (e / 3 ms). */
    prepare_ducker(48000.0, 1);
    steady_dry(48000);
    signals_sine(key[0], 48000, 48000.0, 300.0, 0.3, 0.0);
    Random random = random_seeded(83);
    float last = 0.5f;
    for (int round = 0; round < 40; round++) {
        for (int i = 0; i < N_CONTROLS; i++)
            control[i] = random_unit(&random) < 0.5 ? CONTROLS[i].minimum : CONTROLS[i].maximum;
        run(1, 2400, 256);
        for (size_t i = 0; i < 2400; i++) {
            double step_db = fabs(20.0 * log10((double)out[0][i] / (double)last));
            ck_assert_double_lt(step_db, 60.0 * 3.0 / exp(1.0) / 48.0 + 1e-4);
            last = out[0][i];
        }
    }
}
END_TEST

START_TEST(cutting_the_block_changes_no_bit) {
    Random random = random_seeded(84);
    const size_t n = 50000;
    for (int c = 0; c < 2; c++) {
        signals_noise(key[c], n, 0.05, &random);
        signals_noise(dry[c], n, 0.2, &random);
        for (size_t i = 0; i < n; i++)
            key[c][i] *= i / 5000 % 2 ? 1.0f : 1e-4f;
    }
    prepare_ducker(48000.0, 2);
    run(2, n, 256);
    memcpy(other, out, sizeof other);
    const size_t chunks[] = {1, 37, 255};
    for (int k = 0; k < 3; k++) {
        plugin_spec.reset(&ducker);
        run(2, n, chunks[k]);
        ck_assert(signals_same_bits(other[0], out[0], n));
        ck_assert(signals_same_bits(other[1], out[1], n));
    }
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("return_ducker");
    tcase_set_timeout(tcase, 60.0);
    tcase_add_test(tcase, the_static_law_holds_within_a_tenth_of_a_db);
    tcase_add_test(tcase, the_duck_begins_with_the_word_in_the_key);
    tcase_add_test(tcase, the_latency_is_the_lookahead_to_the_nearest_frame);
    tcase_add_test(tcase, it_stays_down_for_the_hold_and_comes_back_with_the_time_constant);
    tcase_add_test(tcase, a_silent_key_leaves_every_bit);
    tcase_add_test(tcase, both_channels_get_one_gain);
    tcase_add_test(tcase, no_control_moves_the_gain_with_a_step);
    tcase_add_test(tcase, cutting_the_block_changes_no_bit);
    return run_tcase(tcase, "return_ducker");
}
