/* SPDX-License-Identifier: ISC */
#include "voice/pitch_floor.h"

#include <math.h>

enum { STEADY = 4 }; /* readings in a row that are near the one before */
static const float SEMITONE = 1.0594631f;
static const float FADE_DB_A_SECOND = 1.0f;
static const float DOWN = 0.98f, UP = 1.06f;
static const float NO_NOTE = -1e9f; /* Hz, negated: above any note */

bool pitch_floor_prepare(PitchFloor *floor, double reading_ms, Arena *arena) {
    floor->fade = powf(10.0f, -0.1f * FADE_DB_A_SECOND * (float)reading_ms * 1e-3f);
    size_t readings = (size_t)lrint(PITCH_FLOOR_MEMORY_S * 1e3 / reading_ms);
    if (!sliding_max_prepare(&floor->lowest, readings, arena))
        return false;
    pitch_floor_reset(floor);
    return true;
}

void pitch_floor_reset(PitchFloor *floor) {
    sliding_max_reset(&floor->lowest, NO_NOTE);
    floor->state.loudest = 0.0f;
    floor->state.last_hz = 0.0f;
    floor->state.steady = 0;
    floor->state.voiced_hz = 0.0f;
    floor->state.floor_hz = 0.0f;
}

/* Whether the reading is of a voice, alone; keeps track of the loudest. */
static bool is_voice(PitchFloor *floor, const PitchReading *reading) {
    floor->state.loudest *= floor->fade;
    if (reading->aperiodicity >= PITCH_FLOOR_APERIODICITY || reading->hz <= 0.0f)
        return false;
    if (reading->power > floor->state.loudest)
        floor->state.loudest = reading->power;
    return reading->power > PITCH_FLOOR_GATE * floor->state.loudest;
}

static bool is_near(float a, float b) {
    return a < b * SEMITONE && b < a * SEMITONE;
}

float pitch_floor_step(PitchFloor *floor, const PitchReading *reading) {
    float hz = is_voice(floor, reading) ? reading->hz : 0.0f;
    bool near = hz > 0.0f && is_near(hz, floor->state.last_hz);
    floor->state.steady = near ? floor->state.steady + (floor->state.steady < STEADY) : 0;
    floor->state.last_hz = hz;
    bool counts = floor->state.steady == STEADY;
    floor->state.voiced_hz = counts ? hz : 0.0f;
    if (counts) {
        float lowest = -sliding_max_step(&floor->lowest, -hz);
        float held = floor->state.floor_hz;
        if (lowest < DOWN * held || lowest > UP * held)
            floor->state.floor_hz = lowest;
    }
    return floor->state.floor_hz;
}

float pitch_floor_voiced_hz(const PitchFloor *floor) {
    return floor->state.voiced_hz;
}
