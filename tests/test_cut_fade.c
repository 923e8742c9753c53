/* SPDX-License-Identifier: ISC */
#include "gain/cut_fade.h"
#include "run_tcase.h"
#include "signals.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

enum { RATE = 48000, LENGTH = 96000 };
static float gain[LENGTH], again[LENGTH];
static const CutFadeParams usual = {.floor_db = -60.0f, .fade_in_ms = 12.0f, .fade_out_ms = 80.0f};

static CutFade fresh(const CutFadeParams *params) {
    CutFade fade;
    cut_fade_prepare(&fade, RATE);
    cut_fade_set(&fade, params);
    return fade;
}

/* By the header's formula, with the floor of `usual`; 4e-7: six float roundings. */
static void expect_position(int i, double p) {
    ck_assert_double_eq_tol((double)gain[i], 0.001 + 0.999 * p * p * (3.0 - 2.0 * p), 4e-7);
}

START_TEST(fades_are_the_hermite_step_of_the_length_asked_for) {
    CutFade fade = fresh(&usual);
    cut_fade_open(&fade, 576);
    cut_fade_process(&fade, gain, 1000);
    cut_fade_close(&fade, 0);
    cut_fade_process(&fade, gain + 1000, 5000);
    const double floor = 0.001;
    for (int i = 0; i < 6000; i++) {
        /* 12 ms are 576 frames, 80 ms 3840; the first frame has made one step. */
        double p = i < 1000 ? fmin(1.0, (i + 1) / 576.0) : fmax(0.0, 1.0 - (i - 999) / 3840.0);
        expect_position(i, p);
        /* A raised cosine, as promised: the largest difference is 0.0100 (by calculus). */
        double cosine = floor + (1.0 - floor) * (0.5 - 0.5 * cos(3.14159265358979 * p));
        ck_assert_double_eq_tol((double)gain[i], cosine, 0.0101);
    }
}
END_TEST

START_TEST(with_little_time_left_it_arrives_just_in_time) {
    CutFade fade = fresh(&usual);
    cut_fade_open(&fade, 256);
    cut_fade_process(&fade, gain, 255);
    ck_assert_float_lt(gain[254], 1.0f);
    ck_assert_float_gt(gain[254], 0.999f);
    cut_fade_process(&fade, gain, 2);
    ck_assert_double_eq_tol((double)gain[0], 1.0, 1e-6);
    ck_assert_float_eq(gain[1], 1.0f);
}
END_TEST

START_TEST(with_time_to_spare_it_begins_late_and_arrives_just_in_time) {
    /* Told once a hop, as a caller does: 1000 frames ahead, a fade of 576. */
    CutFade fade = fresh(&usual);
    for (size_t at = 0; at < 1000; at += 100) {
        cut_fade_open(&fade, 1000 - at);
        cut_fade_process(&fade, gain + at, 100);
    }
    ck_assert_float_eq(gain[1000 - 576 - 1], gain[0]); /* not yet */
    for (int i = 1000 - 576; i < 1000; i++)
        expect_position(i, (i - (1000 - 576) + 1) / 576.0);
}
END_TEST

START_TEST(it_closes_from_the_frame_asked_for_however_often_it_is_told) {
    CutFade fade = fresh(&usual);
    cut_fade_open(&fade, 1);
    cut_fade_process(&fade, gain, 1000);
    for (size_t at = 0; at < 1000; at += 100) {
        cut_fade_close(&fade, 130);
        cut_fade_process(&fade, gain + at, 100);
    }
    ck_assert_float_eq(gain[129], 1.0f);
    for (int i = 130; i < 1000; i++)
        expect_position(i, 1.0 - (i - 129) / 3840.0);
}
END_TEST

START_TEST(at_rest_open_is_exactly_1_and_so_is_a_floor_of_0_db) {
    CutFade fade = fresh(&usual);
    cut_fade_open(&fade, 100);
    cut_fade_process(&fade, gain, 200);
    ck_assert_float_eq(cut_fade_process(&fade, gain, 100), 1.0f);
    for (int i = 0; i < 100; i++)
        ck_assert_float_eq(gain[i], 1.0f);
    CutFade none = fresh(&(CutFadeParams){0.0f, 12.0f, 80.0f});
    for (int k = 0; k < 50; k++) {
        if (k % 2)
            cut_fade_open(&none, 1000);
        else
            cut_fade_close(&none, 100);
        ck_assert_float_eq(cut_fade_process(&none, gain, 333), 1.0f);
    }
}
END_TEST

