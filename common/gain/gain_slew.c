/* SPDX-License-Identifier: ISC */
#include "gain/gain_slew.h"

#include "basic/one_pole.h"

static const double SPEED_DB_PER_S = 12.0, SPEED_PACE_MS = 300.0;

void gain_slew_prepare(GainSlew *slew, double steps_per_second) {
    slew->steps_per_second = (float)steps_per_second;
    gain_slew_set(slew, SPEED_PACE_MS);
    gain_slew_reset(slew);
}

void gain_slew_reset(GainSlew *slew) {
    slew->state.gain_db = 0.0f;
}

void gain_slew_set(GainSlew *slew, double pace_ms) {
    double rate = (double)slew->steps_per_second;
    slew->share = (float)(1.0 - one_pole_coefficient(pace_ms / 8.0, rate));
    slew->most_db = (float)(SPEED_DB_PER_S * SPEED_PACE_MS / pace_ms / rate);
}

float gain_slew_step(GainSlew *slew, float wish_db, bool may_move) {
    float step = (wish_db - slew->state.gain_db) * slew->share;
    step = step > slew->most_db ? slew->most_db : step;
    step = step < -slew->most_db ? -slew->most_db : step;
    if (may_move)
        slew->state.gain_db += step;
    return slew->state.gain_db;
}
