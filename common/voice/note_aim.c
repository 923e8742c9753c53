/* SPDX-License-Identifier: ISC */
#include "voice/note_aim.h"

#include "basic/decibel.h"
#include "basic/maths.h"

#include <math.h>
#include <string.h>

/* Slopes are read over this; those of 32 semitones a second count half. */
static const float SLOPE_MS = 12.0f, HALF_SLOPE = 0.032f;
static const float UNCLEAR = 0.88f, CLEAR = 0.98f, ONSET_MS = 15.0f;
/* A window that was begun on the way to a note is soon begun again; not for ever, or it would
 * follow a vibrato. */
static const float GROWN_MS = 200.0f;
enum { MOST_RESTARTS = 2 };
static const float MOST = 12.0f; /* semitones: no more is ever corrected */
static const float SETTLED =
    0.5f;                       /* semitones: so near is on the new note, and no more on the way */
static const float LEAP = 3.0f; /* semitones from one period to the next */
static const float ARRIVAL = 1.0f / 3.0f; /* of a note so far, at most */

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

/* All before the newest period was another note, or was misread. */
static void begin_anew(NoteAim *aim, float note) {
    begin_window(aim, 1);
    aim->state.in_run = 1;
    aim->state.open = true;
    aim->state.now.centre = note;
}

/* 1 for a period like its neighbour, next to nothing where a voice sets in or breaks. */
static float clarity(float likeness, float run_ms) {
    float clear = (likeness - UNCLEAR) / (CLEAR - UNCLEAR);
    clear = clear < 0.05f ? 0.05f : clear > 1.0f ? 1.0f : clear;
    return run_ms < ONSET_MS ? 0.1f * clear : clear;
}

/* 1 where p rests, a half where it moves by HALF_SLOPE. */
static float steadiness(float moved, float ms) {
    float slope = moved / ms / HALF_SLOPE;
    return 1.0f / (1.0f + slope * slope);
}

/* A period counts as steady as p is on the less steady side of it; the newest have only one side
 * yet. */
static void keep(NoteAim *aim, float note, float ms, float clear) {
    size_t to = ++aim->state.newest % NOTE_AIM_KEPT, back = 0;
    float past_ms = 0.5f * ms, weight = clear;
    while (back < aim->state.in_run && past_ms < SLOPE_MS) {
        back++;
        past_ms += aim->state.kept[(aim->state.newest - back) % NOTE_AIM_KEPT].ms;
    }
    if (back > 0) {
        size_t from = (aim->state.newest - back) % NOTE_AIM_KEPT;
        float steady = steadiness(note - aim->state.kept[from].note, past_ms);
        aim->state.kept[from].weight = maths_smaller(aim->state.kept[from].weight, steady);
        weight *= steady;
    }
    aim->state.kept[to].note = note;
    aim->state.kept[to].ms = ms;
    aim->state.kept[to].weight = weight;
    aim->state.age_ms += ms;
    aim->state.in_run++;
    aim->state.count += aim->state.count < NOTE_AIM_KEPT;
}

static float centre(const NoteAim *aim) {
    float arrival = maths_smaller(aim->state.age_ms * ARRIVAL, aim->params.arrival_ms);
    float span = maths_smaller(aim->state.age_ms - arrival, NOTE_AIM_WINDOW_MS), age = 0.0f;
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
    bool young = aim->state.age_ms < NOTE_AIM_YOUNG_MS && aim->state.restarts < MOST_RESTARTS;
    if (aim->state.age_ms >= GROWN_MS)
        aim->state.restarts = 0;
    float most = young ? NOTE_AIM_LEFT_YOUNG : NOTE_AIM_LEFT;
    float side = away > most ? 1.0f : away < -most ? -1.0f : 0.0f;
    bool on = side != 0.0f && side == aim->state.side;
    aim->state.side = side;
    aim->state.left_ms = on ? aim->state.left_ms + ms : 0.0f;
    aim->state.left = on ? aim->state.left + 1 : 1;
    return on && aim->state.left_ms >= (young ? NOTE_AIM_LEFT_YOUNG_MS : NOTE_AIM_LEFT_MS);
}

