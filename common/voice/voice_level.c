/* SPDX-License-Identifier: ISC */
#include "voice/voice_level.h"

#include "basic/one_pole.h"

#include <string.h>

static const double SLOW_MS = 1500.0, FAST_MS = 50.0, ENOUGH_S = 0.05;
static const float TOO_QUIET = 0.0063096f; /* -22 dB in power */
static const float TOO_LOUD = 15.849f;     /* 12 dB */

void voice_level_prepare(VoiceLevel *level, double steps_per_second) {
    level->slow = (float)(1.0 - one_pole_coefficient(SLOW_MS, steps_per_second));
    level->fast = (float)(1.0 - one_pole_coefficient(FAST_MS, steps_per_second));
    level->enough = (float)(ENOUGH_S * steps_per_second);
    voice_level_reset(level);
}

void voice_level_reset(VoiceLevel *level) {
    memset(&level->state, 0, sizeof level->state);
}

void voice_level_begin_with(VoiceLevel *level, float power) {
    level->state.steps = 1.0f / level->slow;
    level->state.power = power;
}

void voice_level_step(VoiceLevel *level, float power, bool periodic) {
    float now = level->state.power;
    if (!periodic || power <= 0.0f || power < TOO_QUIET * now)
        return;
    float share = power > TOO_LOUD * now ? level->fast : level->slow;
    float mean = 1.0f / (level->state.steps + 1.0f);
    level->state.power = now + (share > mean ? share : mean) * (power - now);
    level->state.steps += 1.0f;
}
