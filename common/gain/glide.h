/* SPDX-License-Identifier: ISC */
/* glide.h: a parameter on its way to where it was set, without a step or a corner.
 *
 * Two one-poles of one time constant in series (one_pole.h), so that it starts and arrives with
 * slope 0; after 5 time constants 4 % of the way are left. When 1e-7 of the larger of 1 and the
 * goal is left, it is there, exactly. After a reset the first value set is met at once.
 * Latency 0. Cost 6 operations a frame while it moves, else a fill. */
#ifndef SISKIN_GAIN_GLIDE_H
#define SISKIN_GAIN_GLIDE_H

#include "basic/one_pole.h"

#include <math.h>
#include <stdbool.h>
#include <stddef.h>

typedef struct {
    double pole, goal;
    struct {
        bool fresh; /* nothing has run since the reset */
        double first, value;
    } state;
} Glide;

static inline void glide_reset(Glide *glide) {
    glide->state.fresh = true;
    glide->state.first = glide->state.value = glide->goal;
}

static inline void glide_prepare(Glide *glide, double tau_ms, double rate_hz) {
    glide->pole = one_pole_coefficient(tau_ms, rate_hz);
    glide->goal = 0.0;
    glide_reset(glide);
}

static inline void glide_set(Glide *glide, double goal) {
    glide->goal = goal;
    if (glide->state.fresh)
        glide->state.first = glide->state.value = goal;
}

static inline bool glide_rests(const Glide *glide) {
    return glide->state.value == glide->goal && glide->state.first == glide->goal;
}

/* n frames of the value. */
static inline void glide_process(Glide *glide, float *value, size_t n) {
    const double goal = glide->goal, pole = glide->pole;
    const double near = 1e-7 * fmax(1.0, fabs(goal));
    double first = glide->state.first, now = glide->state.value;
    size_t i = 0;
    for (; i < n && (now != goal || first != goal); i++) {
        first = one_pole_step_double(first, goal, pole);
        now = one_pole_step_double(now, first, pole);
        if (fabs(now - goal) < near && fabs(first - goal) < near)
            first = now = goal;
        value[i] = (float)now;
    }
    for (; i < n; i++)
        value[i] = (float)goal;
    glide->state.first = first;
    glide->state.value = now;
    glide->state.fresh &= n == 0;
}

#endif
