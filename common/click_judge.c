/* SPDX-License-Identifier: ISC */
#include "click_judge.h"

enum { KNOTS = 5 };

typedef struct {
    float at[KNOTS], worth[KNOTS]; /* worth 0 below the first knot */
} Curve;

static const Curve CURVES[CLICK_FEATURES] = {
    [CLICK_FIRST] = {{4.34f, 5.87f, 8.90f, 17.37f, 36.33f}, {0.00f, -0.06f, 0.31f, 0.82f, 1.00f}},
    [CLICK_SECOND] = {{2.80f, 4.65f, 7.40f, 15.23f, 33.93f}, {0.00f, 0.22f, 0.79f, 1.85f, 2.87f}},
    [CLICK_MIDDLE] = {{0.00f, 2.69f, 4.86f, 10.35f, 27.56f}, {0.00f, 0.28f, 0.19f, -0.02f, -0.06f}},
    [CLICK_UPPER] = {{2.56f, 4.47f, 7.21f, 14.92f, 33.52f},
                     {0.00f, -0.34f, -0.84f, -1.96f, -2.53f}},
    [CLICK_TILT] = {{-10.82f, -2.40f, 1.29f, 6.14f, 24.71f}, {0.00f, 0.47f, 0.32f, 0.36f, 0.39f}},
    [CLICK_WIDTH] = {{2.00f, 3.00f, 4.00f, 5.00f, 14.00f}, {0.00f, 0.25f, 0.68f, 0.64f, 0.26f}},
    [CLICK_STEP] = {{-9.68f, -1.23f, 0.00f, 1.27f, 22.73f},
                    {0.00f, -0.55f, -0.46f, -0.66f, -1.02f}},
    [CLICK_FAR_CHANGE] = {{0.00f, 0.78f, 1.93f, 5.27f, 31.01f},
                          {0.00f, -0.44f, -0.75f, -0.89f, -2.06f}},
    [CLICK_RISE] = {{1.81f, 6.33f, 10.77f, 16.55f, 40.93f}, {0.00f, 0.48f, 0.75f, 1.23f, 1.03f}},
    [CLICK_FALL] = {{1.97f, 6.38f, 10.48f, 15.38f, 34.35f}, {0.00f, 0.36f, 0.52f, 0.96f, 1.14f}},
    [CLICK_SHARP_FALL] = {{-0.36f, 6.02f, 8.63f, 12.77f, 29.78f},
                          {0.00f, -0.36f, -0.34f, -0.27f, 0.16f}},
    [CLICK_OVER_BEFORE] = {{-8.83f, 0.75f, 4.78f, 14.73f, 35.63f},
                           {0.00f, -0.00f, 0.50f, 0.97f, 0.70f}},
    [CLICK_OVER_AFTER] = {{-14.11f, 1.04f, 4.59f, 13.59f, 33.32f},
                          {0.00f, -0.11f, 0.43f, 1.97f, 1.88f}},
    [CLICK_NEAR_BEFORE] = {{-3.79f, 2.48f, 7.06f, 12.74f, 33.79f},
                           {0.00f, -0.48f, -0.61f, -0.76f, -0.59f}},
    [CLICK_NEAR_AFTER] = {{-3.05f, 2.18f, 4.80f, 9.83f, 26.71f},
                          {0.00f, -0.68f, -0.90f, -1.80f, -2.23f}},
    [CLICK_NEAR_MEAN] = {{-9.16f, -0.99f, 0.93f, 7.13f, 25.19f},
                         {0.00f, -0.27f, -0.07f, 0.24f, 1.04f}},
    [CLICK_NEAR_LEAST] = {{-17.49f, -5.14f, -2.20f, 0.71f, 17.73f},
                          {0.00f, -0.83f, -0.96f, -1.17f, -2.76f}},
    [CLICK_PERIOD] = {{-1.10f, 0.19f, 3.08f, 10.40f, 36.78f},
                      {0.00f, 0.02f, -0.20f, -0.04f, 0.72f}},
    [CLICK_LOW_PEAK] = {{-14.25f, -3.16f, -0.85f, 0.21f, 21.56f},
                        {0.00f, 0.22f, 0.40f, 0.49f, -1.42f}},
    [CLICK_LOW_RISE] = {{-7.48f, -0.70f, 1.65f, 5.04f, 17.82f},
                        {0.00f, 0.24f, -0.01f, -0.23f, -0.25f}},
    [CLICK_LOW_CHANGE] = {{0.00f, 0.54f, 1.37f, 3.25f, 22.18f},
                          {0.00f, -0.10f, -0.26f, -0.46f, -1.00f}},
    [CLICK_CLOSURE] = {{0.00f, 3.33f, 6.99f, 16.39f, 43.65f},
                       {0.00f, -0.28f, -0.64f, -0.26f, -0.32f}},
    [CLICK_COMING] = {{-13.69f, -8.88f, -5.09f, -2.85f, 16.76f},
                      {0.00f, -0.05f, 0.06f, 0.25f, 0.45f}},
    [CLICK_OVER_VOICE] = {{-64.49f, -27.76f, -10.90f, 0.11f, 12.69f},
                          {0.00f, -1.18f, -2.99f, -3.31f, -3.76f}},
    [CLICK_SIDES] = {{-74.45f, -37.76f, -23.26f, -11.24f, 0.62f},
                     {0.00f, -0.76f, 0.31f, 0.76f, 0.63f}},
    [CLICK_LENGTH] = {{2.00f, 4.00f, 5.00f, 8.00f, 22.00f},
                      {0.00f, -0.90f, -0.76f, -1.09f, -1.95f}},
    [CLICK_RIVAL] = {{-33.56f, -13.30f, -3.70f, -0.56f, 11.14f},
                     {0.00f, -0.77f, -1.79f, -1.95f, -0.80f}},
};
static const float CONSTANT = 6.04f;

/* At the default threshold, and for each dB over it. */
static const float BAR = 0.40f, BAR_PER_DB = 0.30f, DEFAULT_THRESHOLD_DB = 8.0f;

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
