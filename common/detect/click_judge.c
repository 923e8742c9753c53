/* SPDX-License-Identifier: ISC */
#include "detect/click_judge.h"

#include "basic/maths.h"

enum { KNOTS = 5 };

typedef struct {
    float at[KNOTS], worth[KNOTS]; /* worth 0 below the first knot */
} Curve;

static const Curve CURVES[CLICK_FITTED] = {
    [CLICK_FIRST] = {{4.34f, 5.87f, 8.66f, 16.99f, 35.97f}, {0.00f, -0.02f, 0.94f, 1.61f, 1.44f}},
    [CLICK_SECOND] = {{2.78f, 4.64f, 7.27f, 14.71f, 33.71f}, {0.00f, 0.17f, 0.45f, 1.59f, 2.55f}},
    [CLICK_MIDDLE] = {{0.00f, 2.70f, 4.93f, 9.95f, 27.43f}, {0.00f, 0.17f, 0.08f, -0.32f, -0.06f}},
    [CLICK_UPPER] = {{2.54f, 4.48f, 7.09f, 14.43f, 33.38f},
                     {0.00f, -0.13f, -0.55f, -1.75f, -2.65f}},
    [CLICK_TILT] = {{-10.57f, -2.31f, 1.28f, 5.88f, 24.54f}, {0.00f, 0.63f, 0.52f, 0.49f, 0.74f}},
    [CLICK_WIDTH] = {{2.00f, 3.00f, 4.00f, 5.00f, 14.00f}, {0.00f, 0.37f, 0.75f, 0.73f, 0.42f}},
    [CLICK_STEP] = {{-9.66f, -1.25f, 0.00f, 1.25f, 22.75f},
                    {0.00f, -0.39f, -0.30f, -0.54f, -0.63f}},
    [CLICK_FAR_CHANGE] = {{0.00f, 0.78f, 1.91f, 5.24f, 30.90f},
                          {0.00f, -0.49f, -0.67f, -0.92f, -2.08f}},
    [CLICK_RISE] = {{1.81f, 6.36f, 10.87f, 16.30f, 40.95f}, {0.00f, 0.64f, 0.96f, 1.23f, 0.91f}},
    [CLICK_FALL] = {{2.01f, 6.40f, 10.60f, 15.44f, 33.86f}, {0.00f, 0.66f, 1.02f, 1.26f, 1.84f}},
    [CLICK_SHARP_FALL] = {{-0.18f, 6.07f, 8.57f, 12.37f, 29.66f},
                          {0.00f, -0.27f, -0.30f, -0.21f, 0.65f}},
    [CLICK_OVER_BEFORE] = {{-9.18f, 0.53f, 4.20f, 14.14f, 35.40f},
                           {0.00f, 0.10f, 0.61f, 1.33f, 0.90f}},
    [CLICK_OVER_AFTER] = {{-14.53f, 0.79f, 4.08f, 13.02f, 33.09f},
                          {0.00f, 0.05f, 0.52f, 2.26f, 2.38f}},
    [CLICK_NEAR_BEFORE] = {{-3.74f, 2.56f, 7.23f, 12.75f, 33.60f},
                           {0.00f, -0.55f, -0.66f, -0.92f, -0.89f}},
    [CLICK_NEAR_AFTER] = {{-3.07f, 2.21f, 4.86f, 9.51f, 26.47f},
                          {0.00f, -0.74f, -0.93f, -1.81f, -2.44f}},
    [CLICK_NEAR_MEAN] = {{-9.17f, -1.06f, 0.67f, 6.63f, 24.97f},
                         {0.00f, -0.36f, -0.18f, 0.19f, 1.01f}},
    [CLICK_NEAR_LEAST] = {{-17.27f, -5.08f, -2.18f, 0.41f, 17.39f},
                          {0.00f, -0.89f, -1.03f, -1.23f, -2.93f}},
    [CLICK_PERIOD] = {{-1.27f, 0.08f, 2.71f, 9.77f, 36.35f}, {0.00f, 0.06f, -0.11f, 0.01f, 1.07f}},
    [CLICK_LOW_PEAK] = {{-14.13f, -3.06f, -0.83f, 0.16f, 20.80f},
                        {0.00f, 0.31f, 0.49f, 0.65f, -1.23f}},
    [CLICK_LOW_RISE] = {{-7.30f, -0.62f, 1.78f, 5.08f, 17.26f},
                        {0.00f, 0.07f, -0.16f, -0.28f, -0.23f}},
    [CLICK_LOW_CHANGE] = {{0.00f, 0.53f, 1.32f, 3.14f, 22.17f},
                          {0.00f, -0.18f, -0.27f, -0.50f, -1.10f}},
    [CLICK_CLOSURE] = {{0.00f, 3.49f, 6.93f, 16.08f, 43.60f},
                       {0.00f, -0.32f, -0.44f, -0.06f, -0.24f}},
    [CLICK_COMING] = {{-13.66f, -8.65f, -4.98f, -2.85f, 17.43f},
                      {0.00f, -0.18f, 0.00f, 0.21f, 0.78f}},
    [CLICK_OVER_VOICE] = {{-63.82f, -26.81f, -10.14f, 0.29f, 12.63f},
                          {0.00f, -0.16f, -1.99f, -2.46f, -3.17f}},
    [CLICK_SIDES] = {{-73.50f, -36.72f, -22.42f, -11.18f, 0.49f},
                     {0.00f, -1.04f, 0.03f, 0.62f, 0.92f}},
    [CLICK_LENGTH] = {{2.00f, 4.00f, 5.00f, 8.00f, 22.00f},
                      {0.00f, -0.85f, -0.82f, -1.08f, -1.96f}},
    [CLICK_RIVAL] = {{-33.23f, -12.71f, -3.30f, -0.35f, 11.07f},
                     {0.00f, -1.12f, -2.19f, -2.41f, -0.98f}},
};
static const float CONSTANT = 4.07f, OUT_OF_STEADY_SOUND = 3.0f, ALONE_IN_A_GAP = 3.0f;

