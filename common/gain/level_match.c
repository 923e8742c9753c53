/* SPDX-License-Identifier: ISC */
#include "gain/level_match.h"

#include "basic/one_pole.h"

static const double NOTHING = 1e-12; /* -120 dBFS */

enum { BLOCK = 64 };

void level_match_prepare(LevelMatch *match, double rate_hz, unsigned channels) {
    match->channels = channels;
    match->pole = one_pole_coefficient(LEVEL_MATCH_MS, rate_hz);
    level_match_reset(match);
}

void level_match_reset(LevelMatch *match) {
    match->state.in = match->state.out = 0.0;
}

static void powers(const float *const *audio, unsigned channels, size_t at, float *power,
                   size_t n) {
    const float *left = audio[0] + at, *right = audio[channels - 1] + at;
    for (size_t i = 0; i < n; i++)
        power[i] = 0.5f * (left[i] * left[i] + right[i] * right[i]);
}

static void block(LevelMatch *match, const float *const *in, float *const *out, size_t at,
                  size_t n) {
    float from[BLOCK], to[BLOCK], gain[BLOCK];
    const float *made[2] = {out[0], out[match->channels - 1]};
    powers(in, match->channels, at, from, n);
    powers(made, 2, at, to, n);
    double power_in = match->state.in, power_out = match->state.out;
    for (size_t i = 0; i < n; i++) {
        power_in = one_pole_step_double(power_in, (double)from[i], match->pole);
        power_out = one_pole_step_double(power_out, (double)to[i], match->pole);
        from[i] = (float)(power_in + NOTHING);
        to[i] = (float)(power_out + NOTHING);
    }
    match->state.in = power_in;
    match->state.out = power_out;
    for (size_t i = 0; i < n; i++) {
        float g = sqrtf(from[i] / to[i]);
        g = g < LEVEL_MATCH_MOST ? g : LEVEL_MATCH_MOST;
        gain[i] = g > LEVEL_MATCH_LEAST ? g : LEVEL_MATCH_LEAST;
    }
    for (unsigned c = 0; c < match->channels; c++)
        for (size_t i = 0; i < n; i++)
            out[c][at + i] *= gain[i];
}

void level_match_process(LevelMatch *match, const float *const *in, float *const *out, size_t n) {
    for (size_t at = 0; at < n; at += BLOCK)
        block(match, in, out, at, n - at < BLOCK ? n - at : BLOCK);
}
