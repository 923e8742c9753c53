/* SPDX-License-Identifier: ISC */
#include "freeze.h"

#include <string.h>

void freeze_prepare(Freeze *freeze, size_t behind) {
    freeze->behind = behind < FREEZE_MAX ? behind : FREEZE_MAX;
    freeze_reset(freeze);
}

void freeze_reset(Freeze *freeze) {
    memset(&freeze->state, 0, sizeof freeze->state);
    freeze->state.since_sung = FREEZE_MAX + 1;
}

/* Steps from `there` to the next sung one in sight, or FREEZE_MAX + 1. */
static size_t steps_until_sung(const Freeze *freeze, size_t there) {
    size_t steps = FREEZE_MAX + 1;
    for (size_t k = freeze->behind + 1; k-- > 0;)
        steps = freeze->state.kind[(there + k) & FREEZE_MAX] == MOMENT_SUNG ? k : steps;
    return steps;
}

bool freeze_step(Freeze *freeze, MomentKind newest) {
    freeze->state.kind[freeze->state.at] = (uint8_t)newest;
    size_t there = (freeze->state.at - freeze->behind) & FREEZE_MAX;
    freeze->state.at = (freeze->state.at + 1) & FREEZE_MAX;
    size_t ahead = steps_until_sung(freeze, there);
    if (ahead == 0)
        freeze->state.since_sung = 0;
    else if (freeze->state.since_sung <= FREEZE_MAX)
        freeze->state.since_sung++;
    switch ((MomentKind)freeze->state.kind[there]) {
    case MOMENT_SUNG:
        return true;
    case MOMENT_HISS:
        return false;
    case MOMENT_NOISE:
        return freeze->state.since_sung + ahead <= freeze->behind;
    case MOMENT_QUIET:
        break;
    }
    return ahead <= freeze->behind;
}
