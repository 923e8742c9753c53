/* SPDX-License-Identifier: ISC */
#include "basic/one_pole.h"
#include "run_tcase.h"

#include <check.h>

START_TEST(coefficients_are_the_published_ones) {
    /* exp(-1 / (tau fs)) of Giannoulis et al. 2012, eq. 7, evaluated at 48 kHz. */
    const double tau_ms[] = {0.1, 1.0, 5.0, 10.0, 50.0, 100.0, 250.0, 500.0};
    const double pole[] = {0.811936346, 0.979382181, 0.995842002, 0.997918835,
                           0.999583420, 0.999791688, 0.999916670, 0.999958334};
    for (int i = 0; i < 8; i++)
        ck_assert_double_eq_tol(one_pole_coefficient(tau_ms[i], 48000.0), pole[i], 5e-10);
    ck_assert_double_eq(one_pole_coefficient(0.0, 48000.0), 0.0);
    ck_assert_double_eq(one_pole_coefficient(-1.0, 48000.0), 0.0);
}
END_TEST

START_TEST(a_step_is_36_8_percent_away_after_tau) {
    for (int rate_step = 0; rate_step < 5; rate_step++) {
        double rate = 8000.0 * pow(2.0, rate_step);
        double a = one_pole_coefficient(20.0, rate);
        float y = 0.0f;
        double z = 0.0;
        int frames = (int)lrint(0.020 * rate);
        for (int i = 0; i < frames; i++) {
            y = one_pole_step(y, 1.0f, (float)a);
            z = one_pole_step_double(z, 1.0, a);
        }
        ck_assert_double_eq_tol(1.0 - z, exp(-1.0), 1e-9);
        /* The float pole is off by up to 2^-25, which tau frames make relative 2^-25 tau fs. */
        ck_assert_double_eq_tol(1.0 - (double)y, exp(-1.0), 2e-4);
    }
}
END_TEST

START_TEST(a_smoother_at_its_goal_stays_there_exactly) {
    const float goals[] = {0.0f, 0.1f, -3.7f, 1e-6f, 1e6f};
    for (int i = 0; i < 5; i++)
        for (int a_step = 0; a_step < 15; a_step++) {
            float a = 0.07f * (float)a_step;
            ck_assert_float_eq(one_pole_step(goals[i], goals[i], a), goals[i]);
        }
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("one_pole");
    tcase_add_test(tcase, coefficients_are_the_published_ones);
    tcase_add_test(tcase, a_step_is_36_8_percent_away_after_tau);
    tcase_add_test(tcase, a_smoother_at_its_goal_stays_there_exactly);
    return run_tcase(tcase, "one_pole");
}
