/* SPDX-License-Identifier: ISC */
#include "voice/breath_class.h"

#include <math.h>

static const float EVIDENCE = 0.2f, ODD = 0.05f;

typedef struct {
    BreathFeature feature;
    float knee, width; /* a negative width: the ramp rises downwards from the knee */
    float weight[SOUND_CLASSES];
} Ramp;

/* Weights of breath, room, voiced, other. */
static const Ramp RAMPS[] = {
    {BREATH_PERIODIC, 0.25f, 0.25f, {-1.74f, -0.17f, 1.32f, 0.59f}},
    {BREATH_PERIODIC, 0.5f, 0.3f, {-0.49f, 0.10f, 3.48f, -3.08f}},
    {BREATH_OVER_ROOM, 2.0f, 5.0f, {1.64f, -3.07f, -0.25f, 1.67f}},
    {BREATH_OVER_ROOM, 7.0f, 12.0f, {0.85f, -1.31f, 0.12f, 0.34f}},
    {BREATH_HISS, -16.0f, 10.0f, {-1.11f, 1.07f, -0.38f, 0.42f}},
    {BREATH_HISS, -6.0f, 12.0f, {-1.36f, 0.30f, 0.21f, 0.84f}},
    {BREATH_OVER_VOICE, -24.0f, 12.0f, {-0.61f, -0.27f, 0.62f, 0.26f}},
    {BREATH_OVER_VOICE, -12.0f, 12.0f, {-0.49f, -0.08f, 0.48f, 0.10f}},
    {BREATH_OVER_VOICE, -45.0f, -15.0f, {-0.46f, 1.40f, -0.69f, -0.25f}},
    {BREATH_LOW, 0.0f, 20.0f, {-1.75f, 0.49f, 0.41f, 0.84f}},
    {BREATH_FIRST, -4.0f, 12.0f, {-1.29f, 0.40f, 0.50f, 0.39f}},
    {BREATH_FIRST, -8.0f, -12.0f, {-0.19f, 0.16f, -0.30f, 0.33f}},
    {BREATH_HIGH, -4.0f, 12.0f, {-0.55f, -0.14f, 0.20f, 0.49f}},
    {BREATH_HIGH, -8.0f, -12.0f, {-1.31f, 0.40f, 0.15f, 0.76f}},
    {BREATH_THIRD, 5.0f, 10.0f, {-0.81f, 0.08f, 0.10f, 0.62f}},
    {BREATH_THIRD, -2.0f, -10.0f, {-0.86f, 0.35f, 0.21f, 0.30f}},
};
static const float BIAS[SOUND_CLASSES] = {1.29f, 1.18f, -1.42f, -1.05f};

static float clamped(float x) {
    x = x < 0.0f ? 0.0f : x;
    return x > 1.0f ? 1.0f : x;
}

/* l -> the logarithm of the posterior, tempered. */
static void temper(float l[SOUND_CLASSES]) {
    float largest = l[0], sum = 0.0f;
    for (int c = 1; c < SOUND_CLASSES; c++)
        largest = l[c] > largest ? l[c] : largest;
    for (int c = 0; c < SOUND_CLASSES; c++)
        sum += expf(l[c] - largest);
    for (int c = 0; c < SOUND_CLASSES; c++) {
        float posterior = expf(l[c] - largest) / sum;
        l[c] = EVIDENCE * logf(posterior * (1.0f - SOUND_CLASSES * ODD) + ODD);
    }
}

void breath_class(const BreathMoment *moment, float sensitivity_db,
                  float likelihood[SOUND_CLASSES]) {
    for (int c = 0; c < SOUND_CLASSES; c++)
        likelihood[c] = BIAS[c];
    for (size_t k = 0; k < sizeof RAMPS / sizeof *RAMPS; k++) {
        const Ramp *ramp = &RAMPS[k];
        float value = moment->value[ramp->feature];
        if (ramp->feature == BREATH_OVER_VOICE && !moment->voice_known)
            continue;
        float r = clamped((value - ramp->knee) / ramp->width);
        for (int c = 0; c < SOUND_CLASSES; c++)
            likelihood[c] += r * ramp->weight[c];
    }
    likelihood[SOUND_BREATH] += 0.15f * sensitivity_db;
    temper(likelihood);
}
