/* SPDX-License-Identifier: ISC */
/* gain_hold.h: when a gain that is applied late may move.
 *
 * Each step takes what sounds at the input (scene.h), and tells whether the gain may move now
 * for the audio of `behind` steps ago, which is where it is applied. By what sounds there:
 *     sung    yes
 *     hiss    no
 *     other   only within a word: when the last sung step before it and the next one after it are
 *             at most `behind` steps apart. So bursts and weak friction let the gain pass; a breath
 *             before a phrase, and the tail behind one, keep the gain they have
 *     quiet   only when something sung follows within the `behind` steps: so the gain stands in
 *             gaps, and moves just ahead of a phrase
 * Before the first step there is quiet. Latency 0. Cost: a scan over the `behind` steps. */
#ifndef SISKIN_DETECT_GAIN_HOLD_H
#define SISKIN_DETECT_GAIN_HOLD_H

#include "voice/scene.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum { GAIN_HOLD_MAX = 63 }; /* steps */

typedef enum { GAIN_HOLD_QUIET, GAIN_HOLD_OTHER, GAIN_HOLD_HISS, GAIN_HOLD_SUNG } GainHoldSound;

typedef struct {
    size_t behind;
    struct {
        size_t at;
        size_t since_sung; /* steps, where the gain is applied; saturates at GAIN_HOLD_MAX + 1 */
        uint8_t sound[GAIN_HOLD_MAX + 1]; /* GainHoldSound */
    } state;
} GainHold;

/* behind: 0..GAIN_HOLD_MAX */
void gain_hold_prepare(GainHold *hold, size_t behind);
void gain_hold_reset(GainHold *hold);
bool gain_hold_step(GainHold *hold, GainHoldSound newest);
/* A room is quiet; breath and what is voiceless is hiss where it hisses, else other. */
GainHoldSound gain_hold_sound(const SceneMoment *moment);

#endif
