/* SPDX-License-Identifier: ISC */
#include "voice/pitch_floor.h"

#include "basic/decibel.h"
#include "basic/maths.h"

#include <math.h>
#include <string.h>

enum { STEADY = 4 }; /* readings in a row that are near the one before */
static const float SEMITONE = 1.0594631f;
static const float FADE_DB_A_SECOND = 1.0f;
static const float DOWN = 0.98f, UP = 1.04f;
static const float LOWEST_HZ = 40.0f, BINS_AN_OCTAVE = 48.0f, ALL_BINS = 1e6f;
/* Nothing of a bin counts 10 semitones under the median, all of it 8 semitones under it. */
static const float DEEP_RAMP = 8.0f, DEEP_START = 5.0f;

bool pitch_floor_prepare(PitchFloor *floor, double reading_ms, Arena *arena) {
    floor->fade = powf(10.0f, -0.1f * FADE_DB_A_SECOND * (float)reading_ms * 1e-3f);
    floor->memory = (size_t)lrint(PITCH_FLOOR_MEMORY_S * 1e3 / reading_ms);
    floor->shallow = (float)(PITCH_FLOOR_SHALLOW_S * 1e3 / reading_ms);
    floor->deep = (float)(PITCH_FLOOR_DEEP_S * 1e3 / reading_ms);
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

/* The next bin from `bin` on that is not empty, or one from end_bin on. Few are not. */
static size_t next_bin(const PitchFloor *floor, size_t bin) {
    enum { FOUR = sizeof(uint64_t) / sizeof *floor->state.count };
    while (bin < floor->state.end_bin && floor->state.count[bin] == 0) {
        uint64_t four = 0;
        if (bin % FOUR == 0)
            memcpy(&four, floor->state.count + bin, sizeof four);
        bin += bin % FOUR == 0 && four == 0 ? FOUR : 1;
    }
    return bin;
}

static void keep(PitchFloor *floor, float hz) {
    uint16_t *oldest = &floor->kept[floor->state.oldest];
    if (floor->state.known == floor->memory)
        floor->state.count[*oldest]--;
    else
        floor->state.known++;
    *oldest = (uint16_t)bin_of(hz);
    floor->state.count[*oldest]++;
    if (*oldest >= floor->state.end_bin)
        floor->state.end_bin = (uint16_t)(*oldest + 1);
    size_t lowest = floor->state.lowest_bin;
    floor->state.lowest_bin = (uint16_t)next_bin(floor, *oldest < lowest ? *oldest : lowest);
    floor->state.oldest = (floor->state.oldest + 1) % floor->memory;
}

/* How much of the readings of a bin counts, when those deep under `median` do not. */
static float share_of(float bin, float median) {
    float share = (bin - median) * (1.0f / DEEP_RAMP) + DEEP_START;
    return share < 0.0f ? 0.0f : share > 1.0f ? 1.0f : share;
}

/* The mean of the readings of rank (1 - spread) n .. (1 + spread) n from below, as a bin, `unknown`
 * of them being at 0. A mean, so that one reading more or less moves it little. */
static float low_mean(const PitchFloor *floor, float n, float spread, float unknown, float median) {
    const float from = (1.0f - spread) * n, to = (1.0f + spread) * n;
    float below = unknown, sum = 0.0f, taken = maths_larger(unknown - from, 0.0f);
    for (size_t bin = floor->state.lowest_bin; bin < floor->state.end_bin && below < to;
         bin = next_bin(floor, bin + 1)) {
        float at = (float)bin, before = below;
        below += (float)floor->state.count[bin] * share_of(at, median);
        float first = maths_larger(before, from), last = maths_smaller(below, to);
        float here = maths_larger(last - first, 0.0f);
        sum += here * (at + 0.5f);
        taken += here;
    }
    return taken > 0.0f ? sum / taken : 0.0f;
}

static float median_of(const PitchFloor *floor) {
    size_t below = 0, bin = floor->state.lowest_bin;
    while (2 * below < floor->state.known) {
        bin = next_bin(floor, bin);
        below += floor->state.count[bin++];
    }
    return (float)(bin < PITCH_FLOOR_BINS - 1 ? bin : PITCH_FLOOR_BINS - 1);
}

static float confirmed(const PitchFloor *floor) {
    float known = (float)floor->state.known;
    float unknown = maths_larger(1.5f * floor->shallow - known, 0.0f);
    float bin = low_mean(floor, floor->shallow, 0.5f, unknown, median_of(floor));
    if (known >= 1.25f * floor->deep)
        bin = maths_smaller(bin, low_mean(floor, floor->deep, 0.25f, 0.0f, -ALL_BINS));
    return LOWEST_HZ * decibel_fast_exp2(bin / BINS_AN_OCTAVE);
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
        floor->state.floor_hz = held == 0.0f           ? lowest
                                : lowest < DOWN * held ? lowest / DOWN
                                : lowest > UP * held   ? lowest / UP
                                                       : held;
    }
    return floor->state.floor_hz;
}

float pitch_floor_voiced_hz(const PitchFloor *floor) {
    return floor->state.voiced_hz;
}
