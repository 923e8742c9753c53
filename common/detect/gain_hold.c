/* SPDX-License-Identifier: ISC */
#include "detect/gain_hold.h"

#include <string.h>

void gain_hold_prepare(GainHold *hold, size_t behind) {
    hold->behind = behind < GAIN_HOLD_MAX ? behind : GAIN_HOLD_MAX;
    gain_hold_reset(hold);
}

void gain_hold_reset(GainHold *hold) {
    memset(&hold->state, 0, sizeof hold->state);
    hold->state.since_sung = GAIN_HOLD_MAX + 1;
}

GainHoldSound gain_hold_sound(const SceneMoment *moment) {
    if (moment->sung)
        return GAIN_HOLD_SUNG;
    if (moment->likeliest == SCENE_ROOM)
        return GAIN_HOLD_QUIET;
    return moment->hisses ? GAIN_HOLD_HISS : GAIN_HOLD_OTHER;
}

/* Steps from `there` to the next sung one in sight, or GAIN_HOLD_MAX + 1. */
static size_t steps_until_sung(const GainHold *hold, size_t there) {
    size_t steps = GAIN_HOLD_MAX + 1;
    for (size_t k = hold->behind + 1; k-- > 0;)
        steps = hold->state.sound[(there + k) & GAIN_HOLD_MAX] == GAIN_HOLD_SUNG ? k : steps;
    return steps;
}

bool gain_hold_step(GainHold *hold, GainHoldSound newest) {
    hold->state.sound[hold->state.at] = (uint8_t)newest;
    size_t there = (hold->state.at - hold->behind) & GAIN_HOLD_MAX;
    hold->state.at = (hold->state.at + 1) & GAIN_HOLD_MAX;
    size_t ahead = steps_until_sung(hold, there);
    if (ahead == 0)
        hold->state.since_sung = 0;
    else if (hold->state.since_sung <= GAIN_HOLD_MAX)
        hold->state.since_sung++;
    switch ((GainHoldSound)hold->state.sound[there]) {
    case GAIN_HOLD_SUNG:
        return true;
    case GAIN_HOLD_HISS:
        return false;
    case GAIN_HOLD_OTHER:
        return hold->state.since_sung + ahead <= hold->behind;
    case GAIN_HOLD_QUIET:
        break;
    }
    return ahead <= hold->behind;
}
