/* SPDX-License-Identifier: ISC */
/* gain_hold.h: when a gain that is applied late may move.
 *
 * Each step takes a moment of the scene, and tells whether the gain may move now for the audio of
 * `behind` steps ago, which is where it is applied. By what sounds there:
 *     sung       yes
 *     breath, as decided, and what hisses
 *                no
 *     room       only when something sung follows within the `behind` steps, and not within
 *                GAIN_HOLD_TAIL of a breath, whose end lies under the room: so the gain stands in
 *                gaps, and moves just ahead of a phrase
 *     the rest   only within a word: when the last sung step before it and the next one after it
 *                are at most `behind` steps apart. So bursts and weak friction let the gain pass;
 *                the tail behind a phrase keeps the gain it has
 * What is sung is known at once, what else sounds is decided `late` steps later, before it counts.
 * Before the first step there is room. Latency 0. Cost: a scan over the `behind` steps. */
#ifndef SISKIN_DETECT_GAIN_HOLD_H
#define SISKIN_DETECT_GAIN_HOLD_H

#include "voice/scene.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum { GAIN_HOLD_MAX = 63, GAIN_HOLD_TAIL = 4 }; /* steps */

typedef struct {
    size_t behind, late;
    struct {
        size_t at;
        /* Steps, where the gain is applied; they saturate at GAIN_HOLD_MAX + 1. */
        size_t since_sung, since_breath;
        uint8_t kind[GAIN_HOLD_MAX + 1]; /* SceneKind: voiced stands for sung */
        bool hisses[GAIN_HOLD_MAX + 1];
    } state;
} GainHold;

/* behind: 0..GAIN_HOLD_MAX. late: scene_late(); decisions later than `behind` count for nothing. */
void gain_hold_prepare(GainHold *hold, size_t behind, size_t late);
void gain_hold_reset(GainHold *hold);
bool gain_hold_step(GainHold *hold, const SceneMoment *newest);

#endif
