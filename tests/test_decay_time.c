/* SPDX-License-Identifier: ISC */
#include "measure/decay_time.h"
#include "run_tcase.h"
#include "signals.h"

#include <check.h>
#include <math.h>
#include <stdlib.h>

enum { LENGTH = 600, VOICED = 80 };
static const double STEP_S = 0.005;
static float level[LENGTH];

/* A steady voice that stops dead, in a room of that T60 over a floor; powers add. Levels of noise
 * in 5 ms of a few kHz stray by about 1 dB. */
static void fall(double t60_s, double floor_db, double stray_db, Random *random) {
    for (size_t i = 0; i < LENGTH; i++) {
        double s = i < VOICED ? 0.0 : (double)(i - VOICED) * STEP_S;
        double power = pow(10.0, -6.0 * s / t60_s) + pow(10.0, 0.1 * floor_db);
        level[i] = (float)(0.01 * power * pow(10.0, 0.1 * stray_db * random_normal(random)));
    }
}

START_TEST(an_exponential_fall_is_read_within_5_percent) {
    Random random = random_seeded(1);
    const double times[] = {0.15, 0.3, 0.6, 1.2, 2.4};
    for (size_t i = 0; i < 5; i++) {
        double t60_s = 0.0;
        fall(times[i], -60.0, 0.0, &random);
        ck_assert(decay_time_fit(level, LENGTH, VOICED, STEP_S, 1e-8, &t60_s));
        ck_assert_double_eq_tol(t60_s / times[i], 1.0, 0.05); /* ISO 3382-1: JND 5 % */
    }
}
END_TEST

START_TEST(of_many_noisy_falls_the_room_is_told_within_20_percent) {
    Random random = random_seeded(2);
    const double times[] = {0.3, 0.6, 1.2};
    for (size_t i = 0; i < 3; i++) {
        double t60_s[20];
        size_t n = 0;
        for (size_t k = 0; k < 20; k++) {
            fall(times[i], -45.0, 1.0, &random);
            n += decay_time_fit(level, LENGTH, VOICED, STEP_S, 0.01 * pow(10.0, -4.5), &t60_s[n]);
        }
        ck_assert_uint_ge(n, 15);
        ck_assert_double_eq_tol(decay_time_of_room(t60_s, n) / times[i], 1.0, 0.2);
    }
}
END_TEST

START_TEST(no_fall_no_reading) {
    Random random = random_seeded(3);
    double t60_s = 0.0;
    fall(0.5, -12.0, 0.0, &random); /* the room is too loud */
    ck_assert(!decay_time_fit(level, LENGTH, VOICED, STEP_S, 0.01 * pow(10.0, -1.2), &t60_s));
    for (size_t i = 0; i < LENGTH; i++)
        level[i] = 0.01f;
    ck_assert(!decay_time_fit(level, LENGTH, VOICED, STEP_S, 1e-8, &t60_s));
    ck_assert(!decay_time_fit(level, 2, 1, STEP_S, 1e-8, &t60_s));
    /* Two slopes: a step of 15 dB and a shelf are no straight line. */
    for (size_t i = VOICED; i < LENGTH; i++)
        level[i] = i < VOICED + 100 ? 6e-4f : 1e-6f;
    ck_assert(!decay_time_fit(level, LENGTH, VOICED, STEP_S, 1e-8, &t60_s));
}
END_TEST

START_TEST(the_room_is_the_lower_quartile) {
    double t60_s[] = {4.0, 1.0, 3.0, 2.0, 5.0};
    ck_assert_double_eq_tol(decay_time_of_room(t60_s, 5), 2.0, 1e-12);
    ck_assert_double_eq_tol(decay_time_of_room(t60_s, 1), 1.0, 1e-12);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("decay_time");
    tcase_add_test(tcase, an_exponential_fall_is_read_within_5_percent);
    tcase_add_test(tcase, of_many_noisy_falls_the_room_is_told_within_20_percent);
    tcase_add_test(tcase, no_fall_no_reading);
    tcase_add_test(tcase, the_room_is_the_lower_quartile);
    tcase_set_timeout(tcase, 60);
    return run_tcase(tcase, "decay_time");
}
