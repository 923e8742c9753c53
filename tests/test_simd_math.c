/* SPDX-License-Identifier: ISC */
#include "basic/decibel.h"
#include "basic/simd_math.h"
#include "run_tcase.h"
#include "signals.h"

#include <check.h>
#include <math.h>
#include <stdio.h>

static void same(float a, float b) {
    ck_assert(signals_same_bits(&a, &b, 1));
}

/* Every lane, from the smallest normal number to the largest. */
START_TEST(logarithms_are_those_of_decibel) {
    Random random = random_seeded(31);
    printf("seed 31\n");
    for (int i = 0; i < 100000; i++) {
        float x[4], y[4];
        for (int k = 0; k < 4; k++)
            x[k] = (float)exp2(random_range(&random, -126.0, 127.9));
        simd_store(y, simd_fast_log2(simd_load(x)));
        for (int k = 0; k < 4; k++)
            same(y[k], decibel_fast_log2(x[k]));
    }
}
END_TEST

/* Beyond what is clamped, too. */
START_TEST(exponentials_are_those_of_decibel) {
    Random random = random_seeded(32);
    printf("seed 32\n");
    for (int i = 0; i < 100000; i++) {
        float x[4], y[4];
        for (int k = 0; k < 4; k++)
            x[k] = (float)random_range(&random, -140.0, 140.0);
        simd_store(y, simd_fast_exp2(simd_load(x)));
        for (int k = 0; k < 4; k++)
            same(y[k], decibel_fast_exp2(x[k]));
    }
    same(simd_fast_exp2(simd_all(0.0f))[2], 1.0f);
}
END_TEST

START_TEST(choices_take_each_lane_by_itself) {
    const Simd x = {-1.0f, 0.0f, 2.0f, 3.0f}, limit = {0.0f, -0.5f, 2.0f, 4.0f};
    const float least[] = {0.0f, 0.0f, 2.0f, 4.0f}, most[] = {-1.0f, -0.5f, 2.0f, 3.0f};
    float y[4];
    simd_store(y, simd_at_least(x, limit));
    ck_assert(signals_same_bits(y, least, 4));
    simd_store(y, simd_at_most(x, limit));
    ck_assert(signals_same_bits(y, most, 4));
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("simd_math");
    tcase_add_test(tcase, logarithms_are_those_of_decibel);
    tcase_add_test(tcase, exponentials_are_those_of_decibel);
    tcase_add_test(tcase, choices_take_each_lane_by_itself);
    tcase_set_timeout(tcase, 60);
    return run_tcase(tcase, "simd_math");
}
