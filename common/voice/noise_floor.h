/* SPDX-License-Identifier: ISC */
/* noise_floor.h: the level of what never stops: room, hum, amplifier.
 *
 * The quietest stretch of the last 2 s of unsung time: after the minimum statistics of Martin (IEEE
 * Trans. SAP 9(5), 504-512, 2001), with two differences. A stretch is as loud as the loudest of
 * NOISE_FLOOR_STRETCH steps, so that neither a cut in the take nor a zero of the noise is one; this
 * also takes the place of his correction of bias. And time stands still while the caller says that
 * something sings, since a legato phrase may be longer than any window.
 * The floor falls towards that minimum with a time constant of 40 ms and rises by at most 10 dB a
 * second of unsung time, so that a take without gaps leaves it where it was.
 * Levels in dB; adding a constant to all of them adds it to the floor. Latency 0. */
#ifndef SISKIN_VOICE_NOISE_FLOOR_H
#define SISKIN_VOICE_NOISE_FLOOR_H

#include <stdbool.h>
#include <stddef.h>

enum { NOISE_FLOOR_STRETCH = 8, NOISE_FLOOR_PARTS = 8 };

typedef struct {
    size_t part;   /* steps in a part of the window */
    float rise_db; /* a step */
    float fall;    /* share of the way, a step */
    struct {
        size_t steps; /* given */
        float level_db;
        float last_db[NOISE_FLOOR_STRETCH];
        size_t in_part; /* steps in the current part */
        size_t at;      /* the current part */
        float least_db[NOISE_FLOOR_PARTS];
    } state;
} NoiseFloor;

void noise_floor_prepare(NoiseFloor *floor, double steps_per_second);
void noise_floor_reset(NoiseFloor *floor);
/* After a reset: as if this level had been heard so far. */
void noise_floor_begin_with(NoiseFloor *floor, float level_db);
/* One step. sung: only a lower stretch counts, and no time passes. */
void noise_floor_step(NoiseFloor *floor, float level_db, bool sung);
/* False until a whole stretch was heard; then *level_db is left alone. */
bool noise_floor_get(const NoiseFloor *floor, float *level_db);

#endif
