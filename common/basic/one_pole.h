/* SPDX-License-Identifier: ISC */
/* one_pole.h: the exponential smoother y += (1 - a)(x - y), a = exp(-1 / (tau * rate)).
 *
 * Source: Giannoulis, Massberg, Reiss, JAES 60(6), 2012, eq. 7. After a step the distance to the
 * goal falls to 1/e in tau. Everything that smooths in Siskin is built on this coefficient, so that
 * no smoothing depends on the block size. */
#ifndef SISKIN_BASIC_ONE_POLE_H
#define SISKIN_BASIC_ONE_POLE_H

#include <math.h>

/* The pole a for a time constant in ms; tau_ms <= 0 gives 0: no smoothing. */
static inline double one_pole_coefficient(double tau_ms, double rate_hz) {
    return tau_ms > 0.0 ? exp(-1000.0 / (tau_ms * rate_hz)) : 0.0;
}

/* One step from y towards x with pole a. Exactly x once y == x.
 * In float it stops where a step rounds to nothing, some 2^-25 / (1 - a) of x short of the goal,
 * and a itself is only known to 2^-25: for time constants over 1e5 frames keep y and a in double
 * (one_pole_step_double). */
static inline float one_pole_step(float y, float x, float a) {
    return x + a * (y - x);
}

static inline double one_pole_step_double(double y, double x, double a) {
    return x + a * (y - x);
}

#endif
