/* SPDX-License-Identifier: ISC */
#include "run_tcase.h"
#include "sound/slow_turns.h"

#include <check.h>
#include <math.h>
#include <stdio.h>

static const double STEPS_HZ = 960.0;

START_TEST(it_moves_at_an_even_pace_and_stays_within_its_bounds) {
    SlowTurns turns;
    slow_turns_prepare(&turns, STEPS_HZ, 7);
    const int steps = 1000000;
    double even = 0.0, last = 0.0, most = 0.0;
    for (int k = 0; k < steps; k++) {
        double value = slow_turns_step(&turns, 1.0);
        even += fabs(fabs(value - last) * STEPS_HZ - 1.0) < 0.1 ? 1.0 / steps : 0.0;
        most = fmax(most, fabs(value));
        last = value;
    }
    printf("even %.2f of the time, within %.3f\n", even, most);
    /* From 1 to -0.9 of the pace it takes 3 of 60 ms, of 1.5 s between two turns in the mean. */
    ck_assert_double_ge(even, 0.85);
    ck_assert(most > 0.95 && most < 1.0 + SLOW_TURNS_TURN_MS / 1000.0);
}
END_TEST

/* An even vibrato is heard as such. The way from turn to turn is the sum of two places, each
 * uniform between a half and 1: its deviation is sqrt(2 / 12) / 2, 0.2 of 1.5. */
START_TEST(its_turns_are_not_even) {
    SlowTurns turns;
    slow_turns_prepare(&turns, STEPS_HZ, 8);
    double sum = 0.0, square = 0.0, last = 0.0, lasted = 0.0;
    int n = 0;
    for (int k = 0; k < 2000000; k++) {
        double side = turns.state.turn;
        slow_turns_step(&turns, 1.0);
        if (side * turns.state.turn > 0.0)
            continue;
        lasted = k / STEPS_HZ - last;
        last = k / STEPS_HZ;
        sum += lasted, square += lasted * lasted, n++;
    }
    double mean = sum / n, spread = sqrt(square / n - mean * mean);
    printf("turns %.2f s apart, spread %.2f s\n", mean, spread);
    ck_assert(mean > 1.2 && mean < 1.8);
    ck_assert_double_ge(spread, 0.11 * mean);
}
END_TEST

START_TEST(a_seed_gives_the_same_path_after_a_reset_and_another_a_different_one) {
    SlowTurns turns, same, other;
    slow_turns_prepare(&turns, STEPS_HZ, 1);
    slow_turns_prepare(&same, STEPS_HZ, 1);
    slow_turns_prepare(&other, STEPS_HZ, 2);
    for (int k = 0; k < 5000; k++)
        slow_turns_step(&turns, 1.0);
    slow_turns_reset(&turns);
    double apart = 0.0;
    for (int k = 0; k < 5000; k++) {
        double x = slow_turns_step(&turns, 1.0);
        ck_assert(x == slow_turns_step(&same, 1.0));
        apart = fmax(apart, fabs(x - slow_turns_step(&other, 1.0)));
    }
    ck_assert_double_gt(apart, 0.1);
}
END_TEST

START_TEST(without_a_pace_it_rests) {
    SlowTurns turns;
    slow_turns_prepare(&turns, STEPS_HZ, 3);
    for (int k = 0; k < 1000; k++)
        ck_assert_double_eq(slow_turns_step(&turns, 0.0), 0.0);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("slow_turns");
    tcase_add_test(tcase, it_moves_at_an_even_pace_and_stays_within_its_bounds);
    tcase_add_test(tcase, its_turns_are_not_even);
    tcase_add_test(tcase, a_seed_gives_the_same_path_after_a_reset_and_another_a_different_one);
    tcase_add_test(tcase, without_a_pace_it_rests);
    return run_tcase(tcase, "slow_turns");
}
