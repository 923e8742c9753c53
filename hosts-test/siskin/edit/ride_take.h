/* SPDX-License-Identifier: ISC */
/* ride_take.h: the ride of a take that was measured, and its lane as text. */
#ifndef SISKIN_EDIT_RIDE_TAKE_H
#define SISKIN_EDIT_RIDE_TAKE_H

#include "siskin/edit/ride.h"
#include "siskin/measure/take.h"

#include <stdio.h>

/* Fails when the take cannot be read again. The caller frees the ride. */
bool ride_take(Ride *ride, const Measures *measures, const RideParams *params, HostError *error);

/* "lane ride line" and a line for each phrase, its level and peak as comments; all gains less
 * trim_db. */
void ride_print_lane(FILE *file, const Ride *ride, double trim_db);

#endif
