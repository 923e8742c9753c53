/* SPDX-License-Identifier: ISC */
#include "sound/slow_turns.h"

#include "basic/one_pole.h"
#include "basic/split_mix.h"

#include <math.h>

static double draw(SlowTurns *turns) {
    return 0.5 + 0.5 * split_mix_unit(&turns->state.random);
}

void slow_turns_prepare(SlowTurns *turns, double steps_per_second, uint64_t seed) {
    turns->seed = seed;
    turns->step_s = 1.0 / steps_per_second;
    turns->follow = one_pole_coefficient(SLOW_TURNS_TURN_MS, steps_per_second);
    slow_turns_reset(turns);
}

void slow_turns_reset(SlowTurns *turns) {
    turns->state.random = turns->seed;
    turns->state.value = 0.0;
    turns->state.pace = 1.0;
    turns->state.turn = draw(turns);
}

double slow_turns_step(SlowTurns *turns, double pace_hz) {
    double way = turns->state.turn > 0.0 ? 1.0 : -1.0;
    turns->state.pace = one_pole_step_double(turns->state.pace, way, turns->follow);
    turns->state.value += turns->step_s * pace_hz * turns->state.pace;
    if (way * turns->state.value >= fabs(turns->state.turn))
        turns->state.turn = -way * draw(turns);
    return turns->state.value;
}
