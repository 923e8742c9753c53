/* SPDX-License-Identifier: ISC */
#include "run_tcase.h"
#include "sound/random_walk.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

enum { WALKS = 20000, STEPS_HZ = 1000 };
static const double TAU_MS = 100.0;

static RandomWalk made(uint64_t seed) {
    RandomWalk walk;
    random_walk_prepare(&walk, TAU_MS, STEPS_HZ, seed);
    return walk;
}

/* Over many walks, not over time, so that all are independent: a mean of products strays by
 * sqrt((1 + r^2) / WALKS), a hundredth at the most; 5 of these. */
START_TEST(it_keeps_to_the_law_of_its_header_from_the_first_step_on) {
    static const int steps[] = {0, 20, 50, 100, 200, 400};
    for (int s = 0; s < 6; s++) {
        double mean = 0.0, both = 0.0, square = 0.0, t = steps[s] / TAU_MS;
        for (uint64_t k = 0; k < WALKS; k++) {
            RandomWalk walk = made(k);
            double begun = walk.state.value;
            for (int i = 0; i < steps[s]; i++)
                random_walk_step(&walk);
            mean += walk.state.value / WALKS;
            both += begun * walk.state.value / WALKS;
            square += walk.state.value * walk.state.value / WALKS;
        }
        double law = (1.0 + t) * exp(-t);
        printf("after %.1f tau: mean %+.3f, power %.3f, likeness %.3f, law %.3f\n", t, mean, square,
               both, law);
        ck_assert_double_le(fabs(mean), 5.0 * sqrt(1.0 / WALKS));
        ck_assert_double_le(fabs(square - 1.0), 5.0 * sqrt(2.0 / WALKS));
        ck_assert_double_le(fabs(both - law), 5.0 * sqrt((1.0 + law * law) / WALKS));
    }
}
END_TEST

START_TEST(it_never_leaves_its_bounds_and_never_jumps) {
    RandomWalk walk = made(7);
    double last = random_walk_step(&walk), highest = 0.0, steepest = 0.0;
    for (int i = 0; i < 1000000; i++) {
        double now = random_walk_step(&walk);
        highest = fmax(highest, fabs(now));
        steepest = fmax(steepest, fabs(now - last));
        last = now;
    }
    ck_assert_double_eq(highest, RANDOM_WALK_MOST);
    /* its slope has a deviation of a hundredth a step: 6 of these within a million */
    ck_assert_double_le(steepest, 0.06);
}
END_TEST

START_TEST(a_seed_gives_one_walk_after_every_reset_and_another_seed_another) {
    RandomWalk walk = made(3), same = made(3), other = made(4);
    double like = 0.0;
    enum { N = 200000 };
    for (int i = 0; i < 777; i++)
        random_walk_step(&walk);
    random_walk_reset(&walk);
    for (int i = 0; i < N; i++) {
        double x = random_walk_step(&walk);
        ck_assert(x == random_walk_step(&same));
        like += x * random_walk_step(&other) / N;
    }
    /* the sum of the squared law over all lags is 2.5 tau each way: 5 sqrt(5 tau / N) */
    ck_assert_double_le(fabs(like), 5.0 * sqrt(5.0 * TAU_MS / N));
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("random_walk");
    tcase_add_test(tcase, it_keeps_to_the_law_of_its_header_from_the_first_step_on);
    tcase_add_test(tcase, it_never_leaves_its_bounds_and_never_jumps);
    tcase_add_test(tcase, a_seed_gives_one_walk_after_every_reset_and_another_seed_another);
    tcase_set_timeout(tcase, 60);
    return run_tcase(tcase, "random_walk");
}
