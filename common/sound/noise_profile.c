/* SPDX-License-Identifier: ISC */
#include "sound/noise_profile.h"

#include <string.h>

static const double MEAN_S = 1.0, ENOUGH_S = 0.3, RISE_S = 0.2, REFUTED_S = 0.15;
static const float NOTHING = 1e-18f;
static const float QUIETER = 0.25f; /* -6 dB */

bool noise_profile_prepare(NoiseProfile *profile, size_t bins, double hops_per_second,
                           size_t behind, Arena *arena) {
    profile->bins = bins;
    profile->slots = behind + 1;
    profile->enough = (size_t)(ENOUGH_S * hops_per_second);
    profile->refuted = (size_t)(REFUTED_S * hops_per_second);
    profile->least = (float)(1.0 / (MEAN_S * hops_per_second));
    profile->rise = (float)(1.0 / (RISE_S * hops_per_second));
    profile->past = arena_take(arena, profile->slots * bins, sizeof(float));
    profile->mean = arena_take(arena, bins, sizeof(float));
    if (!profile->past || !profile->mean)
        return false;
    noise_profile_reset(profile);
    return true;
}

void noise_profile_reset(NoiseProfile *profile) {
    memset(profile->past, 0, profile->slots * profile->bins * sizeof(float));
    memset(profile->mean, 0, profile->bins * sizeof(float));
    memset(&profile->state, 0, sizeof profile->state);
}

/* What the hop that ends now learned from: did it agree with the profile? */
static void review(NoiseProfile *profile) {
    if (profile->state.weight == 0.0f)
        return;
    bool quieter = profile->state.ratio < QUIETER * (float)profile->bins;
    profile->state.quieter = quieter ? profile->state.quieter + 1 : 0;
    if (profile->state.quieter > profile->refuted)
        profile->state.learned = profile->state.quieter = 0;
}

void noise_profile_begin(NoiseProfile *profile, bool room) {
    review(profile);
    profile->state.slot = (profile->state.slot + 1) % profile->slots;
    profile->state.weight = profile->state.ratio = 0.0f;
    if (room) {
        float plain = 1.0f / (float)(profile->state.learned + 1);
        profile->state.learned += plain > profile->least;
        profile->state.weight = plain > profile->least ? plain : profile->least;
    }
    bool known = profile->state.learned >= profile->enough;
    float share = profile->state.share + (known ? profile->rise : -profile->rise);
    profile->state.share = share < 0.0f ? 0.0f : share < 1.0f ? share : 1.0f;
}

void noise_profile_run(NoiseProfile *profile, size_t from, size_t count) {
    float weight = profile->state.weight;
    if (weight == 0.0f)
        return;
    /* The slot after this hop's is the oldest. */
    size_t slot = (profile->state.slot + 1) % profile->slots;
    const float *past = profile->past + slot * profile->bins;
    for (size_t k = from; k < from + count; k++) {
        float mean = profile->mean[k];
        profile->state.ratio += past[k] / (mean + NOTHING);
        profile->mean[k] = mean + weight * (past[k] - mean);
    }
}
