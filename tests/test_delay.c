/* SPDX-License-Identifier: ISC */
#include "basic/delay.h"
#include "run_tcase.h"
#include "signals.h"

#include <check.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { LENGTH = 20000, MAX = 1000 };
static unsigned char memory[1 << 16];
static float in[LENGTH], out[LENGTH];

static void prepare(Delay *delay, size_t max) {
    Arena arena = arena_over(memory, sizeof memory);
    ck_assert(delay_prepare(delay, max, &arena));
}

static void fill_input(void) {
    Random random = random_seeded(11);
    signals_noise(in, LENGTH, 0.3, &random);
}

START_TEST(output_is_input_d_frames_late_for_any_cutting) {
    fill_input();
    Random random = random_seeded(12);
    const size_t delays[] = {0, 1, 255, 256, 257, 999, MAX};
    for (size_t k = 0; k < sizeof delays / sizeof *delays; k++) {
        Delay delay;
        prepare(&delay, MAX);
        size_t d = delays[k];
        for (size_t at = 0; at < LENGTH;) {
            size_t n = random_below(&random, DELAY_MAX_BLOCK + 1);
            n = n < LENGTH - at ? n : LENGTH - at;
            delay_write(&delay, in + at, n);
            delay_read(&delay, d, out + at, n);
            at += n;
        }
        for (size_t i = 0; i < d; i++)
            ck_assert_float_eq(out[i], 0.0f);
        ck_assert(signals_same_bits(out + d, in, LENGTH - d));
    }
}
END_TEST

START_TEST(the_delay_may_change_at_any_block) {
    fill_input();
    Random random = random_seeded(13);
    Delay delay;
    prepare(&delay, MAX);
    for (size_t at = 0; at + DELAY_MAX_BLOCK <= LENGTH;) {
        size_t n = random_below(&random, DELAY_MAX_BLOCK + 1);
        delay_write(&delay, in + at, n);
        for (int reads = 0; reads < 3; reads++) {
            size_t d = random_below(&random, MAX + 1);
            delay_read(&delay, d, out, n);
            for (size_t i = 0; i < n; i++)
                ck_assert_float_eq(out[i], at + i >= d ? in[at + i - d] : 0.0f);
        }
        at += n;
    }
}
END_TEST

START_TEST(reset_leaves_silence) {
    fill_input();
    Delay delay;
    prepare(&delay, MAX);
    for (size_t at = 0; at + 200 <= 4000; at += 200)
        delay_write(&delay, in + at, 200);
    delay_reset(&delay);
    delay_write(&delay, in, 100);
    delay_read(&delay, 500, out, 100);
    for (size_t i = 0; i < 100; i++)
        ck_assert_float_eq(out[i], 0.0f);
}
END_TEST

START_TEST(a_full_arena_is_reported) {
    Arena arena = arena_over(memory, 256);
    Delay delay;
    ck_assert(!delay_prepare(&delay, MAX, &arena));
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("delay");
    tcase_add_test(tcase, output_is_input_d_frames_late_for_any_cutting);
    tcase_add_test(tcase, the_delay_may_change_at_any_block);
    tcase_add_test(tcase, reset_leaves_silence);
    tcase_add_test(tcase, a_full_arena_is_reported);
    return run_tcase(tcase, "delay");
}
