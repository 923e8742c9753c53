/* SPDX-License-Identifier: ISC */
#include "ride.h"

#include "one_pole.h"

static const double SPEED_DB_PER_S = 12.0, SPEED_PACE_MS = 300.0;

void ride_prepare(Ride *ride, double steps_per_second) {
    ride->steps_per_second = (float)steps_per_second;
    ride_set(ride, SPEED_PACE_MS);
    ride_reset(ride);
}

void ride_reset(Ride *ride) {
    ride->state.gain_db = 0.0f;
}

void ride_set(Ride *ride, double pace_ms) {
    double rate = (double)ride->steps_per_second;
    ride->share = (float)(1.0 - one_pole_coefficient(pace_ms / 8.0, rate));
    ride->most_db = (float)(SPEED_DB_PER_S * SPEED_PACE_MS / pace_ms / rate);
}

float ride_step(Ride *ride, float wish_db, bool may_move) {
    float step = (wish_db - ride->state.gain_db) * ride->share;
    step = step > ride->most_db ? ride->most_db : step;
    step = step < -ride->most_db ? -ride->most_db : step;
    if (may_move)
        ride->state.gain_db += step;
    return ride->state.gain_db;
}
