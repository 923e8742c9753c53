/* SPDX-License-Identifier: ISC */
#include "run_tcase.h"
#include "signals.h"
#include "sound/kept_level.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

enum { RATE = 48000, TICK = 50, LENGTH = RATE };
static float cut_from[LENGTH], made[LENGTH];
static KeptLevel level;

/* In pieces of up to `most` frames. */
static void run(const float *from, float *to, size_t most) {
    kept_level_prepare(&level, RATE, TICK);
    for (size_t at = 0, n; at < LENGTH; at += n) {
        n = TICK - level.state.filled;
        n = n < most ? n : most;
        kept_level_process(&level, (const float *const[]){from + at}, (float *const[]){to + at}, 1,
                           n);
    }
}

static void noise(float *to, uint64_t seed) {
    Random random = random_seeded(seed);
    for (size_t t = 0; t < LENGTH; t++)
        to[t] = (float)(0.1 * random_normal(&random));
}

START_TEST(what_was_not_moved_passes_bit_for_bit) {
    noise(cut_from, 1);
    memcpy(made, cut_from, sizeof made);
    run(cut_from, made, TICK);
    ck_assert(signals_same_bits(made, cut_from, LENGTH));
}
END_TEST

/* The ratio of two powers that forget alike is right from the first tick on: one tick goes by
 * unknown, and one is the way to the gain. */
START_TEST(what_is_lost_is_given_back_from_the_start_and_no_more_than_6_db) {
    static const float lost[] = {0.6f, 1.5f, 0.1f};
    for (int k = 0; k < 3; k++) {
        noise(cut_from, 2);
        for (size_t t = 0; t < LENGTH; t++)
            made[t] = lost[k] * cut_from[t];
        run(cut_from, made, TICK);
        double db = signals_rms_db(made + (size_t)2 * TICK, 960) -
                    signals_rms_db(cut_from + (size_t)2 * TICK, 960);
        double left = k == 2 ? -14.0 : 0.0;
        printf("%g times: %.3f dB\n", (double)lost[k], db);
        ck_assert_double_eq_tol(db, left, 0.05);
    }
}
END_TEST

/* A tone's power goes up and down at twice its pitch: after two poles of 10 ms, of 2 x 100 Hz,
 * 1 / (1 + 12.6^2) of it is left, 0.6 %, 0.03 dB. */
START_TEST(within_a_period_the_gain_keeps_still) {
    for (size_t t = 0; t < LENGTH; t++) {
        cut_from[t] = (float)(0.3 * sin(2.0 * 3.14159265358979 * 100.0 * (double)t / RATE));
        made[t] = (float)(0.2 * sin(2.0 * 3.14159265358979 * 126.0 * (double)t / RATE));
    }
    double least = 99.0, most = -99.0;
    static float was[LENGTH];
    memcpy(was, made, sizeof was);
    run(cut_from, made, TICK);
    for (size_t t = RATE / 4; t < LENGTH; t++)
        if (fabsf(was[t]) > 0.1f) {
            double db = 20.0 * log10((double)made[t] / (double)was[t]);
            least = fmin(least, db), most = fmax(most, db);
        }
    printf("%.3f to %.3f dB\n", least, most);
    ck_assert_double_eq_tol(least, 3.52, 0.07);
    ck_assert_double_eq_tol(most, 3.52, 0.07);
}
END_TEST

START_TEST(what_is_made_otherwise_is_not_turned_up_for_what_was) {
    noise(cut_from, 5);
    for (size_t t = 0; t < LENGTH; t++)
        made[t] = (t < LENGTH / 2 ? 0.6f : 1.0f) * cut_from[t];
    kept_level_prepare(&level, RATE, TICK);
    for (size_t at = 0; at < LENGTH; at += TICK) {
        if (at == LENGTH / 2)
            kept_level_trust(&level);
        kept_level_process(&level, (const float *const[]){cut_from + at},
                           (float *const[]){made + at}, 1, TICK);
    }
    /* the tick it is told in has the gain that was, and the next is the way to 1 */
    for (size_t t = LENGTH / 2 + (size_t)2 * TICK; t < LENGTH; t++)
        ck_assert_float_eq_tol(made[t], cut_from[t], 1e-4f);
}
END_TEST

START_TEST(blocks_do_not_matter_and_bursts_are_forgotten) {
    static float other[LENGTH];
    noise(cut_from, 3);
    noise(made, 4);
    cut_from[1000] = 1e30f;
    memcpy(other, made, sizeof other);
    run(cut_from, made, TICK);
    run(cut_from, other, 7);
    ck_assert(signals_same_bits(made, other, LENGTH));
    ck_assert_double_eq_tol(signals_rms_db(made + LENGTH / 2, LENGTH / 2), -20.0, 0.3);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("kept_level");
    tcase_add_test(tcase, what_was_not_moved_passes_bit_for_bit);
    tcase_add_test(tcase, what_is_lost_is_given_back_from_the_start_and_no_more_than_6_db);
    tcase_add_test(tcase, within_a_period_the_gain_keeps_still);
    tcase_add_test(tcase, what_is_made_otherwise_is_not_turned_up_for_what_was);
    tcase_add_test(tcase, blocks_do_not_matter_and_bursts_are_forgotten);
    return run_tcase(tcase, "kept_level");
}
