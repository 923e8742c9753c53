/* SPDX-License-Identifier: ISC */
#include "voice/noise_floor.h"

#include "basic/one_pole.h"

#include <math.h>
#include <string.h>

static const double WINDOW_S = 2.0, RISE_DB_PER_S = 10.0, FALL_MS = 40.0;
static const float NOTHING_DB = 1e6f; /* louder than anything */

void noise_floor_prepare(NoiseFloor *floor, double steps_per_second) {
    floor->part = (size_t)lround(WINDOW_S * steps_per_second / NOISE_FLOOR_PARTS);
    floor->rise_db = (float)(RISE_DB_PER_S / steps_per_second);
    floor->fall = (float)(1.0 - one_pole_coefficient(FALL_MS, steps_per_second));
    noise_floor_reset(floor);
}

void noise_floor_reset(NoiseFloor *floor) {
    memset(&floor->state, 0, sizeof floor->state);
    for (size_t k = 0; k < NOISE_FLOOR_PARTS; k++)
        floor->state.least_db[k] = NOTHING_DB;
}

void noise_floor_begin_with(NoiseFloor *floor, float level_db) {
    floor->state.steps = NOISE_FLOOR_STRETCH;
    floor->state.level_db = level_db;
    floor->state.least_db[floor->state.at] = level_db;
    for (size_t k = 0; k < NOISE_FLOOR_STRETCH; k++)
        floor->state.last_db[k] = level_db;
}

static float loudest_of_stretch(const NoiseFloor *floor) {
    float loudest = floor->state.last_db[0];
    for (size_t k = 1; k < NOISE_FLOOR_STRETCH; k++)
        loudest = floor->state.last_db[k] > loudest ? floor->state.last_db[k] : loudest;
    return loudest;
}

/* Takes one stretch into the window; returns the quietest in it. */
static float quietest(NoiseFloor *floor, float stretch_db, bool sung) {
    float *now = &floor->state.least_db[floor->state.at];
    *now = stretch_db < *now ? stretch_db : *now;
    float least = *now;
    for (size_t k = 0; k < NOISE_FLOOR_PARTS; k++)
        least = floor->state.least_db[k] < least ? floor->state.least_db[k] : least;
    if (!sung && ++floor->state.in_part == floor->part) {
        floor->state.in_part = 0;
        floor->state.at = (floor->state.at + 1) % NOISE_FLOOR_PARTS;
        floor->state.least_db[floor->state.at] = NOTHING_DB;
    }
    return least;
}

void noise_floor_step(NoiseFloor *floor, float level_db, bool sung) {
    floor->state.last_db[floor->state.steps % NOISE_FLOOR_STRETCH] = level_db;
    floor->state.steps++;
    if (floor->state.steps < NOISE_FLOOR_STRETCH)
        return;
    float least = quietest(floor, loudest_of_stretch(floor), sung);
    if (floor->state.steps == NOISE_FLOOR_STRETCH)
        floor->state.level_db = least;
    float over = least - floor->state.level_db;
    if (over < 0.0f)
        floor->state.level_db += floor->fall * over;
    else if (!sung)
        floor->state.level_db += over < floor->rise_db ? over : floor->rise_db;
}

bool noise_floor_get(const NoiseFloor *floor, float *level_db) {
    if (floor->state.steps < NOISE_FLOOR_STRETCH)
        return false;
    *level_db = floor->state.level_db;
    return true;
}