/* At the default threshold, and for each dB over it. */
static const float BAR = 0.50f, BAR_PER_DB = 0.30f, DEFAULT_THRESHOLD_DB = 8.0f;

static float worth(const Curve *curve, float x) {
    float y = 0.0f;
    for (int k = 0; k + 1 < KNOTS; k++) {
        float share = (x - curve->at[k]) / (curve->at[k + 1] - curve->at[k]);
        share = share < 0.0f ? 0.0f : share > 1.0f ? 1.0f : share;
        y += share * (curve->worth[k + 1] - curve->worth[k]);
    }
    return y;
}

/* A sum of curves cannot say "and", but one thing needs it: what rises high out of a sound that is
 * there before and after, all alike, is no plosive, since that follows a closure. So a breath may
 * have a loud click in it. What rises by more than 30 dB did not rise out of a sound. 1: plainly
 * so. */
static float out_of_steady_sound(const float feature[CLICK_FEATURES]) {
    float before = feature[CLICK_OVER_BEFORE], after = feature[CLICK_OVER_AFTER];
    float step = feature[CLICK_STEP];
    return maths_ramp(before < after ? before : after, 10.0f, 16.0f) *
           maths_ramp(before > after ? before : after, 36.0f, 30.0f) *
           maths_ramp(step < 0.0f ? -step : step, 6.0f, 3.0f) *
           maths_ramp(feature[CLICK_FAR_CHANGE], 6.0f, 3.0f) *
           maths_ramp(feature[CLICK_CLOSURE], 14.0f, 8.0f) *
           maths_ramp(feature[CLICK_SIDES], -26.0f, -20.0f);
}

/* Whether the sides are as quiet as gaps are, above and below 1200 Hz: a soft vowel may be quiet
 * above, and an /s/ is below. */
bool click_judge_gap(const float feature[CLICK_FEATURES]) {
    return feature[CLICK_LOW_SIDES] < -20.0f && feature[CLICK_SIDES] < -12.0f;
}

/* Likewise what stands high and alone in a gap: no sound within 100 ms before it and 34 ms after
 * it, and the same room on both sides. A plosive has its vowel near, but not always that near, and
 * its burst lasts 6 ms and more where a click as high is over sooner. */
static float alone_in_a_gap(const float feature[CLICK_FEATURES]) {
    float before = feature[CLICK_OVER_BEFORE], after = feature[CLICK_OVER_AFTER];
    float step = feature[CLICK_STEP];
    return maths_ramp(before < after ? before : after, 10.0f, 16.0f) *
           maths_ramp(step < 0.0f ? -step : step, 10.0f, 6.0f) *
           maths_ramp(feature[CLICK_CLOSURE], 16.0f, 10.0f) *
           maths_ramp(feature[CLICK_COMING], -5.0f, -9.0f) *
           maths_ramp(feature[CLICK_LENGTH], 17.0f, 14.0f) *
           maths_ramp(feature[CLICK_LOW_SIDES], -15.0f, -20.0f);
}

float click_judge(const float feature[CLICK_FEATURES]) {
    float sum = CONSTANT + OUT_OF_STEADY_SOUND * out_of_steady_sound(feature) +
                ALONE_IN_A_GAP * alone_in_a_gap(feature);
    for (int i = 0; i < CLICK_FITTED; i++)
        sum += worth(&CURVES[i], feature[i]);
    return sum;
}

float click_judge_bar(float threshold_db) {
    return BAR + BAR_PER_DB * (threshold_db - DEFAULT_THRESHOLD_DB);
}
