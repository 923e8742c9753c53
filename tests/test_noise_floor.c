/* SPDX-License-Identifier: ISC */
#include "run_tcase.h"
#include "signals.h"
#include "voice/noise_floor.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

static const double STEPS = 187.5; /* a second */
static NoiseFloor noise_floor;

static float level(void) {
    float db = NAN;
    ck_assert(noise_floor_get(&noise_floor, &db));
    return db;
}

static void steps(double seconds, float db, bool sung) {
    for (int k = 0; k < (int)lround(seconds * STEPS); k++)
        noise_floor_step(&noise_floor, db, sung);
}

START_TEST(it_is_unknown_until_a_whole_stretch_was_heard) {
    noise_floor_prepare(&noise_floor, STEPS);
    float db;
    for (int k = 0; k < NOISE_FLOOR_STRETCH; k++) {
        ck_assert(!noise_floor_get(&noise_floor, &db));
        noise_floor_step(&noise_floor, -60.0f, false);
    }
    ck_assert_float_eq(level(), -60.0f);
}
END_TEST

START_TEST(it_stays_where_it_was_however_long_a_phrase_is) {
    noise_floor_prepare(&noise_floor, STEPS);
    steps(1.0, -70.0f, false);
    steps(60.0, -20.0f, true);
    ck_assert_float_eq(level(), -70.0f);
    steps(1.2, -40.0f, false); /* a long breath: the window still holds the room */
    ck_assert_float_eq(level(), -70.0f);
}
END_TEST

START_TEST(it_falls_within_a_stretch_and_three_time_constants) {
    noise_floor_prepare(&noise_floor, STEPS);
    steps(1.0, -50.0f, false);
    steps(NOISE_FLOOR_STRETCH / STEPS + 0.12, -80.0f, false);
    /* 3 time constants of 40 ms: exp(-3) of 30 dB left */
    ck_assert_float_le(level(), -80.0f + 30.0f * 0.0498f + 0.3f);
}
END_TEST

START_TEST(it_falls_while_singing_too) {
    noise_floor_prepare(&noise_floor, STEPS);
    steps(1.0, -50.0f, false);
    steps(0.5, -80.0f, true);
    ck_assert_float_le(level(), -79.0f);
}
END_TEST

START_TEST(a_dip_shorter_than_a_stretch_is_none) {
    noise_floor_prepare(&noise_floor, STEPS);
    for (int k = 0; k < 100; k++) {
        steps(0.3, -60.0f, false);
        for (int i = 0; i < NOISE_FLOOR_STRETCH - 1; i++)
            noise_floor_step(&noise_floor, -120.0f, false);
    }
    ck_assert_float_eq(level(), -60.0f);
}
END_TEST

START_TEST(a_louder_room_is_learnt_after_the_window_at_ten_db_a_second) {
    noise_floor_prepare(&noise_floor, STEPS);
    steps(3.0, -70.0f, false);
    steps(1.7, -40.0f, false);
    ck_assert_float_eq(level(), -70.0f); /* the window is 2 s, in parts of 0.25 s */
    steps(0.6, -40.0f, false);
    float at = level();
    ck_assert_float_gt(at, -70.0f);
    steps(1.0, -40.0f, false);
    ck_assert_float_eq_tol(level() - at, 10.0f, 0.2f);
    steps(3.0, -40.0f, false);
    ck_assert_float_eq_tol(level(), -40.0f, 1e-3f);
}
END_TEST

START_TEST(steady_noise_has_its_floor_near_its_mean) {
    /* Levels of a hop fluctuate by 1.5 dB, neighbours alike, as smoothed noise does. */
    Random random = random_seeded(131);
    printf("seed 131\n");
    noise_floor_prepare(&noise_floor, STEPS);
    double wander = 0.0;
    for (int k = 0; k < 5000; k++) {
        wander = 0.75 * wander + random_normal(&random) * 1.5 * sqrt(1.0 - 0.75 * 0.75);
        noise_floor_step(&noise_floor, (float)(-60.0 + wander), false);
        if (k > 500)
            ck_assert_double_eq_tol((double)level(), -60.0, 3.0);
    }
}
END_TEST

START_TEST(levels_may_be_shifted_together) {
    Random random = random_seeded(132);
    printf("seed 132\n");
    NoiseFloor other;
    noise_floor_prepare(&noise_floor, STEPS);
    noise_floor_prepare(&other, STEPS);
    for (int k = 0; k < 3000; k++) {
        float db = (float)random_range(&random, -80.0, -20.0);
        bool sung = random_unit(&random) < 0.5;
        float a, b;
        noise_floor_step(&noise_floor, db, sung);
        noise_floor_step(&other, db + 32.0f, sung);
        if (noise_floor_get(&noise_floor, &a) && noise_floor_get(&other, &b))
            ck_assert_float_eq_tol(b - a, 32.0f, 1e-3f);
    }
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("noise_floor");
    tcase_add_test(tcase, it_is_unknown_until_a_whole_stretch_was_heard);
    tcase_add_test(tcase, it_stays_where_it_was_however_long_a_phrase_is);
    tcase_add_test(tcase, it_falls_within_a_stretch_and_three_time_constants);
    tcase_add_test(tcase, it_falls_while_singing_too);
    tcase_add_test(tcase, a_dip_shorter_than_a_stretch_is_none);
    tcase_add_test(tcase, a_louder_room_is_learnt_after_the_window_at_ten_db_a_second);
    tcase_add_test(tcase, steady_noise_has_its_floor_near_its_mean);
    tcase_add_test(tcase, levels_may_be_shifted_together);
    return run_tcase(tcase, "noise_floor");
}
