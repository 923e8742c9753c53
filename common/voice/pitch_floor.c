/* SPDX-License-Identifier: ISC */
#include "voice/pitch_floor.h"

#include "basic/decibel.h"
#include "basic/maths.h"

#include <math.h>
#include <string.h>

enum { STEADY = PITCH_FLOOR_ROW - 1 }; /* readings in a row that are near the one before */
static const float SEMITONE = 1.0594631f;
static const float FADE_DB_A_SECOND = 1.0f;
static const float DOWN = 0.98f, UP = 1.005f;
static const float LOWEST_HZ = 40.0f, BINS_AN_OCTAVE = 48.0f, ALL_BINS = 1e6f;
/* A reading counts for nothing at the first, and for all of it from the second on. */
static const float NOISY = 0.15f, CLEAN = 0.05f;             /* aperiodicity */
static const float FAR_UNDER_DB = -33.0f, UNDER_DB = -27.0f; /* the loudest */
static const float APART = 1.075f, NEAR = 1.045f;            /* to the one before */
/* What is not known counts as 60 Hz: 48 log2(60 / 40). */
static const float UNKNOWN_BIN = 28.08f;
static const float SHALLOW_SPREAD = 0.5f, DEEP_SPREAD = 0.25f; /* of a rank: what the mean is of */
/* Nothing of a bin counts 10 semitones under the median, all of it 8 semitones under it. */
static const float DEEP_RAMP = 8.0f, DEEP_START = 5.0f;
static const int32_t WHOLE = PITCH_FLOOR_PARTS * PITCH_FLOOR_PARTS; /* counts of a reading */

