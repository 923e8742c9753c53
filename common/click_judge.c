/* SPDX-License-Identifier: ISC */
#include "click_judge.h"

enum { KNOTS = 5 };

typedef struct {
    float at[KNOTS], worth[KNOTS]; /* worth 0 below the first knot */
} Curve;

static const Curve CURVES[CLICK_FEATURES] = {
    [CLICK_FIRST] = {{4.34f, 5.87f, 8.66f, 16.99f, 35.97f}, {0.00f, 0.01f, 0.33f, 1.12f, 1.12f}},
    [CLICK_SECOND] = {{2.78f, 4.64f, 7.27f, 14.71f, 33.71f}, {0.00f, 0.16f, 0.57f, 1.76f, 2.77f}},
    [CLICK_MIDDLE] = {{0.00f, 2.70f, 4.93f, 9.95f, 27.43f}, {0.00f, 0.20f, 0.06f, -0.14f, -0.06f}},
    [CLICK_UPPER] = {{2.54f, 4.48f, 7.09f, 14.43f, 33.38f},
                     {0.00f, -0.21f, -0.64f, -1.95f, -2.80f}},
    [CLICK_TILT] = {{-10.57f, -2.31f, 1.28f, 5.88f, 24.54f}, {0.00f, 0.64f, 0.47f, 0.46f, 0.66f}},
    [CLICK_WIDTH] = {{2.00f, 3.00f, 4.00f, 5.00f, 14.00f}, {0.00f, 0.36f, 0.73f, 0.71f, 0.49f}},
    [CLICK_STEP] = {{-9.66f, -1.25f, 0.00f, 1.25f, 22.75f},
                    {0.00f, -0.51f, -0.40f, -0.64f, -0.76f}},
    [CLICK_FAR_CHANGE] = {{0.00f, 0.78f, 1.91f, 5.24f, 30.90f},
                          {0.00f, -0.45f, -0.71f, -0.89f, -2.06f}},
    [CLICK_RISE] = {{1.81f, 6.36f, 10.87f, 16.30f, 40.95f}, {0.00f, 0.47f, 0.79f, 1.15f, 0.94f}},
    [CLICK_FALL] = {{2.01f, 6.40f, 10.60f, 15.44f, 33.86f}, {0.00f, 0.40f, 0.80f, 1.02f, 1.58f}},
    [CLICK_SHARP_FALL] = {{-0.18f, 6.07f, 8.57f, 12.37f, 29.66f},
                          {0.00f, -0.25f, -0.30f, -0.22f, 0.50f}},
    [CLICK_OVER_BEFORE] = {{-9.18f, 0.53f, 4.20f, 14.14f, 35.40f},
                           {0.00f, 0.14f, 0.60f, 1.29f, 0.93f}},
    [CLICK_OVER_AFTER] = {{-14.53f, 0.79f, 4.08f, 13.02f, 33.09f},
                          {0.00f, -0.00f, 0.45f, 2.11f, 2.19f}},
    [CLICK_NEAR_BEFORE] = {{-3.74f, 2.56f, 7.23f, 12.75f, 33.60f},
                           {0.00f, -0.45f, -0.66f, -0.93f, -0.91f}},
    [CLICK_NEAR_AFTER] = {{-3.07f, 2.21f, 4.86f, 9.51f, 26.47f},
                          {0.00f, -0.67f, -0.94f, -1.78f, -2.42f}},
    [CLICK_NEAR_MEAN] = {{-9.17f, -1.06f, 0.67f, 6.63f, 24.97f},
                         {0.00f, -0.27f, -0.09f, 0.25f, 1.14f}},
    [CLICK_NEAR_LEAST] = {{-17.27f, -5.08f, -2.18f, 0.41f, 17.39f},
                          {0.00f, -0.87f, -1.05f, -1.28f, -3.00f}},
    [CLICK_PERIOD] = {{-1.28f, 0.11f, 2.78f, 9.88f, 36.35f}, {0.00f, 0.05f, -0.19f, 0.01f, 0.95f}},
    [CLICK_LOW_PEAK] = {{-14.13f, -3.06f, -0.83f, 0.16f, 20.80f},
                        {0.00f, 0.27f, 0.46f, 0.60f, -1.46f}},
    [CLICK_LOW_RISE] = {{-7.30f, -0.62f, 1.78f, 5.08f, 17.26f},
                        {0.00f, 0.13f, -0.13f, -0.26f, -0.17f}},
    [CLICK_LOW_CHANGE] = {{0.00f, 0.53f, 1.32f, 3.14f, 22.17f},
                          {0.00f, -0.18f, -0.26f, -0.48f, -1.12f}},
    [CLICK_CLOSURE] = {{0.00f, 3.49f, 6.93f, 16.08f, 43.60f},
                       {0.00f, -0.37f, -0.62f, -0.21f, -0.39f}},
    [CLICK_COMING] = {{-13.66f, -8.65f, -4.98f, -2.85f, 17.43f},
                      {0.00f, -0.07f, 0.05f, 0.25f, 0.67f}},
    [CLICK_OVER_VOICE] = {{-64.18f, -26.86f, -10.17f, 0.26f, 12.59f},
                          {0.00f, -1.37f, -3.00f, -3.36f, -3.79f}},
    [CLICK_SIDES] = {{-74.23f, -36.79f, -22.46f, -11.21f, 0.43f},
                     {0.00f, -0.61f, 0.41f, 0.77f, 0.74f}},
    [CLICK_LENGTH] = {{2.00f, 4.00f, 5.00f, 8.00f, 22.00f},
                      {0.00f, -0.87f, -0.82f, -1.16f, -2.07f}},
    [CLICK_RIVAL] = {{-33.23f, -12.71f, -3.30f, -0.35f, 11.07f},
                     {0.00f, -1.14f, -2.09f, -2.34f, -1.02f}},
};
static const float CONSTANT = 5.69f;

/* At the default threshold, and for each dB over it. */
static const float BAR = 0.35f, BAR_PER_DB = 0.30f, DEFAULT_THRESHOLD_DB = 8.0f;

static float worth(const Curve *curve, float x) {
    float y = 0.0f;
    for (int k = 0; k + 1 < KNOTS; k++) {
        float share = (x - curve->at[k]) / (curve->at[k + 1] - curve->at[k]);
        share = share < 0.0f ? 0.0f : share > 1.0f ? 1.0f : share;
        y += share * (curve->worth[k + 1] - curve->worth[k]);
    }
    return y;
}

float click_judge(const float feature[CLICK_FEATURES]) {
    float sum = CONSTANT;
    for (int i = 0; i < CLICK_FEATURES; i++)
        sum += worth(&CURVES[i], feature[i]);
    return sum;
}

float click_judge_bar(float threshold_db) {
    return BAR + BAR_PER_DB * (threshold_db - DEFAULT_THRESHOLD_DB);
}
