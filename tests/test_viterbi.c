/* SPDX-License-Identifier: ISC */
#include "basic/viterbi.h"
#include "run_tcase.h"
#include "signals.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

enum { SHORT = 8, STATES = VITERBI_STATES };
static const float COST[STATES][STATES] = {{0.0f, 1.0f, 2.5f, 2.0f},
                                           {1.0f, 0.0f, 1.5f, 1.2f},
                                           {2.5f, 1.5f, 0.0f, 0.7f},
                                           {2.0f, 1.2f, 0.7f, 0.0f}};
static Viterbi path;

/* The state at step `wanted` of the best of all sequences of n states, found by trying every one:
 * each run of state 0 lasts at least `least` steps, and before the first step is state 1. */
static unsigned tried(float e[][STATES], size_t n, size_t least, size_t wanted) {
    double best = -INFINITY;
    unsigned answer = 0;
    for (unsigned code = 0; code < 1u << (2 * n); code++) {
        double score = 0.0;
        unsigned before = 1, state = 1;
        size_t run = least; /* of state 0; whole while there is none */
        for (size_t t = 0; t < n; t++, before = state) {
            state = code >> (2 * t) & 3u;
            if (state != before && before == 0 && run < least)
                score = -INFINITY;
            run = state != 0 ? least : before == 0 && t > 0 ? run + 1 : 1;
            score += (double)e[t][state] - (double)COST[before][state];
        }
        if (run >= least && score > best) {
            best = score;
            answer = code >> (2 * wanted) & 3u;
        }
    }
    return answer;
}

START_TEST(it_finds_the_best_of_all_sequences) {
    Random random = random_seeded(161);
    printf("seed 161\n");
    for (size_t least = 1; least <= 3; least++)
        for (int trial = 0; trial < 25; trial++) {
            float e[SHORT][STATES];
            size_t lag = 3 + random_below(&random, SHORT - 3);
            unsigned state = 9;
            viterbi_prepare(&path, COST);
            viterbi_set(&path, least, lag);
            for (size_t t = 0; t < SHORT; t++) {
                for (int j = 0; j < STATES; j++)
                    e[t][j] = (float)random_range(&random, -3.0, 0.0);
                state = viterbi_step(&path, e[t]);
            }
            ck_assert_uint_eq(state, tried(e, SHORT, least, SHORT - 1 - lag));
        }
}
END_TEST

/* Feeds `n` steps in which `state` is likelier than the others by `nats`. */
static void feed(size_t n, unsigned state, float nats, size_t counts[STATES]) {
    float e[STATES];
    for (unsigned j = 0; j < STATES; j++)
        e[j] = j == state ? 0.0f : -nats;
    for (size_t t = 0; t < n; t++)
        counts[viterbi_step(&path, e)]++;
}

START_TEST(plain_evidence_is_followed_exactly_one_lag_late) {
    size_t counts[STATES] = {0};
    viterbi_prepare(&path, COST);
    viterbi_set(&path, 10, 20);
    feed(30, 1, 5.0f, counts);
    feed(40, 0, 5.0f, counts);
    feed(50, 2, 5.0f, counts);
    feed(20, 1, 5.0f, counts); /* as much again as the lag */
    ck_assert_uint_eq(counts[0], 40);
    ck_assert_uint_eq(counts[2], 50);
    ck_assert_uint_eq(counts[1], 50);
}
END_TEST

START_TEST(a_run_of_state_0_shorter_than_the_least_is_not_taken) {
    size_t counts[STATES] = {0};
    viterbi_prepare(&path, COST);
    viterbi_set(&path, 10, 20);
    feed(50, 1, 5.0f, counts);
    feed(4, 0, 5.0f, counts); /* to take it would cost 6 steps of 5 nats, not to 4 */
    feed(50, 1, 5.0f, counts);
    ck_assert_uint_eq(counts[0], 0);
}
END_TEST

START_TEST(a_moment_of_doubt_does_not_break_a_run) {
    size_t counts[STATES] = {0};
    viterbi_prepare(&path, COST);
    viterbi_set(&path, 10, 20);
    feed(50, 1, 2.0f, counts);
    feed(20, 0, 2.0f, counts);
    feed(1, 3, 2.0f, counts); /* 2 nats against a cost of 4 for there and back */
    feed(20, 0, 2.0f, counts);
    feed(50, 1, 2.0f, counts);
    ck_assert_uint_eq(counts[0], 41);
    ck_assert_uint_eq(counts[3], 0);
}
END_TEST

START_TEST(it_goes_on_for_hours) {
    /* Sums grow to -1e7 nats; in double a nat there still has eight digits. */
    size_t counts[STATES] = {0};
    viterbi_prepare(&path, COST);
    viterbi_set(&path, 10, 20);
    path.state.sum = -1e7;
    for (int j = 0; j < STATES; j++)
        path.state.score[j] -= 1e7;
    for (int k = 0; k < 1000; k++) {
        feed(100, 1, 1.0f, counts);
        feed(50, 0, 1.0f, counts);
    }
    ck_assert_uint_ge(counts[0], 50000 - 20);
    ck_assert_uint_le(counts[0], 50000);
}
END_TEST

START_TEST(least_and_lag_may_change_on_the_way) {
    Random random = random_seeded(162);
    printf("seed 162\n");
    viterbi_prepare(&path, COST);
    for (int t = 0; t < 20000; t++) {
        if (t % 100 == 0) {
            size_t least = 1 + random_below(&random, 100);
            viterbi_set(&path, least, least + random_below(&random, 20));
        }
        float e[STATES];
        for (int j = 0; j < STATES; j++)
            e[j] = (float)random_range(&random, -1.0, 0.0);
        ck_assert_uint_lt(viterbi_step(&path, e), STATES);
    }
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("viterbi");
    tcase_set_timeout(tcase, 60.0);
    tcase_add_test(tcase, it_finds_the_best_of_all_sequences);
    tcase_add_test(tcase, plain_evidence_is_followed_exactly_one_lag_late);
    tcase_add_test(tcase, a_run_of_state_0_shorter_than_the_least_is_not_taken);
    tcase_add_test(tcase, a_moment_of_doubt_does_not_break_a_run);
    tcase_add_test(tcase, it_goes_on_for_hours);
    tcase_add_test(tcase, least_and_lag_may_change_on_the_way);
    return run_tcase(tcase, "viterbi");
}
