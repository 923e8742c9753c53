/* SPDX-License-Identifier: ISC */
/* slow_turns.h: a value that goes up at an even pace, turns, goes down at the same pace, and turns
 * again.
 *
 * For a delay: while it grows at s seconds a second what is heard is lower by -1200 log2(1 - s)
 * cents, and higher as it falls, so that a voice is off by as many cents nearly always, now one way
 * and now the other. It turns above 0 and below in turn, each time at another place between half
 * the way and the whole, drawn by chance (split_mix.h): an even vibrato of the delay is heard as
 * such, this is not. A turn takes about three times SLOW_TURNS_TURN_MS: the pace is smoothed by one
 * pole. A seed gives the same path after every reset. It begins at 0, upwards. Cost 5 operations a
 * step. */
#ifndef SISKIN_SOUND_SLOW_TURNS_H
#define SISKIN_SOUND_SLOW_TURNS_H

#include <stdint.h>

#define SLOW_TURNS_TURN_MS 60.0

typedef struct {
    uint64_t seed;
    double step_s, follow; /* length of a step; pole of the pace */
    struct {
        uint64_t random;
        double value, pace; /* pace: of what is asked for, -1..1 */
        double turn;        /* where it turns, > 0 going up, < 0 going down */
    } state;
} SlowTurns;

void slow_turns_prepare(SlowTurns *turns, double steps_per_second, uint64_t seed);
void slow_turns_reset(SlowTurns *turns);
/* The next value, within 1 + pace_hz * SLOW_TURNS_TURN_MS / 1000 of 0; it moves by pace_hz >= 0 a
 * second. */
double slow_turns_step(SlowTurns *turns, double pace_hz);

#endif
