/* SPDX-License-Identifier: ISC */
#include "gain/gain_line.h"
#include "run_tcase.h"
#include "signals.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { HOP = 256, HOPS = 40, LENGTH = HOP * HOPS };
static float left[LENGTH], right[LENGTH], out_left[LENGTH], out_right[LENGTH], cut[LENGTH];
static const float *const in[2] = {left, right};
static float *const out[2] = {out_left, out_right};

static void fill(void) {
    Random random = random_seeded(41);
    signals_noise(left, LENGTH, 0.3, &random);
    signals_noise(right, LENGTH, 0.3, &random);
}

/* The gain given at the end of hop h. */
static float gain_of(int h) {
    return 0.5f + 0.4f * sinf((float)h);
}

START_TEST(the_gain_is_a_straight_line_from_one_hop_to_the_next) {
    GainLine line;
    gain_line_prepare(&line, HOP);
    for (size_t i = 0; i < LENGTH; i++)
        left[i] = right[i] = 1.0f;
    for (int h = 0; h < HOPS; h++) {
        gain_line_apply(&line, in, out, 2, (size_t)h * HOP, HOP);
        gain_line_next(&line, gain_of(h));
    }
    for (size_t i = 0; i < LENGTH; i++) {
        int h = (int)(i / HOP);
        double to = h < 1 ? 1.0 : (double)gain_of(h - 1);
        double from = h < 2 ? 1.0 : (double)gain_of(h - 2);
        double expected = from + (to - from) * (double)(i % HOP) / HOP;
        /* Three float roundings near 1. */
        ck_assert_double_eq_tol((double)out_left[i], expected, 3.0 * 0x1p-24);
        ck_assert_float_eq(out_left[i], out_right[i]);
    }
}
END_TEST

START_TEST(at_gain_1_audio_passes_bit_for_bit) {
    fill();
    GainLine line;
    gain_line_prepare(&line, HOP);
    for (int h = 0; h < HOPS; h++) {
        gain_line_apply(&line, in, out, 2, (size_t)h * HOP, HOP);
        gain_line_next(&line, 1.0f);
    }
    ck_assert(signals_same_bits(left, out_left, LENGTH));
    ck_assert(signals_same_bits(right, out_right, LENGTH));
}
END_TEST

START_TEST(cutting_and_working_in_place_change_no_bit) {
    fill();
    Random random = random_seeded(42);
    printf("seed 42\n");
    GainLine line;
    gain_line_prepare(&line, HOP);
    for (int h = 0; h < HOPS; h++) {
        gain_line_apply(&line, in, out, 1, (size_t)h * HOP, HOP);
        gain_line_next(&line, gain_of(h));
    }
    memcpy(cut, left, sizeof cut);
    const float *const cut_in[1] = {cut};
    float *const cut_out[1] = {cut};
    gain_line_reset(&line);
    for (int h = 0; h < HOPS; h++) {
        for (size_t at = 0; at < HOP;) {
            size_t n = random_below(&random, HOP - at + 1);
            gain_line_apply(&line, cut_in, cut_out, 1, (size_t)h * HOP + at, n);
            at += n;
        }
        gain_line_next(&line, gain_of(h));
    }
    ck_assert(signals_same_bits(out_left, cut, LENGTH));
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("gain_line");
    tcase_add_test(tcase, the_gain_is_a_straight_line_from_one_hop_to_the_next);
    tcase_add_test(tcase, at_gain_1_audio_passes_bit_for_bit);
    tcase_add_test(tcase, cutting_and_working_in_place_change_no_bit);
    return run_tcase(tcase, "gain_line");
}
