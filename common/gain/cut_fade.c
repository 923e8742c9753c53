/* SPDX-License-Identifier: ISC */
#include "gain/cut_fade.h"

#include "basic/decibel.h"
#include "basic/one_pole.h"

#include <math.h>
#include <string.h>

static const double GLIDE_MS = 10.0;
static const double ARRIVED = 1e-7;

void cut_fade_prepare(CutFade *fade, double rate_hz) {
    fade->rate_hz = rate_hz;
    fade->glide = one_pole_coefficient(GLIDE_MS, rate_hz);
    cut_fade_set(fade, &(CutFadeParams){-60.0f, 10.0f, 100.0f});
    cut_fade_reset(fade);
}

void cut_fade_reset(CutFade *fade) {
    memset(&fade->state, 0, sizeof fade->state);
    fade->state.step = fade->state.next = -1.0;
}

static double frames(const CutFade *fade, float ms) {
    return fmax((double)ms * 0.001 * fade->rate_hz, 1.0);
}

void cut_fade_set(CutFade *fade, const CutFadeParams *params) {
    fade->in_frames = frames(fade, params->fade_in_ms);
    fade->out_frames = frames(fade, params->fade_out_ms);
    fade->goal = params->floor_db < 0.0f ? decibel_to_gain((double)params->floor_db) : 1.0;
}

/* `step` from `after` frames on. */
static void turn(CutFade *fade, double step, size_t after) {
    fade->state.next = step;
    fade->state.wait = after;
    if (after == 0)
        fade->state.step = step;
}

void cut_fade_open(CutFade *fade, size_t after_frames) {
    double left = 1.0 - fade->state.at;
    double needed = after_frames > 0 ? left / (double)after_frames : 1.0;
    size_t whole = (size_t)ceil(left * fade->in_frames);
    size_t wait = left > 0.0 && after_frames > whole ? after_frames - whole : 0;
    turn(fade, fmax(needed, 1.0 / fade->in_frames), wait);
}

void cut_fade_close(CutFade *fade, size_t after_frames) {
    bool closing = fade->state.next < 0.0;
    if (closing && after_frames > fade->state.wait)
        after_frames = fade->state.wait;
    turn(fade, -1.0 / fade->out_frames, after_frames);
}

static double clamped(double p) {
    return p < 0.0 ? 0.0 : p > 1.0 ? 1.0 : p;
}

static bool rests(const CutFade *fade) {
    bool still = fade->state.step > 0.0 ? fade->state.at >= 1.0 : fade->state.at <= 0.0;
    return still && fade->state.floor == fade->goal;
}

/* From 1 downwards, so that it is exactly 1 where p or the floor is. */
static float gain_of(float p, float floor) {
    return 1.0f - (1.0f - floor) * (1.0f - p * p * (3.0f - 2.0f * p));
}

static float rest(const CutFade *fade, float *gain, size_t n) {
    float g = gain_of((float)fade->state.at, (float)fade->state.floor);
    for (size_t i = 0; i < n; i++)
        gain[i] = g;
    return g;
}

/* In double: in float the last steps would round to nothing before it is there. */
static float floor_step(CutFade *fade) {
    double floor = one_pole_step_double(fade->state.floor, fade->goal, fade->glide);
    fade->state.floor = fabs(floor - fade->goal) > ARRIVED ? floor : fade->goal;
    return (float)fade->state.floor;
}

/* As it moves now. */
static float move(CutFade *fade, float *gain, size_t n) {
    if (rests(fade))
        return rest(fade, gain, n);
    float least = 1.0f;
    for (size_t i = 0; i < n; i++) {
        fade->state.at = clamped(fade->state.at + fade->state.step);
        gain[i] = gain_of((float)fade->state.at, floor_step(fade));
        least = gain[i] < least ? gain[i] : least;
    }
    return least;
}

float cut_fade_process(CutFade *fade, float *gain, size_t n) {
    if (!fade->state.started) {
        fade->state.floor = fade->goal;
        fade->state.started = true;
    }
    size_t before = fade->state.wait < n ? fade->state.wait : n;
    float least = before > 0 ? move(fade, gain, before) : 1.0f;
    fade->state.wait -= before;
    if (fade->state.wait == 0)
        fade->state.step = fade->state.next;
    if (before == n && n > 0)
        return least;
    float after = move(fade, gain + before, n - before);
    return after < least ? after : least;
}
