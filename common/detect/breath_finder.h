/* SPDX-License-Identifier: ISC */
/* breath_finder.h: says, a fixed time late, when a voice takes a breath.
 *
 * From the moments of a scene (what kind of sound each hop is), by breath_span: where each breath
 * really begins and ends, clear of words. On labelled takes a scene twice as late as it is changed
 * no more than one frame in a thousand, one half as late one in a hundred.
 * Latency: breath_finder_delay() hops behind the moment that is given. Cost: some 100 comparisons a
 * hop. */
#ifndef SISKIN_DETECT_BREATH_FINDER_H
#define SISKIN_DETECT_BREATH_FINDER_H

#include "detect/breath_span.h"
#include "voice/scene.h"

#include <stdbool.h>
#include <stddef.h>

typedef struct {
    SceneParams scene; /* as given to the scene */
    float clear_ms;    /* 0..100: kept from what is sung or spoken */
} BreathFinderParams;

typedef struct {
    double hops_per_second;
    BreathSpan span;
} BreathFinder;

void breath_finder_prepare(BreathFinder *finder, double hops_per_second);
void breath_finder_reset(BreathFinder *finder);
void breath_finder_set(BreathFinder *finder, const BreathFinderParams *params);
/* Hops. A function of the hops per second and of `params`; grows with shortest_breath_ms and
 * clear_ms. */
size_t breath_finder_delay(const BreathFinder *finder, const BreathFinderParams *params);
/* One hop. Whether the hop breath_finder_delay() before it is to be turned down. */
bool breath_finder_step(BreathFinder *finder, const SceneMoment *moment);

#endif
