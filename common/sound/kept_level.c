/* SPDX-License-Identifier: ISC */
#include "sound/kept_level.h"

#include "basic/one_pole.h"

#include <math.h>
#include <string.h>

static const double NOTHING = 1e-12;   /* -120 dBFS */
static const double LARGEST = 4.0;     /* +6 dBFS: a burst beyond audio is forgotten in time */
static const double NEARLY_ONE = 1e-4; /* there one pole would never get */

void kept_level_prepare(KeptLevel *level, double rate_hz, size_t tick) {
    memset(level, 0, sizeof *level);
    level->tick = tick;
    level->keep = one_pole_coefficient(KEPT_LEVEL_MS, rate_hz / (double)tick);
    level->least = pow(10.0, -KEPT_LEVEL_MOST_DB / 20.0);
    kept_level_reset(level);
}

void kept_level_reset(KeptLevel *level) {
    memset(&level->state, 0, sizeof level->state);
    level->state.from = 1.0;
}

void kept_level_trust(KeptLevel *level) {
    level->state.once[1] = level->state.once[0];
    level->state.twice[1] = level->state.twice[0];
}

/* Frame by frame, so that the sum is the same wherever a block begins. */
static double add_power(double sum, const float *audio, size_t n) {
    for (size_t i = 0; i < n; i++)
        sum += (double)audio[i] * (double)audio[i];
    return sum;
}

static void end_tick(KeptLevel *level) {
    const double per_frame = 1.0 / (double)level->tick;
    for (int k = 0; k < 2; k++) {
        const double *now = level->state.now[k];
        double mean = fmin(LARGEST, (now[0] + now[1]) * per_frame);
        level->state.once[k] = one_pole_step_double(level->state.once[k], mean, level->keep);
        level->state.twice[k] =
            one_pole_step_double(level->state.twice[k], level->state.once[k], level->keep);
    }
    memset(level->state.now, 0, sizeof level->state.now);
    double gain = sqrt((level->state.twice[0] + NOTHING) / (level->state.twice[1] + NOTHING));
    gain = fmax(level->least, fmin(1.0 / level->least, gain));
    gain = fabs(gain - 1.0) < NEARLY_ONE ? 1.0 : gain;
    level->state.from += level->state.step * (double)level->tick;
    level->state.step = (gain - level->state.from) * per_frame;
    level->state.filled = 0;
}

void kept_level_process(KeptLevel *level, const float *const *cut_from, float *const *made,
                        unsigned channels, size_t n) {
    const double from = level->state.from, step = level->state.step;
    for (unsigned c = 0; c < channels; c++) {
        double *in = &level->state.now[0][c], *out = &level->state.now[1][c];
        *in = add_power(*in, cut_from[c], n);
        *out = add_power(*out, made[c], n);
        for (size_t i = 0; i < n; i++)
            made[c][i] *= (float)(from + step * (double)(level->state.filled + i));
    }
    level->state.filled += n;
    if (level->state.filled >= level->tick)
        end_tick(level);
}
