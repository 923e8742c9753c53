/* SPDX-License-Identifier: ISC */
#include "gain/fade_gain.h"

#include "basic/decibel.h"
#include "basic/one_pole.h"

#include <math.h>
#include <string.h>

static const double DEPTH_MS = 20.0;
static const float SETTLED_DB =
    5e-3f; /* a jump nobody hears, and over what a float pole stalls at */

void fade_gain_prepare(FadeGain *fade, double rate_hz) {
    memset(fade, 0, sizeof *fade);
    fade->rate_hz = rate_hz;
    fade->length = 1;
    fade->glide = (float)one_pole_coefficient(DEPTH_MS, rate_hz);
}

void fade_gain_reset(FadeGain *fade) {
    memset(&fade->state, 0, sizeof fade->state);
}

void fade_gain_set(FadeGain *fade, const FadeGainParams *params) {
    double frames = round((double)params->fade_ms * 0.001 * fade->rate_hz);
    uint32_t length = frames < 1.0 ? 1 : (uint32_t)frames;
    if (length != fade->length)
        fade->state.at = (uint32_t)((uint64_t)fade->state.at * length / fade->length);
    fade->length = length;
    fade->goal_db = params->depth_db;
}

static float step(FadeGain *fade, bool down) {
    bool glides = fade->state.at > 0 && fabsf(fade->state.depth_db - fade->goal_db) > SETTLED_DB;
    fade->state.depth_db =
        glides ? one_pole_step(fade->state.depth_db, fade->goal_db, fade->glide) : fade->goal_db;
    if (down && fade->state.at < fade->length)
        fade->state.at++;
    else if (!down && fade->state.at > 0)
        fade->state.at--;
    float p = (float)fade->state.at / (float)fade->length;
    return decibel_fast_gain(-fade->state.depth_db * p * p * (3.0f - 2.0f * p));
}

static bool rests(const FadeGain *fade, bool down) {
    if (!down)
        return fade->state.at == 0;
    return fade->state.at == fade->length && fade->state.depth_db == fade->goal_db;
}

float fade_gain_process(FadeGain *fade, bool down, float *gain, size_t n) {
    float least = 1.0f;
    if (rests(fade, down)) {
        least = down ? decibel_fast_gain(-fade->goal_db) : 1.0f;
        for (size_t i = 0; i < n; i++)
            gain[i] = least;
        return least;
    }
    for (size_t i = 0; i < n; i++) {
        gain[i] = step(fade, down);
        least = gain[i] < least ? gain[i] : least;
    }
    return least;
}
