/* SPDX-License-Identifier: ISC */
#include "sound/random_walk.h"

#include "basic/one_pole.h"
#include "basic/split_mix.h"

#include <math.h>

/* Uniform, mean 0, deviation 1. */
static double noise(RandomWalk *walk) {
    const double root_12 = 3.4641016151377544;
    return root_12 * (split_mix_unit(&walk->state.random) - 0.5);
}

/* The sum of a few is as good as normal. */
static double normal(RandomWalk *walk) {
    return 0.5 * (noise(walk) + noise(walk) + noise(walk) + noise(walk));
}

void random_walk_prepare(RandomWalk *walk, double tau_ms, double steps_per_second, uint64_t seed) {
    double pole = one_pole_coefficient(tau_ms, steps_per_second), left = 1.0 - pole * pole;
    walk->seed = seed;
    walk->way = 1.0 - pole;
    /* The power of a^2 (n + 1) p^n, summed over n. */
    double power = pow(walk->way, 4.0) * (1.0 + pole * pole) / (left * left * left);
    walk->gain = 1.0 / sqrt(power);
    random_walk_reset(walk);
}

/* x and its slope, (u - x) / tau, have nothing in common at any moment, and are as large. */
void random_walk_reset(RandomWalk *walk) {
    walk->state.random = walk->seed;
    walk->state.value = normal(walk);
    walk->state.first = walk->state.value + normal(walk);
}

double random_walk_step(RandomWalk *walk) {
    walk->state.first += walk->way * (walk->gain * noise(walk) - walk->state.first);
    walk->state.value += walk->way * (walk->state.first - walk->state.value);
    return fmax(-RANDOM_WALK_MOST, fmin(RANDOM_WALK_MOST, walk->state.value));
}

void random_walk_begin_at(RandomWalk *walk, double value) {
    walk->state.first = 0.0;
    walk->state.value = value;
}
