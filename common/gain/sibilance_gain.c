/* SPDX-License-Identifier: ISC */
#include "gain/sibilance_gain.h"

#include "basic/one_pole.h"

#include <string.h>

static const double VOWEL_RELEASE = 1.0 / 12.0; /* of the release */
static const float NOTHING_DB = 0.01f, IN_DOUBT_DB = 4.0f;

void sibilance_gain_prepare(SibilanceGain *s, double steps_per_second) {
    memset(s, 0, sizeof *s);
    s->steps_per_second = steps_per_second;
}

void sibilance_gain_reset(SibilanceGain *s) {
    memset(&s->state, 0, sizeof s->state);
}

void sibilance_gain_set(SibilanceGain *s, const SibilanceGainParams *params) {
    /* Floats without padding: the same bits need no new design.
     * NOLINTNEXTLINE(bugprone-suspicious-memory-comparison,cert-exp42-c,cert-flp37-c) */
    if (memcmp(params, &s->params, sizeof *params) == 0)
        return;
    s->params = *params;
    s->attack = (float)one_pole_coefficient(params->attack_ms, s->steps_per_second);
    s->release = (float)one_pole_coefficient(params->release_ms, s->steps_per_second);
    s->vowel_release =
        (float)one_pole_coefficient(params->release_ms * VOWEL_RELEASE, s->steps_per_second);
}

float sibilance_gain_step(SibilanceGain *s, float ratio_db, bool in_vowel, float doubt) {
    float goal = s->params.strength * (ratio_db - s->params.threshold_db);
    float range = s->params.range_db;
    if (range * doubt > IN_DOUBT_DB)
        range = IN_DOUBT_DB / doubt;
    goal = goal < 0.0f ? 0.0f : goal > range ? range : goal;
    float now = s->state.reduction_db;
    float pole = goal > now ? s->attack : in_vowel ? s->vowel_release : s->release;
    now = one_pole_step(now, goal, pole);
    if (goal == 0.0f && now < NOTHING_DB)
        now = 0.0f;
    s->state.reduction_db = now;
    return now;
}
