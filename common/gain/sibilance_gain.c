/* SPDX-License-Identifier: ISC */
#include "gain/sibilance_gain.h"

#include "basic/one_pole.h"

#include <string.h>

static const double VOWEL_RELEASE = 1.0 / 12.0; /* of the release */
static const float NOTHING_DB = 0.01f, IN_DOUBT_DB = 4.0f;
static const float REACHED_DB = 8.0f; /* over the threshold: where the cut is the share */
static const float BEND = 0.85f, BEYOND = 0.25f; /* of the range; of what goes beyond that */

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

static float law(const SibilanceGainParams *params, float excess_db, float range_db) {
    float share = params->strength * excess_db;
    float late = excess_db - (1.0f - params->strength) * REACHED_DB;
    float cut = late < share ? late : share, bend = BEND * range_db;
    cut = cut > bend ? bend + BEYOND * (cut - bend) : cut;
    return cut < 0.0f ? 0.0f : cut > range_db ? range_db : cut;
}

float sibilance_gain_step(SibilanceGain *s, float ratio_db, bool in_vowel, float doubt) {
    float range = s->params.range_db;
    if (range * doubt > IN_DOUBT_DB)
        range = IN_DOUBT_DB / doubt;
    float goal = law(&s->params, ratio_db - s->params.threshold_db, range);
    float now = s->state.reduction_db;
    float pole = goal > now ? s->attack : in_vowel ? s->vowel_release : s->release;
    now = one_pole_step(now, goal, pole);
    if (goal == 0.0f && now < NOTHING_DB)
        now = 0.0f;
    s->state.reduction_db = now;
    return now;
}
