/* SPDX-License-Identifier: ISC */
/* room-cut, driven through its plugin_spec as the shell drives it: what each control does to tones.
 * Its filters have suites of their own. */
/* NOLINTNEXTLINE(bugprone-suspicious-include): to reach its tables and its struct. */
#include "../plugins/room-cut/room-cut_plugin.c"

#include "run_tcase.h"
#include "signals.h"

#include <check.h>
#include <string.h>

enum { RATE = 48000, LENGTH = RATE };
static RoomCut cut;
static float in[LENGTH], out[LENGTH], control[N_CONTROLS];
static float reduction_db;

static void set_defaults(void) {
    for (int i = 0; i < N_CONTROLS; i++)
        control[i] = CONTROLS[i].initial;
}

static void play(void) {
    memset(&cut, 0, sizeof cut);
    ck_assert(plugin_spec.prepare(&cut, RATE, 1, NULL));
    plugin_spec.reset(&cut);
    plugin_spec.set(&cut, control);
    for (size_t at = 0; at < LENGTH; at += PLUGIN_CHUNK) {
        const float *const i[1] = {in + at};
        float *const o[1] = {out + at};
        const Io io = {.n = LENGTH - at < PLUGIN_CHUNK ? LENGTH - at : PLUGIN_CHUNK,
                       .channels = 1,
                       .in = i,
                       .dry = i,
                       .out = o,
                       .reduction_db = &reduction_db};
        plugin_spec.process(&cut, &io);
    }
}

/* Gain in dB of a tone, of the second half. */
static double tone_gain(double hz) {
    signals_sine(in, LENGTH, RATE, hz, 0.25, 0.0);
    play();
    const size_t half = LENGTH / 2;
    return signals_rms_db(out + half, half) - signals_rms_db(in + half, half);
}

START_TEST(at_the_defaults_the_input_passes_bit_for_bit) {
    Random random = random_seeded(1);
    set_defaults();
    signals_noise(in, LENGTH, 0.1, &random);
    play();
    ck_assert(signals_same_bits(in, out, LENGTH));
    ck_assert_float_eq(reduction_db, 0.0f);
}
END_TEST

START_TEST(each_bell_has_its_gain_at_its_frequency) {
    for (int bell = 0; bell < BELLS; bell++) {
        set_defaults();
        control[GAIN_1 + bell] = -6.0f;
        ck_assert_double_eq_tol(tone_gain((double)control[FREQ_1 + bell]), -6.0, 0.01);
        ck_assert_float_eq_tol(reduction_db, 6.0f, 0.02f);
        control[FREQ_1 + bell] = 1500.0f;
        ck_assert_double_eq_tol(tone_gain(1500.0), -6.0, 0.01);
        control[GAIN_1 + bell] = 6.0f;
        ck_assert_double_eq_tol(tone_gain(1500.0), 6.0, 0.01);
        ck_assert_float_eq(reduction_db, 0.0f);
    }
}
END_TEST

START_TEST(each_width_is_where_half_the_gain_is) {
    for (int bell = 0; bell < BELLS; bell++)
        for (float octaves = 0.25f; octaves <= 2.0f; octaves *= 2.0f) {
            set_defaults();
            control[FREQ_1 + bell] = 500.0f;
            control[GAIN_1 + bell] = -8.0f;
            control[WIDTH_1 + bell] = octaves;
            ck_assert_double_eq_tol(tone_gain(500.0 * exp2(0.5 * (double)octaves)), -4.0, 0.05);
        }
}
END_TEST

START_TEST(bells_at_one_place_add_up) {
    set_defaults();
    for (int bell = 0; bell < BELLS; bell++) {
        control[FREQ_1 + bell] = 300.0f;
        control[GAIN_1 + bell] = -5.0f;
    }
    ck_assert_double_eq_tol(tone_gain(300.0), -15.0, 0.01);
}
END_TEST

START_TEST(air_has_half_its_gain_at_its_frequency) {
    set_defaults();
    control[AIR] = 6.0f;
    ck_assert_double_eq_tol(tone_gain(10000.0), 3.0, 0.05);
    ck_assert_double_eq_tol(tone_gain(1000.0), 0.0, 0.02);
    control[AIR_FREQ] = 4000.0f;
    ck_assert_double_eq_tol(tone_gain(4000.0), 3.0, 0.05);
    /* The analogue shelf 2.2 octaves above its middle: 5.98 dB. */
    ck_assert_double_eq_tol(tone_gain(18500.0), 5.98, 0.25);
    control[AIR] = -6.0f;
    ck_assert_double_eq_tol(tone_gain(4000.0), -3.0, 0.05);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("room_cut");
    tcase_add_test(tcase, at_the_defaults_the_input_passes_bit_for_bit);
    tcase_add_test(tcase, each_bell_has_its_gain_at_its_frequency);
    tcase_add_test(tcase, each_width_is_where_half_the_gain_is);
    tcase_add_test(tcase, bells_at_one_place_add_up);
    tcase_add_test(tcase, air_has_half_its_gain_at_its_frequency);
    return run_tcase(tcase, "room_cut");
}
