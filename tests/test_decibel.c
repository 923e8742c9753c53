/* SPDX-License-Identifier: ISC */
#include "basic/decibel.h"
#include "run_tcase.h"

#include <check.h>
#include <float.h>

/* Every octave of the range, in steps fine enough to meet the polynomials' worst points. */
enum { STEPS = 4096 };

START_TEST(fast_log2_is_within_the_bound_stated_for_it) {
    for (int octave = -126; octave < 127; octave++) {
        for (int i = 0; i < STEPS; i++) {
            float x = ldexpf(1.0f + (float)i / STEPS, octave);
            double error = fabs((double)decibel_fast_log2(x) - log2((double)x));
            ck_assert_double_lt(error, octave >= -4 && octave < 4 ? 5e-7 : 4e-6);
        }
    }
    ck_assert_float_eq(decibel_fast_log2(1.0f), 0.0f);
    ck_assert_float_eq(decibel_fast_log2(0.25f), -2.0f);
}
END_TEST

START_TEST(fast_exp2_is_within_the_bound_stated_for_it) {
    for (int whole = -126; whole < 126; whole++) {
        for (int i = 0; i < STEPS; i++) {
            float x = (float)whole + (float)i / STEPS;
            double exact = exp2((double)x);
            ck_assert_double_lt(fabs((double)decibel_fast_exp2(x) - exact) / exact, 4e-7);
        }
    }
}
END_TEST

START_TEST(fast_exp2_stays_finite_and_normal_beyond_its_range) {
    ck_assert_float_eq(decibel_fast_exp2(-1e30f), FLT_MIN);
    ck_assert_float_eq(decibel_fast_exp2(1e30f), 0x1p126f);
}
END_TEST

START_TEST(unity_is_exact) {
    ck_assert_float_eq(decibel_fast_gain(0.0f), 1.0f);
    ck_assert_float_eq(decibel_fast_gain(-0.0f), 1.0f);
    ck_assert_double_eq(decibel_to_gain(0.0), 1.0);
}
END_TEST

START_TEST(levels_are_twenty_logarithms_of_amplitude) {
    /* 6.0206 dB is a factor of two, 20 dB one of ten, by definition. */
    ck_assert_double_eq_tol(decibel_to_gain(20.0), 10.0, 1e-14);
    ck_assert_double_eq_tol(decibel_from_gain(2.0), 6.020599913, 1e-9);
    for (int db_step = 0; db_step < 487; db_step++) {
        double db = -120.0 + 0.37 * db_step;
        float gain = (float)decibel_to_gain(db);
        /* 4e-6 of log2 is 2.4e-5 dB; the floor of -200 dB adds 8.7e-4 dB at -120. */
        ck_assert_double_eq_tol((double)decibel_from_amplitude(gain), db, 1e-3);
        ck_assert_double_eq_tol((double)decibel_from_power(gain * gain), db, 1e-4);
        /* Rounding of db / 6.02 to float, at most 2^-21 octave, beside the bound of exp2. */
        ck_assert_double_eq_tol((double)decibel_fast_gain((float)db) / decibel_to_gain(db), 1.0,
                                2e-6);
    }
}
END_TEST

START_TEST(silence_is_the_floor) {
    ck_assert_double_eq_tol((double)decibel_from_power(0.0f), -200.0, 1e-4);
    ck_assert_double_eq_tol((double)decibel_from_amplitude(0.0f), -200.0, 1e-4);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("decibel");
    tcase_add_test(tcase, fast_log2_is_within_the_bound_stated_for_it);
    tcase_add_test(tcase, fast_exp2_is_within_the_bound_stated_for_it);
    tcase_add_test(tcase, fast_exp2_stays_finite_and_normal_beyond_its_range);
    tcase_add_test(tcase, unity_is_exact);
    tcase_add_test(tcase, levels_are_twenty_logarithms_of_amplitude);
    tcase_add_test(tcase, silence_is_the_floor);
    return run_tcase(tcase, "decibel");
}
