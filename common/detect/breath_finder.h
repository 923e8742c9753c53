/* SPDX-License-Identifier: ISC */
/* breath_finder.h: says, a fixed time late, when a voice takes a breath.
 *
 * Hops of voice_sense -> breath_features (against the singer's level and the room) -> breath_class
 * (likelihoods) -> viterbi (the likeliest sequence of breath, room, voiced and other, a breath
 * lasting at least `shortest`) -> breath_span (where each breath really begins and ends, clear of
 * words).
 *
 * The path looks 107 ms ahead, or `shortest` and 4 hops where that is more: on labelled takes twice
 * that changed no more than one frame in a thousand, half of it one in a hundred.
 * Latency: breath_finder_delay() hops behind the middle of a frame of voice_sense. Cost: about 2000
 * operations a hop. */
#ifndef SISKIN_DETECT_BREATH_FINDER_H
#define SISKIN_DETECT_BREATH_FINDER_H

#include "basic/viterbi.h"
#include "detect/breath_span.h"
#include "voice/breath_features.h"

#include <stdbool.h>
#include <stddef.h>

typedef struct {
    float sensitivity_db; /* see breath_class */
    float shortest_ms;    /* 40..500: of what can be told from the room */
    float clear_ms;       /* 0..100: kept from what is sung or spoken */
} BreathFinderParams;

typedef struct {
    double hops_per_second;
    float sensitivity_db;
    BreathFeatures features;
    Viterbi path;
    BreathSpan span;
} BreathFinder;

void breath_finder_prepare(BreathFinder *finder, double rate_hz, double hops_per_second);
void breath_finder_reset(BreathFinder *finder);
void breath_finder_set(BreathFinder *finder, const BreathFinderParams *params);
/* Hops. A function of the hops per second and of `params`; grows with shortest_ms and clear_ms. */
size_t breath_finder_delay(const BreathFinder *finder, const BreathFinderParams *params);
/* One hop. Whether the hop breath_finder_delay() before it is to be turned down. */
bool breath_finder_step(BreathFinder *finder, const VoiceFrame *frame);

#endif
