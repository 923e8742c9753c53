/* SPDX-License-Identifier: ISC */
#include "basic/sliding_max.h"
#include "run_tcase.h"
#include "signals.h"

#include <check.h>
#include <stdlib.h>

enum { LENGTH = 5000, MAX = 700 };
static unsigned char memory[1 << 20];
static float in[LENGTH], out[LENGTH];

static const float EMPTY = -9.0f;

static void prepare(SlidingMax *m, size_t max) {
    Arena arena = arena_over(memory, sizeof memory);
    ck_assert(sliding_max_prepare(m, max, &arena));
    sliding_max_reset(m, EMPTY);
}

/* By definition: the largest of in[t-n+1..t], with EMPTY before the first frame. */
static float naive(size_t t, size_t n) {
    float largest = in[t];
    for (size_t k = 0; k < n && k <= t; k++)
        largest = in[t - k] > largest ? in[t - k] : largest;
    return n > t + 1 && EMPTY > largest ? EMPTY : largest;
}

static void fill_input(unsigned seed) {
    Random random = random_seeded(seed);
    signals_noise(in, LENGTH, 4.0, &random);
    /* Runs that rise, fall and stand still, where comparisons might tie or go astray. */
    for (size_t i = 1000; i < 1800; i++)
        in[i] = (float)i * 0.001f;
    for (size_t i = 1800; i < 2600; i++)
        in[i] = 1.0f - (float)i * 0.001f;
    for (size_t i = 2600; i < 3200; i++)
        in[i] = -20.0f;
}

START_TEST(every_width_equals_the_definition) {
    fill_input(21);
    SlidingMax m;
    for (size_t n = 1; n <= MAX; n += n < 70 ? 1 : 61) {
        prepare(&m, MAX);
        sliding_max_set(&m, n);
        sliding_max_process(&m, in, out, LENGTH);
        for (size_t t = 0; t < LENGTH; t++)
            ck_assert_float_eq(out[t], naive(t, n));
    }
}
END_TEST

START_TEST(the_width_may_change_at_any_frame) {
    fill_input(22);
    Random random = random_seeded(23);
    SlidingMax m;
    prepare(&m, MAX);
    for (size_t t = 0; t < LENGTH; t++) {
        size_t n = 1 + random_below(&random, MAX);
        sliding_max_set(&m, n);
        ck_assert_float_eq(sliding_max_step(&m, in[t]), naive(t, n));
        n = 1 + random_below(&random, MAX);
        ck_assert_float_eq(sliding_max_last(&m, n), naive(t, n));
    }
}
END_TEST

START_TEST(widths_are_clamped_to_what_was_prepared) {
    fill_input(24);
    SlidingMax m;
    prepare(&m, 100);
    sliding_max_set(&m, 0);
    ck_assert_uint_eq(m.window, 1);
    sliding_max_set(&m, 101);
    ck_assert_uint_eq(m.window, 100);
}
END_TEST

START_TEST(in_place_equals_out_of_place) {
    fill_input(25);
    SlidingMax m;
    prepare(&m, MAX);
    sliding_max_process(&m, in, out, LENGTH);
    prepare(&m, MAX);
    sliding_max_process(&m, in, in, LENGTH);
    ck_assert(signals_same_bits(in, out, LENGTH));
}
END_TEST

START_TEST(impossible_sizes_are_refused) {
    SlidingMax m;
    Arena arena = arena_over(memory, sizeof memory);
    ck_assert(!sliding_max_prepare(&m, 0, &arena));
    ck_assert(!sliding_max_prepare(&m, (size_t)1 << SLIDING_MAX_LEVELS, &arena));
    ck_assert(!sliding_max_prepare(&m, 1 << 19, &arena)); /* 4 MB into 1 */
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("sliding_max");
    tcase_add_test(tcase, every_width_equals_the_definition);
    tcase_add_test(tcase, the_width_may_change_at_any_frame);
    tcase_add_test(tcase, widths_are_clamped_to_what_was_prepared);
    tcase_add_test(tcase, in_place_equals_out_of_place);
    tcase_add_test(tcase, impossible_sizes_are_refused);
    return run_tcase(tcase, "sliding_max");
}
