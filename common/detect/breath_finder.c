/* SPDX-License-Identifier: ISC */
#include "detect/breath_finder.h"

#include <math.h>

static const float DULL = 0.5f;
static const float LOUD_DB = -10.0f; /* re the voice */

void breath_finder_prepare(BreathFinder *finder, double hops_per_second) {
    finder->hops_per_second = hops_per_second;
    breath_span_prepare(&finder->span, hops_per_second);
}

void breath_finder_reset(BreathFinder *finder) {
    breath_span_reset(&finder->span);
}

static size_t clear_hops(const BreathFinder *finder, float ms) {
    return (size_t)ceil(0.001 * (double)ms * finder->hops_per_second) + 1;
}

void breath_finder_set(BreathFinder *finder, const BreathFinderParams *params) {
    breath_span_set(&finder->span, scene_shortest(finder->hops_per_second, &params->scene),
                    scene_late(finder->hops_per_second, &params->scene),
                    clear_hops(finder, params->clear_ms));
}

size_t breath_finder_delay(const BreathFinder *finder, const BreathFinderParams *params) {
    return scene_late(finder->hops_per_second, &params->scene) +
           breath_span_delay(&finder->span, clear_hops(finder, params->clear_ms));
}

bool breath_finder_step(BreathFinder *finder, const SceneMoment *moment) {
    breath_span_stand_apart(&finder->span, moment->features.dull > DULL);
    breath_span_loud(&finder->span, moment->features.value[SCENE_OVER_VOICE] > LOUD_DB);
    return breath_span_step(&finder->span, moment->features.value[SCENE_OVER_ROOM],
                            moment->likeliest, moment->kind);
}
