/* SPDX-License-Identifier: ISC */
#include "detect/gain_hold.h"

#include <string.h>

void gain_hold_prepare(GainHold *hold, size_t behind, size_t late) {
    hold->behind = behind < GAIN_HOLD_MAX ? behind : GAIN_HOLD_MAX;
    hold->late = late;
    gain_hold_reset(hold);
}

void gain_hold_reset(GainHold *hold) {
    memset(&hold->state, 0, sizeof hold->state);
    memset(hold->state.kind, SCENE_ROOM, sizeof hold->state.kind);
    hold->state.since_sung = hold->state.since_breath = GAIN_HOLD_MAX + 1;
}

static bool is_sung(const GainHold *hold, size_t at) {
    return hold->state.kind[at & GAIN_HOLD_MAX] == SCENE_VOICED;
}

/* Steps from `there` to the next sung one in sight, or GAIN_HOLD_MAX + 1. */
static size_t steps_until_sung(const GainHold *hold, size_t there) {
    size_t steps = GAIN_HOLD_MAX + 1;
    for (size_t k = hold->behind + 1; k-- > 0;)
        steps = is_sung(hold, there + k) ? k : steps;
    return steps;
}

/* What is voiced and yet not sung (voiced friction, spill) is no voice. */
static uint8_t but_voiced(SceneKind kind) {
    return (uint8_t)(kind == SCENE_VOICED ? SCENE_VOICELESS : kind);
}

static void put(GainHold *hold, const SceneMoment *newest) {
    size_t at = hold->state.at, then = (at - hold->late) & GAIN_HOLD_MAX;
    hold->state.kind[at] = newest->sung ? (uint8_t)SCENE_VOICED : but_voiced(newest->likeliest);
    hold->state.hisses[at] = newest->hisses;
    if (hold->late <= hold->behind && !is_sung(hold, then))
        hold->state.kind[then] = but_voiced(newest->kind);
}

static void count(size_t *since, bool now) {
    *since = now ? 0 : *since <= GAIN_HOLD_MAX ? *since + 1 : *since;
}

bool gain_hold_step(GainHold *hold, const SceneMoment *newest) {
    put(hold, newest);
    size_t there = (hold->state.at - hold->behind) & GAIN_HOLD_MAX;
    hold->state.at = (hold->state.at + 1) & GAIN_HOLD_MAX;
    size_t ahead = steps_until_sung(hold, there);
    count(&hold->state.since_sung, ahead == 0);
    count(&hold->state.since_breath, hold->state.kind[there] == SCENE_BREATH);
    switch ((SceneKind)hold->state.kind[there]) {
    case SCENE_VOICED:
        return true;
    case SCENE_ROOM:
        return ahead <= hold->behind && hold->state.since_breath > GAIN_HOLD_TAIL;
    case SCENE_BREATH:
        return false;
    default:
        return !hold->state.hisses[there] && hold->state.since_sung + ahead <= hold->behind;
    }
}
