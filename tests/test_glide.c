/* SPDX-License-Identifier: ISC */
#include "gain/glide.h"
#include "run_tcase.h"
#include "signals.h"

#include <check.h>
#include <math.h>
#include <string.h>

enum { LENGTH = 48000 };
static float value[LENGTH], other[LENGTH];

START_TEST(a_step_is_met_by_two_one_poles) {
    /* 1 - (1 + t / tau) exp(-t / tau), the step response of two equal poles; sampled ones differ by
     * half a frame in 480. */
    Glide glide;
    glide_prepare(&glide, 10.0, 48000.0);
    glide_set(&glide, 1.0);
    glide_process(&glide, value, 1);
    ck_assert(value[0] == 1.0f);
    glide_set(&glide, 2.0);
    glide_process(&glide, value, LENGTH);
    for (size_t t = 0; t < 5000; t++) {
        double x = ((double)t + 1.0) / 480.0;
        ck_assert_double_eq_tol((double)value[t], 2.0 - (1.0 + x) * exp(-x), 1e-3);
        ck_assert(t == 0 || (value[t] >= value[t - 1] && value[t] - value[t - 1] < 1e-3f));
    }
    ck_assert(value[LENGTH - 1] == 2.0f && glide_rests(&glide));
}
END_TEST

START_TEST(after_a_reset_the_first_value_is_met_at_once) {
    Glide glide;
    glide_prepare(&glide, 10.0, 48000.0);
    glide_set(&glide, 3.0);
    glide_process(&glide, value, 0); /* no frames: still fresh */
    glide_set(&glide, 0.25);
    glide_process(&glide, value, 10);
    ck_assert(value[0] == 0.25f && value[9] == 0.25f);
    glide_set(&glide, 1.0);
    glide_process(&glide, value, 10);
    ck_assert(value[0] < 0.26f);
    glide_reset(&glide);
    glide_process(&glide, value, 10);
    ck_assert(value[0] == 1.0f);
}
END_TEST

START_TEST(cutting_changes_no_bit) {
    Random random = random_seeded(81);
    for (int pass = 0; pass < 2; pass++) {
        Glide glide;
        float *to = pass ? other : value;
        glide_prepare(&glide, 20.0, 48000.0);
        size_t at = 0;
        for (int part = 1; part <= 4; part++) {
            glide_set(&glide, part % 2 ? 0.0 : (double)part);
            for (size_t end = (size_t)part * LENGTH / 4; at < end;) {
                size_t n = pass ? random_below(&random, 100) : end - at;
                n = n < end - at ? n : end - at;
                glide_process(&glide, to + at, n);
                at += n;
            }
        }
    }
    ck_assert(signals_same_bits(value, other, LENGTH));
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("glide");
    tcase_add_test(tcase, a_step_is_met_by_two_one_poles);
    tcase_add_test(tcase, after_a_reset_the_first_value_is_met_at_once);
    tcase_add_test(tcase, cutting_changes_no_bit);
    return run_tcase(tcase, "glide");
}