START_TEST(cut_at_rest_is_the_floor_from_the_first_frame) {
    CutFade fade = fresh(&usual);
    float least = cut_fade_process(&fade, gain, 100);
    ck_assert_double_eq_tol((double)least, 0.001, 0x1p-23); /* two roundings near 1 */
    for (int i = 0; i < 100; i++)
        ck_assert_float_eq(gain[i], least);
}
END_TEST

/* 1e-7 of the way is e^-16: 0.16 s and a little. */
START_TEST(a_new_floor_is_reached_exactly_at_every_rate) {
    const double rates[] = {8000.0, 48000.0, 192000.0};
    const float floors_db[] = {0.0f, -0.5f, -6.0f, -60.0f};
    for (size_t i = 0; i < 3; i++)
        for (size_t k = 0; k < 4; k++) {
            CutFade fade, there;
            CutFadeParams params = {k ? 0.0f : -60.0f, 12.0f, 80.0f};
            cut_fade_prepare(&fade, rates[i]);
            cut_fade_set(&fade, &params);
            cut_fade_process(&fade, gain, 10);
            params.floor_db = floors_db[k];
            cut_fade_set(&fade, &params);
            cut_fade_process(&fade, gain, (size_t)(0.2 * rates[i]));
            cut_fade_prepare(&there, rates[i]);
            cut_fade_set(&there, &params);
            float right = cut_fade_process(&there, gain, 1);
            ck_assert_float_eq(cut_fade_process(&fade, gain, 1), right);
            ck_assert(k || right == 1.0f);
        }
}
END_TEST

START_TEST(no_step_is_larger_than_the_fastest_fade_allows) {
    /* The step 3p^2 - 2p^3 is steepest at 1/2: 1.5 times the mean slope. The floor may glide at the
     * same time: (1 - 0) (1 - exp(-1/480)) a frame at most. */
    Random random = random_seeded(101);
    printf("seed 101\n");
    CutFade fade = fresh(&usual);
    float last = 0.001f;
    /* The fastest of either: 5 ms out, 240 frames. */
    const double most = 1.5 / 240.0 + 1.0 / 480.0;
    double worst = 0.0;
    bool within = true;
    for (int k = 0; k < 3000; k++) {
        if (random_unit(&random) < 0.5)
            cut_fade_open(&fade, 256 + random_below(&random, 1000));
        else
            cut_fade_close(&fade, random_below(&random, 300));
        if (random_unit(&random) < 0.1)
            cut_fade_set(&fade, &(CutFadeParams){(float)random_range(&random, -90.0, 0.0), 12.0f,
                                                 (float)random_range(&random, 5.0, 500.0)});
        size_t n = random_below(&random, 600);
        cut_fade_process(&fade, gain, n);
        for (size_t i = 0; i < n; i++) {
            worst = fmax(worst, fabs((double)(gain[i] - last)));
            within &= gain[i] >= 0.0f && gain[i] <= 1.0f;
            last = gain[i];
        }
    }
    ck_assert_double_le(worst, most);
    ck_assert(within);
}
END_TEST

START_TEST(cutting_changes_no_bit) {
    Random random = random_seeded(102);
    printf("seed 102\n");
    for (int pass = 0; pass < 2; pass++) {
        CutFade fade = fresh(&usual);
        float *to = pass ? again : gain;
        for (size_t hop = 0; hop < LENGTH / 256; hop++) {
            if ((hop / 7) % 5 == 1) /* the rest is long enough to close */
                cut_fade_open(&fade, 256 * (7 - hop % 7));
            else
                cut_fade_close(&fade, 77);
            for (size_t at = 0; at < 256;) {
                size_t n = pass ? random_below(&random, 256 - at + 1) : 256;
                cut_fade_process(&fade, to + 256 * hop + at, n);
                at += n;
            }
        }
    }
    ck_assert(signals_same_bits(gain, again, LENGTH));
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("cut_fade");
    tcase_add_test(tcase, fades_are_the_hermite_step_of_the_length_asked_for);
    tcase_add_test(tcase, with_little_time_left_it_arrives_just_in_time);
    tcase_add_test(tcase, with_time_to_spare_it_begins_late_and_arrives_just_in_time);
    tcase_add_test(tcase, it_closes_from_the_frame_asked_for_however_often_it_is_told);
    tcase_add_test(tcase, at_rest_open_is_exactly_1_and_so_is_a_floor_of_0_db);
    tcase_add_test(tcase, cut_at_rest_is_the_floor_from_the_first_frame);
    tcase_add_test(tcase, a_new_floor_is_reached_exactly_at_every_rate);
    tcase_add_test(tcase, no_step_is_larger_than_the_fastest_fade_allows);
    tcase_add_test(tcase, cutting_changes_no_bit);
    return run_tcase(tcase, "cut_fade");
}
