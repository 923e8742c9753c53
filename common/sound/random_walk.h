/* SPDX-License-Identifier: ISC */
/* random_walk.h: a value that wanders about 0 as a singer's pitch and timing do, smoothly and never
 * far.
 *
 * Uniform noise w through two equal one-poles, a step at a time:
 *     u += a (g w - u),   x += a (u - x),   a = 1 - exp(-step / tau)
 * with g such that x has mean 0 and deviation 1. One pole alone is the process of Uhlenbeck and
 * Ornstein (Phys. Rev. 36, 823-841, 1930), whose path has a corner at every step; the second gives
 * x a slope, of deviation 1 / tau, and
 *     E[x(s) x(s + t)] = (1 + |t| / tau) exp(-|t| / tau)
 * for steps short against tau. What is told is held to +-RANDOM_WALK_MOST. Numbers: split_mix.h. It
 * begins as if it had always run, and a seed gives the same walk after every reset. Cost 10
 * operations a step. */
#ifndef SISKIN_SOUND_RANDOM_WALK_H
#define SISKIN_SOUND_RANDOM_WALK_H

#include <stdint.h>

#define RANDOM_WALK_MOST 2.0

typedef struct {
    uint64_t seed;
    double way, gain; /* a, g */
    struct {
        uint64_t random;
        double first, value; /* u, x */
    } state;
} RandomWalk;

/* tau_ms: as long as several steps. Ends reset. */
void random_walk_prepare(RandomWalk *walk, double tau_ms, double steps_per_second, uint64_t seed);
void random_walk_reset(RandomWalk *walk);
/* From here on: it leaves `value` towards 0, by a tenth of the way in 0.1 tau. */
void random_walk_begin_at(RandomWalk *walk, double value);
/* The next value, within +-RANDOM_WALK_MOST. */
double random_walk_step(RandomWalk *walk);

#endif
