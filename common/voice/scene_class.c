/* SPDX-License-Identifier: ISC */
#include "voice/scene_class.h"

#include "basic/decibel.h"

static const float EVIDENCE = 0.2f, ODD = 0.05f;
static const float LOG2_E = 1.44269504f, LN_2 = 0.693147181f;

typedef struct {
    SceneFeature feature;
    float knee, width; /* a negative width: the ramp rises downwards from the knee */
    float bright[SCENE_KINDS], dull[SCENE_KINDS]; /* weights */
} Ramp;

/* Weights of breath, room, voiced, voiceless; of takes with treble, and without. */
static const Ramp RAMPS[] = {
    {SCENE_PERIODIC, 0.25f, 0.25f, {-1.74f, -0.17f, 1.32f, 0.59f}, {-1.92f, -0.51f, 1.85f, 0.57f}},
    {SCENE_PERIODIC, 0.5f, 0.3f, {-0.49f, 0.10f, 3.48f, -3.08f}, {-0.51f, -0.12f, 2.88f, -2.24f}},
    {SCENE_OVER_ROOM, 2.0f, 5.0f, {1.64f, -3.07f, -0.25f, 1.67f}, {1.86f, -3.09f, 0.38f, 0.85f}},
    {SCENE_OVER_ROOM, 7.0f, 12.0f, {0.85f, -1.31f, 0.12f, 0.34f}, {0.97f, -1.66f, 0.60f, 0.09f}},
    {SCENE_HISS, -16.0f, 10.0f, {-1.11f, 1.07f, -0.38f, 0.42f}, {0.0f, 0.0f, 0.0f, 0.0f}},
    {SCENE_HISS, -6.0f, 12.0f, {-1.36f, 0.30f, 0.21f, 0.84f}, {0.0f, 0.0f, 0.0f, 0.0f}},
    {SCENE_OVER_VOICE,
     -24.0f,
     12.0f,
     {-0.61f, -0.27f, 0.62f, 0.26f},
     {-0.75f, -0.32f, 0.96f, 0.11f}},
    {SCENE_OVER_VOICE,
     -12.0f,
     12.0f,
     {-0.49f, -0.08f, 0.48f, 0.10f},
     {-0.59f, -0.09f, 0.80f, -0.13f}},
    {SCENE_OVER_VOICE,
     -45.0f,
     -15.0f,
     {-0.46f, 1.40f, -0.69f, -0.25f},
     {-0.40f, 1.39f, -0.37f, -0.62f}},
    {SCENE_LOW, 0.0f, 20.0f, {-1.75f, 0.49f, 0.41f, 0.84f}, {-0.59f, 0.19f, 0.49f, -0.09f}},
    {SCENE_FIRST, -4.0f, 12.0f, {-1.29f, 0.40f, 0.50f, 0.39f}, {-2.90f, 0.67f, 0.74f, 1.49f}},
    {SCENE_FIRST, -8.0f, -12.0f, {-0.19f, 0.16f, -0.30f, 0.33f}, {0.22f, -0.56f, -0.38f, 0.71f}},
    {SCENE_HIGH, -4.0f, 12.0f, {-0.55f, -0.14f, 0.20f, 0.49f}, {0.0f, 0.0f, 0.0f, 0.0f}},
    {SCENE_HIGH, -8.0f, -12.0f, {-1.31f, 0.40f, 0.15f, 0.76f}, {0.0f, 0.0f, 0.0f, 0.0f}},
    {SCENE_THIRD, 5.0f, 10.0f, {-0.81f, 0.08f, 0.10f, 0.62f}, {-1.70f, -1.01f, 0.71f, 2.00f}},
    {SCENE_THIRD, -2.0f, -10.0f, {-0.86f, 0.35f, 0.21f, 0.30f}, {-0.96f, 0.35f, 0.19f, 0.42f}},
};
static const float BIAS[SCENE_KINDS] = {1.29f, 1.18f, -1.42f, -1.05f};
static const float DULL_BIAS[SCENE_KINDS] = {0.19f, 2.80f, -2.92f, 0.27f};

static float clamped(float x) {
    x = x < 0.0f ? 0.0f : x;
    return x > 1.0f ? 1.0f : x;
}

static float between(float bright, float dull, float share) {
    return bright + share * (dull - bright);
}

/* l -> p, in place. */
static void softmax(float l[SCENE_KINDS]) {
    float largest = l[0], sum = 0.0f;
    for (int c = 1; c < SCENE_KINDS; c++)
        largest = l[c] > largest ? l[c] : largest;
    for (int c = 0; c < SCENE_KINDS; c++) {
        l[c] = decibel_fast_exp2(LOG2_E * (l[c] - largest));
        sum += l[c];
    }
    for (int c = 0; c < SCENE_KINDS; c++)
        l[c] /= sum;
}

void scene_class(const SceneFeatures *features, float sensitivity_db, float p[SCENE_KINDS]) {
    for (int c = 0; c < SCENE_KINDS; c++)
        p[c] = between(BIAS[c], DULL_BIAS[c], features->dull);
    for (size_t k = 0; k < sizeof RAMPS / sizeof *RAMPS; k++) {
        const Ramp *ramp = &RAMPS[k];
        if (ramp->feature == SCENE_OVER_VOICE && !features->voice_known)
            continue;
        float r = clamped((features->value[ramp->feature] - ramp->knee) / ramp->width);
        for (int c = 0; c < SCENE_KINDS; c++)
            p[c] += r * between(ramp->bright[c], ramp->dull[c], features->dull);
    }
    p[SCENE_BREATH] += 0.15f * sensitivity_db;
    softmax(p);
}

static float not_odd(float p) {
    return p * (1.0f - SCENE_KINDS * ODD) + ODD;
}

void scene_class_evidence(const float p[SCENE_KINDS], float evidence[SCENE_KINDS]) {
    for (int c = 0; c < SCENE_KINDS; c++)
        evidence[c] = EVIDENCE * LN_2 * decibel_fast_log2(not_odd(p[c]));
}

float scene_class_odds(float a, float b) {
    return not_odd(a) / not_odd(b);
}
