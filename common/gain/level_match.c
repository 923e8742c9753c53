/* SPDX-License-Identifier: ISC */
#include "gain/level_match.h"

#include "basic/one_pole.h"

#include <math.h>
#include <string.h>

static const double NOTHING = 1e-12; /* -120 dBFS */
static const float LARGEST = 4.0f;   /* +6 dBFS: a burst beyond audio is forgotten in time */
static const float LEAST[LEVEL_MATCH_ROWS] = {0.1f, 0.7f}, MOST[LEVEL_MATCH_ROWS] = {2.0f, 1.2f};

enum { BLOCK = 64 };

void level_match_prepare(LevelMatch *match, double rate_hz, unsigned channels) {
    match->channels = channels;
    match->pole[0] = one_pole_coefficient(LEVEL_MATCH_QUICK_MS, rate_hz);
    match->pole[1] = one_pole_coefficient(LEVEL_MATCH_SLOW_MS, rate_hz);
    level_match_reset(match);
}

void level_match_reset(LevelMatch *match) {
    memset(&match->state, 0, sizeof match->state);
}

static void powers(const float *left, const float *right, float *power, size_t n) {
    for (size_t i = 0; i < n; i++) {
        float mean = 0.5f * (left[i] * left[i] + right[i] * right[i]);
        power[i] = mean < LARGEST ? mean : LARGEST;
    }
}

/* The gain of one row for powers `from` and `to`, and `to` behind it. */
static void row(LevelMatch *match, int r, const float *from, float *to, float *gain, size_t n) {
    float mean_in[BLOCK], mean_out[BLOCK];
    const double pole = match->pole[r];
    double in = match->state.in[r], out = match->state.out[r];
    for (size_t i = 0; i < n; i++) {
        in = one_pole_step_double(in, (double)from[i], pole);
        out = one_pole_step_double(out, (double)to[i], pole);
        mean_in[i] = (float)(in + NOTHING);
        mean_out[i] = (float)(out + NOTHING);
    }
    match->state.in[r] = in;
    match->state.out[r] = out;
    for (size_t i = 0; i < n; i++) {
        float g = sqrtf(mean_in[i] / mean_out[i]);
        g = g < MOST[r] ? g : MOST[r];
        g = g > LEAST[r] ? g : LEAST[r];
        gain[i] *= g;
        to[i] *= g * g;
    }
}

static void block(LevelMatch *match, const float *const *in, float *const *out, size_t at,
                  size_t n) {
    float from[BLOCK], to[BLOCK], gain[BLOCK];
    unsigned right = match->channels - 1;
    powers(in[0] + at, in[right] + at, from, n);
    powers(out[0] + at, out[right] + at, to, n);
    for (size_t i = 0; i < n; i++)
        gain[i] = 1.0f;
    for (int r = 0; r < LEVEL_MATCH_ROWS; r++)
        row(match, r, from, to, gain, n);
    for (unsigned c = 0; c < match->channels; c++)
        for (size_t i = 0; i < n; i++)
            out[c][at + i] *= gain[i];
}

void level_match_process(LevelMatch *match, const float *const *in, float *const *out, size_t n) {
    for (size_t at = 0; at < n; at += BLOCK)
        block(match, in, out, at, n - at < BLOCK ? n - at : BLOCK);
}
