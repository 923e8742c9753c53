/* SPDX-License-Identifier: ISC */
#include "detect/click_judge.h"
#include "run_tcase.h"
#include "signals.h"

#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Features drawn from where events have them, but after a closure, so that what is no sum
 * stays out of it. */
static void draw(float feature[CLICK_FEATURES], Random *random) {
    for (size_t k = 0; k < CLICK_FEATURES; k++)
        feature[k] = (float)random_range(random, -20.0, 40.0);
    feature[CLICK_CLOSURE] = 40.0f;
}

START_TEST(evidence_of_features_adds_up) {
    Random random = random_seeded(71);
    for (int trial = 0; trial < 200; trial++) {
        float none[CLICK_FEATURES], one[CLICK_FEATURES], two[CLICK_FEATURES], both[CLICK_FEATURES];
        draw(none, &random);
        memcpy(one, none, sizeof one);
        memcpy(two, none, sizeof two);
        memcpy(both, none, sizeof both);
        size_t i = random_below(&random, CLICK_FEATURES), k = random_below(&random, CLICK_FEATURES);
        if (i == k || i == CLICK_CLOSURE || k == CLICK_CLOSURE)
            continue;
        one[i] = both[i] = (float)random_range(&random, -20.0, 40.0);
        two[k] = both[k] = (float)random_range(&random, -20.0, 40.0);
        double base = (double)click_judge(none);
        double apart = ((double)click_judge(one) - base) + ((double)click_judge(two) - base);
        ck_assert_double_eq_tol((double)click_judge(both) - base, apart, 1e-4);
    }
}
END_TEST

START_TEST(no_outlier_outvotes_the_rest) {
    Random random = random_seeded(72);
    float feature[CLICK_FEATURES];
    draw(feature, &random);
    for (size_t k = 0; k < CLICK_FEATURES; k++) {
        float kept = feature[k];
        const float far[] = {100.0f, 1e6f, 1e30f};
        for (int sign = -1; sign <= 1; sign += 2) {
            feature[k] = (float)sign * far[0];
            float there = click_judge(feature);
            for (size_t f = 1; f < 3; f++) {
                feature[k] = (float)sign * far[f];
                ck_assert_float_eq(click_judge(feature), there);
            }
        }
        feature[k] = kept;
    }
}
END_TEST

START_TEST(evidence_has_no_jumps) {
    Random random = random_seeded(73);
    float feature[CLICK_FEATURES];
    draw(feature, &random);
    for (size_t k = 0; k < CLICK_FEATURES; k++) {
        float kept = feature[k], before = NAN;
        for (int step = -8000; step <= 8000; step++) {
            feature[k] = 0.01f * (float)step;
            float now = click_judge(feature);
            /* Steepest where two knots are less than half a dB apart: a few nats a dB. */
            if (step > -8000)
                ck_assert_float_le(fabsf(now - before), 0.05f);
            before = now;
        }
        feature[k] = kept;
    }
}
END_TEST

/* Which way each of these points is no matter of fitting: it follows from what a click is. */
START_TEST(what_a_click_is_decides_which_way_the_evidence_points) {
    const struct {
        ClickFeature feature;
        float less, more; /* like a click */
    } facts[] = {
        {CLICK_SECOND, 3.0f, 30.0f},       /* it stands out */
        {CLICK_UPPER, 30.0f, 3.0f},        /* not in all bands alike */
        {CLICK_FAR_CHANGE, 30.0f, 0.0f},   /* its sides are alike */
        {CLICK_STEP, 22.0f, 0.0f},         /* nothing begins with it */
        {CLICK_LOW_CHANGE, 22.0f, 0.0f},   /* nor below it */
        {CLICK_LOW_PEAK, 20.0f, 0.0f},     /* no pulse of the voice is under it */
        {CLICK_RIVAL, -1.0f, -30.0f},      /* it comes alone */
        {CLICK_OVER_AFTER, -10.0f, 20.0f}, /* nothing as high follows */
        {CLICK_LENGTH, 22.0f, 4.0f},       /* it is short */
        {CLICK_OVER_VOICE, 10.0f, -40.0f}, /* and small */
    };
    float feature[CLICK_FEATURES] = {0.0f};
    for (size_t k = 0; k < sizeof facts / sizeof *facts; k++) {
        feature[facts[k].feature] = facts[k].less;
        float less = click_judge(feature);
        feature[facts[k].feature] = facts[k].more;
        ck_assert_float_gt(click_judge(feature), less);
        feature[facts[k].feature] = 0.0f;
    }
}
END_TEST

START_TEST(what_rises_out_of_a_sound_and_falls_back_to_it_is_no_plosive) {
    /* A loud click in a breath; and one thing otherwise, so that it might be a burst. */
    const float breath[CLICK_FEATURES] = {
        [CLICK_OVER_BEFORE] = 24.0f, [CLICK_OVER_AFTER] = 24.0f, [CLICK_STEP] = 1.0f,
        [CLICK_FAR_CHANGE] = 1.0f,   [CLICK_CLOSURE] = 3.0f,     [CLICK_SIDES] = -15.0f};
    const struct {
        ClickFeature feature;
        float otherwise;
    } facts[] = {
        {CLICK_OVER_BEFORE, 45.0f}, /* it rises out of nothing */
        {CLICK_OVER_AFTER, 5.0f},   /* what follows is as loud */
        {CLICK_STEP, -10.0f},       /* a sound ends with it */
        {CLICK_FAR_CHANGE, 12.0f},  /* another sound follows */
        {CLICK_CLOSURE, 30.0f},     /* it follows a closure */
        {CLICK_SIDES, -40.0f},      /* there is next to nothing around it */
    };
    for (size_t k = 0; k < sizeof facts / sizeof *facts; k++) {
        float feature[CLICK_FEATURES];
        memcpy(feature, breath, sizeof feature);
        feature[facts[k].feature] = facts[k].otherwise;
        ck_assert_float_gt(click_judge(breath), click_judge(feature) + 2.0f);
    }
}
END_TEST

START_TEST(a_higher_threshold_asks_for_more) {
    for (float threshold = 3.0f; threshold < 30.0f; threshold += 0.5f)
        ck_assert_float_gt(click_judge_bar(threshold + 0.5f), click_judge_bar(threshold));
}
END_TEST

START_TEST(what_cannot_be_measured_is_no_click) {
    for (size_t k = 0; k < CLICK_FEATURES; k++) {
        float feature[CLICK_FEATURES] = {0.0f};
        feature[k] = NAN;
        ck_assert(!(click_judge(feature) > click_judge_bar(3.0f)));
    }
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("click judge");
    tcase_add_test(tcase, evidence_of_features_adds_up);
    tcase_add_test(tcase, no_outlier_outvotes_the_rest);
    tcase_add_test(tcase, evidence_has_no_jumps);
    tcase_add_test(tcase, what_a_click_is_decides_which_way_the_evidence_points);
    tcase_add_test(tcase, what_rises_out_of_a_sound_and_falls_back_to_it_is_no_plosive);
    tcase_add_test(tcase, a_higher_threshold_asks_for_more);
    tcase_add_test(tcase, what_cannot_be_measured_is_no_click);
    return run_tcase(tcase, "click judge");
}
