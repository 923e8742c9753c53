/* SPDX-License-Identifier: ISC */
#include "voice/vowel_level.h"

#include "basic/one_pole.h"

#include <math.h>
#include <string.h>

static const double RISE_MS = 75.0, FALL_MS = 3000.0, JUMP_MS = 30.0, ENOUGH_MS = 50.0,
                    SURE_MS = 500.0;
static const double CREEP_DB_PER_S = 1.0, LEAK_DB_PER_S = 2.0, LOST_LEAK_DB_PER_S = 20.0;
static const double ABOVE_QUIETEST_DB = 12.0;
static const double JUMP_DB = 12.0, QUIET_VOWEL_DB = -20.0, LOST_DB = -60.0,
                    SILENCE_DB = -100.0; /* over level */
static const float LOWEST_GATE_DB = -20.0f, HIGHEST_GATE_DB = -10.0f;
static const double NO_SIGNAL_DB = -250.0;

void vowel_level_prepare(VowelLevel *v, double steps_per_second) {
    memset(v, 0, sizeof *v);
    v->rise = 1.0 - one_pole_coefficient(RISE_MS, steps_per_second);
    v->fall = 1.0 - one_pole_coefficient(FALL_MS, steps_per_second);
    v->jump = 1.0 - one_pole_coefficient(JUMP_MS, steps_per_second);
    v->creep_db = CREEP_DB_PER_S / steps_per_second;
    v->enough = ENOUGH_MS * 1e-3 * steps_per_second;
    v->sure = SURE_MS * 1e-3 * steps_per_second;
    v->leak_db = LEAK_DB_PER_S / steps_per_second;
    v->lost_leak_db = LOST_LEAK_DB_PER_S / steps_per_second;
}

void vowel_level_reset(VowelLevel *v) {
    memset(&v->state, 0, sizeof v->state);
}

void vowel_level_set(VowelLevel *v, float gate_db) {
    v->gate_db = gate_db < LOWEST_GATE_DB    ? LOWEST_GATE_DB
                 : gate_db > HIGHEST_GATE_DB ? HIGHEST_GATE_DB
                                             : gate_db;
}

static bool is_known(const VowelLevel *v) {
    return v->state.steps >= v->enough;
}

/* Relative too, but for the start: the floor of a level in dB must not reach the level. */
static bool is_silence(const VowelLevel *v, double voice_db) {
    return voice_db < NO_SIGNAL_DB ||
           (v->state.steps > 0.0 && voice_db < v->state.level_db + SILENCE_DB);
}

static void follow(VowelLevel *v, double voice_db) {
    double over_db = voice_db - v->state.level_db;
    bool known = is_known(v);
    double mean = 1.0 / ++v->state.steps; /* 1 at first: the level is the first vowel's */
    if (known && over_db < QUIET_VOWEL_DB)
        v->state.level_db -= v->leak_db;
    else
        v->state.level_db += over_db * fmax(mean, over_db > JUMP_DB ? v->jump
                                                  : over_db > 0.0   ? v->rise
                                                                    : v->fall);
}

void vowel_level_step(VowelLevel *v, float voice_db, float band_db) {
    double voice = (double)voice_db;
    if (is_silence(v, voice))
        return;
    bool lost = is_known(v) && voice < v->state.level_db + LOST_DB;
    if (!lost) {
        double crept = v->state.quietest_db + v->creep_db;
        v->state.quietest_db = v->state.signal ? fmin(voice, crept) : voice;
        v->state.signal = true;
    }
    if (band_db - voice_db >= v->gate_db || voice < v->state.quietest_db + ABOVE_QUIETEST_DB)
        return;
    if (lost)
        v->state.level_db -= v->lost_leak_db;
    else
        follow(v, voice);
}

bool vowel_level_get(const VowelLevel *v, float *level_db) {
    bool known = is_known(v);
    if (known)
        *level_db = (float)v->state.level_db;
    return known;
}

float vowel_level_doubt(const VowelLevel *v) {
    return (float)fmax(1.0 - v->state.steps / v->sure, 0.0);
}
