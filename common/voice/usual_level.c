/* SPDX-License-Identifier: ISC */
#include "voice/usual_level.h"

#include "basic/one_pole.h"

#include <string.h>

static const double ENOUGH_S = 0.05, DOUBT_S = 0.5, LONGEST_S = 30.0, LATELY_MS = 50.0;
static const double SURE_DB = 12.0; /* a second */
static const float NOT_THE_VOICE_DB = 15.0f;

void usual_level_prepare(UsualLevel *usual, double steps_per_second) {
    usual->enough = (float)(ENOUGH_S * steps_per_second);
    usual->doubt = (float)(DOUBT_S * steps_per_second);
    usual->longest = (float)(LONGEST_S * steps_per_second);
    usual->sure_db = (float)(SURE_DB / steps_per_second);
    usual->fast = (float)(1.0 - one_pole_coefficient(LATELY_MS, steps_per_second));
    usual_level_reset(usual);
}

void usual_level_reset(UsualLevel *usual) {
    memset(&usual->state, 0, sizeof usual->state);
}

/* Of the way to a level, in one step. */
static float share(const UsualLevel *usual, bool rising) {
    float mean = usual->state.steps > 1.0f ? 1.0f / usual->state.steps : 1.0f;
    float doubt = usual->doubt / (usual->doubt + usual->state.steps);
    float least = doubt * doubt * usual->fast;
    return rising && least > mean ? least : mean;
}

void usual_level_step(UsualLevel *usual, float level_db, float counts) {
    if (counts <= 0.0f)
        return;
    if (usual->state.steps == 0.0f)
        usual->state.mean_db = usual->state.lately_db = level_db;
    if (usual->state.steps < usual->longest)
        usual->state.steps += counts;
    float rise_db = level_db - usual->state.mean_db;
    if (usual_level_known(usual))
        usual->state.mean_db += counts * share(usual, rise_db > 0.0f) * rise_db;
    else if (rise_db > 0.0f)
        usual->state.mean_db = level_db;
    usual->state.lately_db += counts * usual->fast * (level_db - usual->state.lately_db);
    if (usual->state.lately_db - usual->state.mean_db > NOT_THE_VOICE_DB) {
        usual->state.steps = 1.0f;
        usual->state.mean_db = usual->state.lately_db;
    }
}
