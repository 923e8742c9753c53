/* SPDX-License-Identifier: ISC */
#include "gain/ballistics.h"

#include "basic/one_pole.h"

void ballistics_prepare(Ballistics *ballistics, double rate_hz) {
    *ballistics = (Ballistics){.rate_hz = rate_hz,
                               .smooth = one_pole_coefficient(BALLISTICS_SMOOTH_MS, rate_hz)};
    ballistics_set(ballistics, &(BallisticsParams){.attack_ms = 10.0f, .release_ms = 100.0f});
}

void ballistics_reset(Ballistics *ballistics) {
    ballistics->state.y = 0.0;
    ballistics->state.z1 = 0.0;
    ballistics->state.z2 = 0.0;
}

void ballistics_set(Ballistics *ballistics, const BallisticsParams *params) {
    if (params->attack_ms == ballistics->params.attack_ms &&
        params->release_ms == ballistics->params.release_ms)
        return;
    ballistics->params = *params;
    double attack_ms = (double)params->attack_ms - 2.0 * BALLISTICS_SMOOTH_MS;
    if (attack_ms < BALLISTICS_SMOOTH_MS)
        attack_ms = BALLISTICS_SMOOTH_MS;
    ballistics->attack = one_pole_coefficient(attack_ms, ballistics->rate_hz);
    ballistics->release = one_pole_coefficient((double)params->release_ms, ballistics->rate_hz);
}

void ballistics_process(Ballistics *ballistics, const float *wanted_db, float *reduction_db,
                        size_t n) {
    const double attack = ballistics->attack, release = ballistics->release;
    const double smooth = ballistics->smooth;
    double y = ballistics->state.y, z1 = ballistics->state.z1, z2 = ballistics->state.z2;
    for (size_t i = 0; i < n; i++) {
        /* 1e-30 keeps the poles from sinking into denormal numbers, should they not be flushed. */
        double x = (double)wanted_db[i] + 1e-30;
        y = one_pole_step_double(y, x, x > y ? attack : release);
        z1 = one_pole_step_double(z1, y, smooth);
        z2 = one_pole_step_double(z2, z1, smooth);
        reduction_db[i] = z2 > 1e-7 ? (float)z2 : 0.0f;
    }
    ballistics->state.y = y;
    ballistics->state.z1 = z1;
    ballistics->state.z2 = z2;
}
