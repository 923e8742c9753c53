/* SPDX-License-Identifier: ISC */
#include "detect/breath_finder.h"

#include <math.h>
#include <string.h>

/* Nats for changing from one kind of sound to another. A breath lies next to a rest; what joins a
 * voiced sound is more likely a consonant or an ending. */
static const float COST[SOUND_CLASSES][SOUND_CLASSES] = {
    [SOUND_BREATH] = {0.0f, 2.0f, 5.0f, 5.0f},
    [SOUND_ROOM] = {2.0f, 0.0f, 3.0f, 4.0f},
    [SOUND_VOICED] = {5.0f, 3.0f, 0.0f, 2.0f},
    [SOUND_OTHER] = {5.0f, 4.0f, 2.0f, 0.0f},
};
static const double LAG_S = 0.107;
enum { LAG_OVER_LEAST = 4 }; /* hops */

void breath_finder_prepare(BreathFinder *finder, double rate_hz, double hops_per_second) {
    memset(finder, 0, sizeof *finder);
    finder->hops_per_second = hops_per_second;
    breath_features_prepare(&finder->features, rate_hz, hops_per_second);
    viterbi_prepare(&finder->path, COST);
    breath_span_prepare(&finder->span, hops_per_second);
}

void breath_finder_reset(BreathFinder *finder) {
    breath_features_reset(&finder->features);
    viterbi_reset(&finder->path);
    breath_span_reset(&finder->span);
}

typedef struct {
    size_t least, lag, clear;
} Hops;

static Hops in_hops(const BreathFinder *finder, const BreathFinderParams *params) {
    double per_ms = 0.001 * finder->hops_per_second;
    size_t least = (size_t)lround((double)params->shortest_ms * per_ms);
    size_t lag = (size_t)lround(1000.0 * LAG_S * per_ms);
    return (Hops){.least = least,
                  .lag = lag > least + LAG_OVER_LEAST ? lag : least + LAG_OVER_LEAST,
                  .clear = (size_t)ceil((double)params->clear_ms * per_ms) + 1};
}

void breath_finder_set(BreathFinder *finder, const BreathFinderParams *params) {
    Hops hops = in_hops(finder, params);
    finder->sensitivity_db = params->sensitivity_db;
    viterbi_set(&finder->path, hops.least, hops.lag);
    breath_span_set(&finder->span, hops.least, hops.lag, hops.clear);
}

size_t breath_finder_delay(const BreathFinder *finder, const BreathFinderParams *params) {
    Hops hops = in_hops(finder, params);
    return hops.lag + breath_span_delay(&finder->span, hops.clear);
}

bool breath_finder_step(BreathFinder *finder, const VoiceFrame *frame) {
    BreathMoment moment;
    float likelihood[SOUND_CLASSES];
    breath_features_step(&finder->features, frame, &moment);
    breath_class(&moment, finder->sensitivity_db, likelihood);
    int alone = 0;
    for (int c = 1; c < SOUND_CLASSES; c++)
        alone = likelihood[c] > likelihood[alone] ? c : alone;
    SoundClass decided = (SoundClass)viterbi_step(&finder->path, likelihood);
    return breath_span_step(&finder->span, moment.value[BREATH_OVER_ROOM], (SoundClass)alone,
                            decided);
}
