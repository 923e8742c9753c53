/* SPDX-License-Identifier: ISC */
#include "detect/thumps.h"

#include "basic/decibel.h"
#include "basic/maths.h"
#include "basic/one_pole.h"

#include <math.h>
#include <string.h>

static const float FIRST_HZ = 20.0f, LOW_HZ = 300.0f;
static const float UNDER_NOTE = 0.5f, LEAST_HZ = 30.0f, MOST_HZ = 90.0f;
/* Butterworth, second and fourth order: Q = 1 / sqrt(2), 1 / (2 cos(pi/8)), 1 / (2 cos(3pi/8)). */
static const float Q2 = 0.70710678f, Q4[2] = {0.54119610f, 1.30656296f};
static const float OVER_VOICE = 0.125893f; /* -9 dB of power */
static const float OVER_LOW = 0.0501187f;  /* -13 dB */
static const float OVER_ROOM = 20.0f, ROOM_COUNTS = 4.0f;
static const float STAYS = 0.251189f;     /* 6 dB under these it is over, and may begin again */
static const float MAY_COME = 0.0630957f; /* -12 dB */
static const double KNOWN_S = 0.3;        /* of voice */

static void design(Svf *svf, double rate_hz, SvfKind kind, float hz, float q) {
    svf_set(svf, rate_hz, &(SvfParams){.kind = kind, .frequency_hz = hz, .q = q});
}

static void aim_deep(Thumps *thumps, float lowest_hz) {
    float hz = maths_smaller(maths_larger(UNDER_NOTE * lowest_hz, LEAST_HZ), MOST_HZ);
    thumps->state.lowest_hz = lowest_hz;
    thumps->state.whole = MOST_HZ / hz;
    for (int i = 0; i < 2; i++)
        design(&thumps->deep[i], thumps->step_hz, SVF_LOW_PASS, hz, Q4[i]);
}

bool thumps_prepare(Thumps *thumps, double rate_hz, Arena *arena) {
    *thumps = (Thumps){0};
    thumps->step = (size_t)fmax(1.0, round(THUMPS_STEP_MS * 1e-3 * rate_hz));
    thumps->step_hz = rate_hz / (double)thumps->step;
    thumps->n_taps = (2 * thumps->step + 7) / 8 * 8;
    thumps->taps = arena_take(arena, thumps->n_taps, sizeof(float));
    thumps->line = arena_take(arena, thumps->n_taps + thumps->step, sizeof(float));
    if (!thumps->taps || !thumps->line)
        return false;
    double step = (double)thumps->step;
    for (size_t i = 0; i < 2 * thumps->step; i++)
        thumps->taps[thumps->n_taps - 1 - i] =
            (float)((step - fabs((double)i + 0.5 - step)) / (step * step));
    thumps->smooth = (float)one_pole_coefficient(THUMPS_SMOOTH_MS, thumps->step_hz);
    thumps->voice_steps = (float)(THUMPS_VOICE_S * thumps->step_hz);
    thumps->room_steps = (float)(THUMPS_ROOM_S * thumps->step_hz);
    thumps->known = (float)(KNOWN_S * thumps->step_hz);
    thumps->longest = (unsigned)lround(1e-3 * THUMPS_LONGEST_MS * thumps->step_hz);
    design(&thumps->above, thumps->step_hz, SVF_HIGH_PASS, FIRST_HZ, Q2);
    for (int i = 0; i < 2; i++)
        design(&thumps->low[i], thumps->step_hz, SVF_LOW_PASS, LOW_HZ, Q4[i]);
    thumps_reset(thumps);
    return true;
}

void thumps_reset(Thumps *thumps) {
    memset(&thumps->state, 0, sizeof thumps->state);
    memset(thumps->line, 0, (thumps->n_taps + thumps->step) * sizeof *thumps->line);
    aim_deep(thumps, 0.0f);
    svf_reset(&thumps->above);
    for (int i = 0; i < 2; i++) {
        svf_reset(&thumps->deep[i]);
        svf_reset(&thumps->low[i]);
    }
}

void thumps_voice(Thumps *thumps, float lowest_hz, bool voiced) {
    thumps->state.voiced = voiced;
    if (lowest_hz != thumps->state.lowest_hz)
        aim_deep(thumps, lowest_hz);
}

size_t thumps_until(const Thumps *thumps) {
    return thumps->step - thumps->state.taken;
}

/* Means of as much as there was, later of `most` steps. */
static void follow_means(Thumps *thumps) {
    const float deep = thumps->state.deep, room = thumps->state.room;
    if (thumps->state.steps < thumps->room_steps)
        thumps->state.steps += 1.0f;
    bool begun = thumps->state.steps >= thumps->known;
    float counts = begun ? maths_smaller(deep, ROOM_COUNTS * room) : deep;
    thumps->state.room += (counts - room) / thumps->state.steps;
    if (!thumps->state.voiced || thumps->state.lasts > 0)
        return;
    if (thumps->state.voiced_steps < thumps->voice_steps)
        thumps->state.voiced_steps += 1.0f;
    thumps->state.voice += (thumps->state.low - thumps->state.voice) / thumps->state.voiced_steps;
}

/* Whether it stands out by all three bounds, moved by `share`. */
static bool stands_out(const Thumps *thumps, float share) {
    const float deep = thumps->state.deep;
    return deep > share * OVER_VOICE * thumps->state.voice &&
           deep > share * OVER_LOW * thumps->state.low &&
           deep > share * OVER_ROOM * thumps->state.room;
}

static void judge(Thumps *thumps) {
    bool known = thumps->state.lowest_hz > 0.0f && thumps->state.voiced_steps >= thumps->known;
    bool stays = stands_out(thumps, STAYS), on = thumps->state.lasts > 0;
    thumps->state.near = known && stands_out(thumps, MAY_COME);
    if (!stays)
        thumps->state.spent = false;
    if (!known || thumps->state.spent || !(on ? stays : stands_out(thumps, 1.0f))) {
        thumps->state.lasts = 0;
    } else if (++thumps->state.lasts > thumps->longest) {
        thumps->state.lasts = 0;
        thumps->state.spent = true;
    }
}

static void step(Thumps *thumps, float x) {
    x = svf_step(&thumps->above, x);
    float low = svf_step(&thumps->low[1], svf_step(&thumps->low[0], x));
    float deep = svf_step(&thumps->deep[1], svf_step(&thumps->deep[0], x));
    thumps->state.low = one_pole_step(thumps->state.low, low * low, thumps->smooth);
    thumps->state.deep =
        one_pole_step(thumps->state.deep, thumps->state.whole * deep * deep, thumps->smooth);
    judge(thumps);
    follow_means(thumps);
}

bool thumps_process(Thumps *thumps, const float *in, size_t n) {
    memcpy(thumps->line + thumps->n_taps + thumps->state.taken, in, n * sizeof *in);
    thumps->state.taken += n;
    if (thumps->state.taken < thumps->step)
        return false;
    thumps->state.taken = 0;
    memmove(thumps->line, thumps->line + thumps->step, thumps->n_taps * sizeof *thumps->line);
    step(thumps, maths_dot(thumps->line, thumps->taps, thumps->n_taps));
    return true;
}

bool thumps_now(const Thumps *thumps) {
    return thumps->state.lasts > 0;
}

bool thumps_near(const Thumps *thumps) {
    return thumps->state.near;
}

float thumps_level_db(const Thumps *thumps) {
    return decibel_from_power(thumps->state.deep) - decibel_from_power(thumps->state.voice);
}
