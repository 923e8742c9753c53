/* SPDX-License-Identifier: ISC */
#include "voice/note_aim.h"

#include "basic/decibel.h"
#include "basic/maths.h"

#include <math.h>
#include <string.h>

/* Slopes are read over this; those of 8 semitones a second count half. */
static const float SLOPE_MS = 15.0f, HALF_SLOPE = 0.008f;
static const float MOST = 12.0f; /* semitones: no more is ever corrected */

void note_aim_prepare(NoteAim *aim, double rate_hz) {
    memset(aim, 0, sizeof *aim);
    aim->rate_hz = (float)rate_hz;
    aim->ms_per_frame = (float)(1000.0 / rate_hz);
}

void note_aim_reset(NoteAim *aim) {
    memset(&aim->state, 0, sizeof aim->state);
}

void note_aim_set(NoteAim *aim, const NoteAimParams *params) {
    aim->params = *params;
}

/* The pole of a step of `ms`, exact on every machine. */
static float kept_of(float ms, float tau_ms) {
    return decibel_fast_exp2(-1.44269504f * ms / tau_ms);
}

static float median(float a, float b, float c) {
    float low = maths_smaller(a, b), high = maths_larger(a, b);
    return maths_larger(low, maths_smaller(high, c));
}

static void begin_window(NoteAim *aim, size_t count) {
    aim->state.count = count;
    aim->state.left = 0;
    aim->state.left_ms = aim->state.age_ms = aim->state.dwell_ms = 0.0f;
    for (size_t k = 0; k < count; k++)
        aim->state.age_ms += aim->state.kept[(aim->state.newest - k) % NOTE_AIM_KEPT].ms;
}

static void keep(NoteAim *aim, float note, float ms) {
    float slope = (note - aim->state.slow) / SLOPE_MS / HALF_SLOPE;
    aim->state.slow += (1.0f - kept_of(ms, SLOPE_MS)) * (note - aim->state.slow);
    size_t to = ++aim->state.newest % NOTE_AIM_KEPT;
    aim->state.kept[to].note = note;
    aim->state.kept[to].ms = ms;
    aim->state.kept[to].weight = 1.0f / (1.0f + slope * slope);
    aim->state.age_ms += ms;
    aim->state.count += aim->state.count < NOTE_AIM_KEPT;
}

static float centre(const NoteAim *aim) {
    float span = maths_smaller(aim->state.age_ms, NOTE_AIM_WINDOW_MS), age = 0.0f;
    float sum = 0.0f, weights = 1e-9f;
    const float base = aim->state.kept[aim->state.newest % NOTE_AIM_KEPT].note;
    for (size_t k = 0; k < aim->state.count && age < span; k++) {
        size_t from = (aim->state.newest - k) % NOTE_AIM_KEPT;
        float x = 2.0f * (age + 0.5f * aim->state.kept[from].ms) / span - 1.0f;
        float edge = maths_larger(0.0f, 1.0f - x * x);
        float weight = edge * edge * aim->state.kept[from].weight;
        sum += weight * (aim->state.kept[from].note - base);
        weights += weight;
        age += aim->state.kept[from].ms;
    }
    return base + sum / weights;
}

/* Counts for how long p has been away from c, on one side; true: for long enough, a new note. */
static bool has_left(NoteAim *aim, float note, float ms) {
    float away = note - aim->state.now.centre;
    float side = away > NOTE_AIM_LEFT ? 1.0f : away < -NOTE_AIM_LEFT ? -1.0f : 0.0f;
    bool on = side != 0.0f && side == aim->state.side;
    aim->state.side = side;
    aim->state.left_ms = on ? aim->state.left_ms + ms : 0.0f;
    aim->state.left = on ? aim->state.left + 1 : 1;
    return on && aim->state.left_ms >= NOTE_AIM_LEFT_MS;
}

/* Whether `other` is nearer to the centre than what is aimed at, by as much as it must be. */
static bool nearer(const NoteAim *aim, float other) {
    float c = aim->state.now.centre;
    return fabsf(other - c) + NOTE_AIM_NEARER < fabsf(aim->state.now.aim - c);
}

static void choose(NoteAim *aim, float ms, bool anew) {
    if (aim->params.target > 0.0f) {
        aim->state.now.aim = aim->params.target;
        return;
    }
    float nearest = (float)scale_nearest(&aim->params.scale, aim->state.now.centre);
    bool decided = aim->state.now.aim != 0.0f;
    aim->state.dwell_ms = decided && nearer(aim, nearest) ? aim->state.dwell_ms + ms : 0.0f;
    if ((!decided && aim->state.age_ms >= NOTE_AIM_DECIDE_MS) ||
        (decided && (aim->state.dwell_ms >= NOTE_AIM_DWELL_MS || (anew && nearer(aim, nearest)))))
        aim->state.now.aim = nearest;
}

/* What e is on its way to. */
static float wanted(const NoteAim *aim) {
    if (aim->state.now.aim == 0.0f)
        return 0.0f;
    float off = aim->state.now.aim - aim->state.now.centre, leave = aim->params.leave;
    float p = leave > 1e-3f ? (fabsf(off) - leave) / leave : 1.0f;
    p = p < 0.0f ? 0.0f : p > 1.0f ? 1.0f : p;
    off = off > MOST ? MOST : off < -MOST ? -MOST : off;
    return aim->params.strength * off * p * p * (3.0f - 2.0f * p);
}

NoteAimed note_aim_step(NoteAim *aim, double period, bool first) {
    float ms = (float)period * aim->ms_per_frame;
    float raw =
        69.0f + 12.0f * decibel_fast_log2(aim->rate_hz / (float)period / aim->params.tuning_hz);
    if (first) {
        aim->state.in_run = 0;
        aim->state.last[0] = aim->state.last[1] = raw;
        aim->state.slow = raw;
        aim->state.now = (NoteAimed){.note = raw, .centre = raw};
        begin_window(aim, 0);
    }
    float note = median(raw, aim->state.last[0], aim->state.last[1]);
    aim->state.last[1] = aim->state.last[0];
    aim->state.last[0] = raw;
    keep(aim, note, ms);
    aim->state.now.note = note;
    bool anew = has_left(aim, note, ms);
    if (anew)
        begin_window(aim, aim->state.left);
    aim->state.now.centre = centre(aim);
    choose(aim, ms, anew);
    float pole = kept_of(ms, aim->params.glide_ms);
    float goal = wanted(aim);
    aim->state.now.drawn = goal + pole * (aim->state.now.drawn - goal);
    return aim->state.now;
}

float note_aim_correction(const NoteAim *aim, const NoteAimed *here, float drawn) {
    float correction = drawn + (aim->params.vibrato - 1.0f) * (here->note - here->centre);
    return correction > MOST ? MOST : correction < -MOST ? -MOST : correction;
}
