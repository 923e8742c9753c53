/* SPDX-License-Identifier: ISC */
/* minimum_duration.h: lets through what lasts, and flattens what does not.
 *
 *     o = opening of x over W steps = max over W of (min over W of x)
 *     y = min(x late by W - 1, o + slack)
 * An opening (Serra, Image Analysis and Mathematical Morphology, 1982, chapter II; here by flat
 * segments in one dimension) removes every peak narrower than W steps and leaves wider ones as high
 * as their lowest W-step stretch. With the slack, what fluctuates around a level for longer than W
 * passes untouched, so that a noise is not read too low; a shorter peak is held down to what
 * surrounds it plus the slack.
 *
 * Adding a constant to x adds it to y. Latency W - 1 steps. Cost: two sliding maxima a step. */
#ifndef SISKIN_BASIC_MINIMUM_DURATION_H
#define SISKIN_BASIC_MINIMUM_DURATION_H

#include "basic/arena.h"
#include "basic/delay.h"
#include "basic/sliding_max.h"

typedef struct {
    size_t width; /* W */
    float slack;
    SlidingMax least, most; /* the least as a maximum of negatives */
    Delay delay;
} MinimumDuration;

/* width >= 1 steps. false: the arena is full. Call reset before the first step. */
bool minimum_duration_prepare(MinimumDuration *l, size_t width, float slack, Arena *arena);
/* History := `quiet`, as low as x ever gets; the delay's own history is silence, 0, and is held
 * down to quiet + slack. */
void minimum_duration_reset(MinimumDuration *l, float quiet);
float minimum_duration_step(MinimumDuration *l, float x);

#endif
