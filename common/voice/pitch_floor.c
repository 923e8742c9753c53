/* SPDX-License-Identifier: ISC */
#include "voice/pitch_floor.h"

#include "basic/decibel.h"

#include <math.h>
#include <string.h>

enum { STEADY = 4 }; /* readings in a row that are near the one before */
static const float SEMITONE = 1.0594631f;
static const float FADE_DB_A_SECOND = 1.0f;
static const float DOWN = 0.98f, UP = 1.06f;
static const float LOWEST_HZ = 40.0f, BINS_AN_OCTAVE = 96.0f;

bool pitch_floor_prepare(PitchFloor *floor, double reading_ms, Arena *arena) {
    floor->fade = powf(10.0f, -0.1f * FADE_DB_A_SECOND * (float)reading_ms * 1e-3f);
    floor->memory = (size_t)lrint(PITCH_FLOOR_MEMORY_S * 1e3 / reading_ms);
    floor->shallow = (size_t)lrint(PITCH_FLOOR_SHALLOW_S * 1e3 / reading_ms);
    floor->deep = (size_t)lrint(PITCH_FLOOR_DEEP_S * 1e3 / reading_ms);
    floor->kept = arena_take(arena, floor->memory, sizeof *floor->kept);
    if (!floor->kept)
        return false;
    pitch_floor_reset(floor);
    return true;
}

void pitch_floor_reset(PitchFloor *floor) {
    memset(&floor->state, 0, sizeof floor->state);
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

static size_t bin_of(float hz) {
    float bin = BINS_AN_OCTAVE * decibel_fast_log2(hz / LOWEST_HZ);
    bin = bin > 0.0f ? bin : 0.0f;
    return bin < PITCH_FLOOR_BINS ? (size_t)bin : PITCH_FLOOR_BINS - 1;
}

static void keep(PitchFloor *floor, float hz) {
    uint16_t *oldest = &floor->kept[floor->state.oldest];
    if (floor->state.known == floor->memory)
        floor->state.count[*oldest]--;
    else
        floor->state.known++;
    *oldest = (uint16_t)bin_of(hz);
    floor->state.count[*oldest]++;
    floor->state.oldest = (floor->state.oldest + 1) % floor->memory;
}

/* The middle of the bin where the n-th of the readings from bin `from` on lies; 0: there are fewer. */
static float lowest_but(const PitchFloor *floor, size_t from, size_t n) {
    size_t below = 0;
    for (size_t bin = from; bin < PITCH_FLOOR_BINS; bin++) {
        below += floor->state.count[bin];
        if (below >= n)
            return LOWEST_HZ * decibel_fast_exp2(((float)bin + 0.5f) / BINS_AN_OCTAVE);
    }
    return 0.0f;
}

static float confirmed(const PitchFloor *floor) {
    float median = lowest_but(floor, 0, (floor->state.known + 1) / 2);
    float sure = lowest_but(floor, 0, floor->deep);
    float soon = lowest_but(floor, bin_of(PITCH_FLOOR_DEEP * median), floor->shallow);
    return sure > 0.0f && (sure < soon || soon == 0.0f) ? sure : soon;
}

float pitch_floor_step(PitchFloor *floor, const PitchReading *reading) {
    float hz = is_voice(floor, reading) ? reading->hz : 0.0f;
    bool near = hz > 0.0f && is_near(hz, floor->state.last_hz);
    floor->state.steady = near ? floor->state.steady + (floor->state.steady < STEADY) : 0;
    floor->state.last_hz = hz;
    bool counts = floor->state.steady == STEADY;
    floor->state.voiced_hz = counts ? hz : 0.0f;
    if (counts) {
        keep(floor, hz);
        float lowest = confirmed(floor), held = floor->state.floor_hz;
        if (lowest > 0.0f && (lowest < DOWN * held || lowest > UP * held))
            floor->state.floor_hz = lowest;
    }
    return floor->state.floor_hz;
}

float pitch_floor_voiced_hz(const PitchFloor *floor) {
    return floor->state.voiced_hz;
}
