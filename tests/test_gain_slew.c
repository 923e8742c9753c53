/* SPDX-License-Identifier: ISC */
#include "gain/gain_slew.h"
#include "run_tcase.h"
#include "signals.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

static const double STEPS = 187.5; /* a second: 256 frames at 48 kHz */

START_TEST(no_step_is_faster_than_12_db_a_second_at_300_ms) {
    /* 12 dB/s times 300 / pace. Gains are floats up to 24: sums round by 2^-20 dB. */
    Random random = random_seeded(31);
    printf("seed 31\n");
    const double paces[] = {50.0, 300.0, 700.0, 2000.0};
    for (int k = 0; k < 4; k++) {
        GainSlew slew;
        gain_slew_prepare(&slew, STEPS);
        gain_slew_set(&slew, paces[k]);
        float last = 0.0f;
        for (int i = 0; i < 20000; i++) {
            float gain = gain_slew_step(&slew, (float)random_range(&random, -24.0, 24.0), true);
            ck_assert_double_le(fabs((double)(gain - last)),
                                12.0 * 300.0 / paces[k] / STEPS + 0x1p-20);
            last = gain;
        }
    }
}
END_TEST

START_TEST(a_large_move_is_a_straight_line_in_db) {
    /* 12 dB at 12 dB/s: 6 dB after half a second; the bound of the speed holds until what is left
     * is 12 dB/s * 37.5 ms = 0.45 dB, reached after 11.5 / 12 s. */
    GainSlew slew;
    gain_slew_prepare(&slew, STEPS);
    gain_slew_set(&slew, 300.0);
    double gain = 0.0;
    for (int i = 0; i < (int)(0.5 * STEPS); i++)
        gain = (double)gain_slew_step(&slew, 12.0f, true);
    ck_assert_double_eq_tol(gain, 12.0 * floor(0.5 * STEPS) / STEPS, 1e-4);
}
END_TEST

START_TEST(a_small_move_approaches_with_an_eighth_of_the_pace) {
    /* 0.4 dB never meets the bound: after t, 0.4 exp(-t / 37.5 ms) is left. */
    GainSlew slew;
    gain_slew_prepare(&slew, STEPS);
    gain_slew_set(&slew, 300.0);
    for (int i = 1; i <= 60; i++) {
        double gain = (double)gain_slew_step(&slew, 0.4f, true);
        ck_assert_double_eq_tol(gain, 0.4 - 0.4 * exp(-i / STEPS / 0.0375), 1e-5);
    }
}
END_TEST

START_TEST(frozen_means_not_one_bit) {
    GainSlew slew;
    gain_slew_prepare(&slew, STEPS);
    for (int i = 0; i < 50; i++)
        (void)gain_slew_step(&slew, 3.0f, true);
    float held = slew.state.gain_db;
    for (int i = 0; i < 500; i++)
        ck_assert_float_eq(gain_slew_step(&slew, -9.0f, false), held);
    gain_slew_reset(&slew);
    ck_assert_float_eq(gain_slew_step(&slew, 0.0f, true), 0.0f);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("gain_slew");
    tcase_add_test(tcase, no_step_is_faster_than_12_db_a_second_at_300_ms);
    tcase_add_test(tcase, a_large_move_is_a_straight_line_in_db);
    tcase_add_test(tcase, a_small_move_approaches_with_an_eighth_of_the_pace);
    tcase_add_test(tcase, frozen_means_not_one_bit);
    return run_tcase(tcase, "gain_slew");
}