/* Of the periods since p left c, the last ones, near to where it is now: the others are the way
 * there. */
static size_t settled(const NoteAim *aim, float note) {
    size_t count = 1;
    while (count < aim->state.left &&
           fabsf(aim->state.kept[(aim->state.newest - count) % NOTE_AIM_KEPT].note - note) <
               SETTLED)
        count++;
    return count;
}

/* Whether `other` is nearer to the centre than what is aimed at, by as much as it must be. */
static bool nearer(const NoteAim *aim, float other) {
    float c = aim->state.now.centre;
    float least = aim->state.age_ms < GROWN_MS ? NOTE_AIM_NEARER_YOUNG : NOTE_AIM_NEARER;
    return fabsf(other - c) + least < fabsf(aim->state.now.aim - c);
}

static void choose(NoteAim *aim, float ms, bool anew) {
    if (aim->params.target > 0.0f) {
        aim->state.now.aim = aim->params.target;
        aim->state.open = false;
        return;
    }
    float nearest = (float)scale_nearest(&aim->params.scale, aim->state.now.centre);
    bool decided = aim->state.now.aim != 0.0f && !aim->state.open;
    float dwell =
        aim->state.age_ms < NOTE_AIM_YOUNG_MS ? NOTE_AIM_DWELL_YOUNG_MS : NOTE_AIM_DWELL_MS;
    aim->state.dwell_ms = decided && nearer(aim, nearest) ? aim->state.dwell_ms + ms : 0.0f;
    if ((!decided && aim->state.age_ms >= NOTE_AIM_DECIDE_MS) ||
        (decided && (aim->state.dwell_ms >= dwell || (anew && nearer(aim, nearest)))))
        aim->state.now.aim = nearest;
    aim->state.open = aim->state.open && aim->state.age_ms < NOTE_AIM_DECIDE_MS;
}

/* What e is on its way to; it stays where it is while no note is decided on. */
static float wanted(const NoteAim *aim) {
    if (aim->state.now.aim == 0.0f || aim->state.open)
        return aim->state.now.drawn;
    float off = aim->state.now.aim - aim->state.now.centre, leave = aim->params.leave;
    float p = leave > 1e-3f ? 2.0f * (fabsf(off) - leave) / leave : 1.0f;
    p = p < 0.0f ? 0.0f : p > 1.0f ? 1.0f : p;
    off = off > MOST ? MOST : off < -MOST ? -MOST : off;
    return aim->params.strength * off * p * p * (3.0f - 2.0f * p);
}

NoteAimed note_aim_step(NoteAim *aim, double period, float likeness, bool first) {
    float ms = (float)period * aim->ms_per_frame;
    float raw =
        69.0f + 12.0f * decibel_fast_log2(aim->rate_hz / (float)period / aim->params.tuning_hz);
    if (first) {
        aim->state.in_run = 0;
        aim->state.run_ms = 0.0f;
        aim->state.restarts = 0;
        aim->state.open = false;
        aim->state.last[0] = aim->state.last[1] = raw;
        aim->state.now = (NoteAimed){.note = raw, .centre = raw};
        begin_window(aim, 0);
    }
    float note = median(raw, aim->state.last[0], aim->state.last[1]);
    aim->state.last[1] = aim->state.last[0];
    aim->state.last[0] = raw;
    keep(aim, note, ms, clarity(likeness, aim->state.run_ms));
    aim->state.run_ms += ms;
    if (fabsf(note - aim->state.now.note) > LEAP)
        begin_anew(aim, note);
    aim->state.now.note = note;
    bool anew = has_left(aim, note, ms);
    if (anew) {
        begin_window(aim, settled(aim, note));
        aim->state.restarts++;
        aim->state.open = aim->state.age_ms < NOTE_AIM_DECIDE_MS;
    }
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