bool pitch_floor_prepare(PitchFloor *floor, double reading_ms, Arena *arena) {
    floor->fade = powf(10.0f, -0.1f * FADE_DB_A_SECOND * (float)reading_ms * 1e-3f);
    size_t memory = (size_t)lrint(PITCH_FLOOR_MEMORY_S * 1e3 / reading_ms);
    floor->most = (int32_t)memory * WHOLE;
    floor->room = 2 * memory;
    floor->shallow = (float)(PITCH_FLOOR_SHALLOW_S * 1e3 / reading_ms);
    floor->deep = (float)(PITCH_FLOOR_DEEP_S * 1e3 / reading_ms);
    floor->kept = arena_take(arena, floor->room, sizeof *floor->kept);
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

/* How many times the lower of two is the higher, 1 and more. */
static float apart(float a, float b) {
    return a > b ? a / b : b / a;
}

/* How much it is one, 0..1, and near the one before; after is_voice(). */
static float voice_share(const PitchFloor *floor, const PitchReading *reading) {
    if (reading->hz <= 0.0f || floor->state.last_hz <= 0.0f)
        return 0.0f;
    float over_db = decibel_from_power(reading->power) - decibel_from_power(floor->state.loudest);
    return maths_ramp(reading->aperiodicity, NOISY, CLEAN) *
           maths_ramp(over_db, FAR_UNDER_DB, UNDER_DB) *
           maths_ramp(apart(reading->hz, floor->state.last_hz), APART, NEAR);
}

/* Takes the share of a reading; how much that reading counts, in parts. */
static unsigned weight_of(PitchFloor *floor, float share) {
    float *row = floor->state.row, least = share;
    memmove(row, row + 1, (PITCH_FLOOR_ROW - 1) * sizeof *row);
    row[PITCH_FLOOR_ROW - 1] = share;
    for (int k = 0; k < PITCH_FLOOR_ROW; k++)
        least = maths_smaller(least, row[k]);
    return (unsigned)((float)PITCH_FLOOR_PARTS * least + 0.5f);
}

static uint16_t place_of(float hz) {
    const float most = PITCH_FLOOR_PARTS * (PITCH_FLOOR_BINS - 2);
    float place = PITCH_FLOOR_PARTS * (BINS_AN_OCTAVE * decibel_fast_log2(hz / LOWEST_HZ) - 0.5f);
    return (uint16_t)maths_smaller(maths_larger(place, 0.0f), most);
}

/* The next bin from `bin` on that is not empty, or one from end_bin on. Few are not. */
static size_t next_bin(const PitchFloor *floor, size_t bin) {
    enum { TWO = sizeof(uint64_t) / sizeof *floor->state.count };
    while (bin < floor->state.end_bin && floor->state.count[bin] == 0) {
        uint64_t two = 0;
        if (bin % TWO == 0)
            memcpy(&two, floor->state.count + bin, sizeof two);
        bin += bin % TWO == 0 && two == 0 ? TWO : 1;
    }
    return bin;
}

/* Adds a kept reading, sign 1, or takes it away, sign -1, shared between the bins whose middles it
 * lies between. */
static void count(PitchFloor *floor, const PitchFloorKept *kept, int sign) {
    int32_t *bin = &floor->state.count[kept->place / PITCH_FLOOR_PARTS];
    int32_t weight = sign * kept->weight, above = kept->place % PITCH_FLOOR_PARTS;
    bin[0] += weight * (PITCH_FLOOR_PARTS - above);
    bin[1] += weight * above;
    floor->state.known += weight * PITCH_FLOOR_PARTS;
}

static void forget_oldest(PitchFloor *floor) {
    count(floor, &floor->kept[floor->state.oldest], -1);
    floor->state.oldest = (floor->state.oldest + 1) % floor->room;
    floor->state.n_kept--;
}

/* At most PITCH_FLOOR_PARTS old ones go for it, the least counting one part. */
static void keep(PitchFloor *floor, float hz, unsigned weight) {
    if (floor->state.n_kept == floor->room)
        forget_oldest(floor);
    PitchFloorKept *kept = &floor->kept[(floor->state.oldest + floor->state.n_kept) % floor->room];
    *kept = (PitchFloorKept){place_of(hz), (uint16_t)weight};
    floor->state.n_kept++;
    count(floor, kept, 1);
    while (floor->state.known > floor->most)
        forget_oldest(floor);
    size_t bin = kept->place / PITCH_FLOOR_PARTS, lowest = floor->state.lowest_bin;
    if (bin + 2 > floor->state.end_bin)
        floor->state.end_bin = (uint16_t)(bin + 2);
    floor->state.lowest_bin = (uint16_t)next_bin(floor, bin < lowest ? bin : lowest);
}

/* How much of the readings of a bin counts, when those deep under `median` do not. */
static float share_of(float bin, float median) {
    float share = (bin - median) * (1.0f / DEEP_RAMP) + DEEP_START;
    return share < 0.0f ? 0.0f : share > 1.0f ? 1.0f : share;
}

static float readings_of(int32_t count) {
    return (float)count / (float)WHOLE;
}

/* The mean of the readings of rank (1 - spread) n .. (1 + spread) n from below, as a bin, `unknown`
 * of them being lowest. A mean, so that one reading more or less moves it little. */
static float low_mean(const PitchFloor *floor, float n, float spread, float unknown, float median) {
    const float from = (1.0f - spread) * n, to = (1.0f + spread) * n;
    float below = unknown, taken = maths_larger(unknown - from, 0.0f), sum = UNKNOWN_BIN * taken;
    for (size_t bin = floor->state.lowest_bin; bin < floor->state.end_bin && below < to;
         bin = next_bin(floor, bin + 1)) {
        float at = (float)bin, before = below;
        below += readings_of(floor->state.count[bin]) * share_of(at, median);
        float first = maths_larger(before, from), last = maths_smaller(below, to);
        float here = maths_larger(last - first, 0.0f);
        sum += here * (at + 0.5f);
        taken += here;
    }
    return taken > 0.0f ? sum / taken : 0.0f;
}

static float median_of(const PitchFloor *floor) {
    size_t bin = floor->state.lowest_bin;
    int32_t below = 0;
    while (2 * below < floor->state.known) {
        bin = next_bin(floor, bin);
        below += floor->state.count[bin++];
    }
    return (float)(bin < PITCH_FLOOR_BINS - 1 ? bin : PITCH_FLOOR_BINS - 1);
}

static float confirmed(const PitchFloor *floor) {
    float known = readings_of(floor->state.known);
    float unknown = maths_larger((1.0f + SHALLOW_SPREAD) * floor->shallow - known, 0.0f);
    float bin = low_mean(floor, floor->shallow, SHALLOW_SPREAD, unknown, median_of(floor));
    if (known >= (1.0f + DEEP_SPREAD) * floor->deep)
        bin = maths_smaller(bin, low_mean(floor, floor->deep, DEEP_SPREAD, 0.0f, -ALL_BINS));
    return LOWEST_HZ * decibel_fast_exp2(bin / BINS_AN_OCTAVE);
}

static float follow(float held, float lowest) {
    if (held == 0.0f)
        return lowest;
    return maths_smaller(maths_larger(held, lowest / UP), lowest / DOWN);
}

float pitch_floor_step(PitchFloor *floor, const PitchReading *reading) {
    bool voice = is_voice(floor, reading);
    bool near = voice && floor->state.voice && apart(reading->hz, floor->state.last_hz) < SEMITONE;
    unsigned weight = weight_of(floor, voice_share(floor, reading));
    floor->state.steady = near ? floor->state.steady + (floor->state.steady < STEADY) : 0;
    floor->state.voiced_hz = floor->state.steady == STEADY ? reading->hz : 0.0f;
    floor->state.voice = voice;
    floor->state.last_hz = reading->hz;
    if (weight > 0) {
        keep(floor, reading->hz, weight);
        floor->state.floor_hz = follow(floor->state.floor_hz, confirmed(floor));
    }
    return floor->state.floor_hz;
}

float pitch_floor_voiced_hz(const PitchFloor *floor) {
    return floor->state.voiced_hz;
}
