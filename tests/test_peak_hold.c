/* SPDX-License-Identifier: ISC */
#include "basic/peak_hold.h"
#include "run_tcase.h"
#include "signals.h"

#include <check.h>
#include <stdlib.h>

enum { LENGTH = 6000, MAX = 900 };
static unsigned char memory[1 << 16];
static float in[LENGTH], out[LENGTH], other[LENGTH];

static PeakHold prepared(size_t block) {
    PeakHold hold;
    Arena arena = arena_over(memory, sizeof memory);
    ck_assert(peak_hold_prepare(&hold, MAX, block, -3.0f, &arena));
    return hold;
}

static void fill_input(unsigned seed) {
    Random random = random_seeded(seed);
    signals_noise(in, LENGTH, 1.0, &random);
    for (size_t i = 2000; i < 3500; i++) /* a long fall, and a stretch of nothing */
        in[i] = i < 3000 ? 2.0f - (float)(i - 2000) * 0.004f : -3.0f;
    for (size_t i = 0; i < LENGTH; i++)
        in[i] = in[i] < -3.0f ? -3.0f : in[i];
}

static float largest(size_t t, size_t m) {
    float found = -3.0f;
    for (size_t k = 0; k < m && k <= t; k++)
        found = in[t - k] > found ? in[t - k] : found;
    return found;
}

START_TEST(the_window_is_never_short_and_at_most_two_blocks_long) {
    fill_input(51);
    const size_t blocks[] = {1, 7, 16};
    for (int b = 0; b < 3; b++)
        for (size_t n = 1; n <= MAX; n = n < 40 ? n + 3 : n + 213) {
            PeakHold hold = prepared(blocks[b]);
            peak_hold_set(&hold, n);
            peak_hold_process(&hold, in, out, LENGTH);
            size_t window = n > blocks[b] ? n : blocks[b] + 1;
            for (size_t t = 0; t < LENGTH; t++) {
                ck_assert_float_ge(out[t], largest(t, window));
                ck_assert_float_le(out[t], largest(t, window + 2 * blocks[b] - 2));
            }
        }
}
END_TEST

START_TEST(a_rise_shows_in_its_own_frame) {
    fill_input(52);
    PeakHold hold = prepared(16);
    peak_hold_set(&hold, 400);
    peak_hold_process(&hold, in, out, LENGTH);
    for (size_t t = 0; t < LENGTH; t++)
        ck_assert_float_ge(out[t], in[t]);
}
END_TEST

START_TEST(a_longer_window_covers_its_past_at_once) {
    fill_input(53);
    Random random = random_seeded(54);
    PeakHold hold = prepared(16);
    for (size_t t = 0; t < LENGTH; t++) {
        size_t n = 1 + random_below(&random, MAX);
        peak_hold_set(&hold, n);
        peak_hold_process(&hold, in + t, out + t, 1);
        ck_assert_float_ge(out[t], largest(t, n));
        ck_assert_float_le(out[t], largest(t, (n > 17 ? n : 17) + 30));
        n = 1 + random_below(&random, MAX);
        /* A block may just have ended: then the reading's window is up to one frame less. */
        ck_assert_float_ge(peak_hold_last(&hold, n), largest(t, n > 1 ? n - 1 : 1));
        ck_assert_float_le(peak_hold_last(&hold, n), largest(t, (n > 17 ? n : 17) + 30));
    }
}
END_TEST

START_TEST(cutting_the_block_changes_no_bit) {
    fill_input(55);
    Random random = random_seeded(56);
    PeakHold hold = prepared(16);
    peak_hold_set(&hold, 333);
    peak_hold_process(&hold, in, out, LENGTH);
    peak_hold_reset(&hold);
    for (size_t at = 0; at < LENGTH;) {
        size_t n = random_below(&random, 100);
        n = n < LENGTH - at ? n : LENGTH - at;
        peak_hold_process(&hold, in + at, other + at, n);
        at += n;
    }
    ck_assert(signals_same_bits(out, other, LENGTH));
    peak_hold_reset(&hold);
    peak_hold_process(&hold, in, in, LENGTH);
    ck_assert(signals_same_bits(out, in, LENGTH));
}
END_TEST

START_TEST(impossible_sizes_are_refused) {
    PeakHold hold;
    Arena arena = arena_over(memory, sizeof memory);
    ck_assert(!peak_hold_prepare(&hold, 0, 16, 0.0f, &arena));
    ck_assert(!peak_hold_prepare(&hold, 100, 0, 0.0f, &arena));
    ck_assert(!peak_hold_prepare(&hold, 1 << 20, 1, 0.0f, &arena));
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("peak_hold");
    tcase_add_test(tcase, the_window_is_never_short_and_at_most_two_blocks_long);
    tcase_add_test(tcase, a_rise_shows_in_its_own_frame);
    tcase_add_test(tcase, a_longer_window_covers_its_past_at_once);
    tcase_add_test(tcase, cutting_the_block_changes_no_bit);
    tcase_add_test(tcase, impossible_sizes_are_refused);
    return run_tcase(tcase, "peak_hold");
}
