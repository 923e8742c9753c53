/* SPDX-License-Identifier: ISC */
/* sung_gate.h: of each moment, whether the voice sings in it, something else sounds, or nothing.
 *
 * Sung is what is periodic, has more power from 359 to 5745 Hz than above (friction is noise, and
 * voiced friction is mostly noise), stands 6 dB over the room, and lies less than 25 dB under the
 * singer's own level. So breaths, hiss, clicks and hum are not. What stands 6 dB over the room and
 * is not sung is "hiss" when the power above 5745 Hz is more than that below, and else "noise":
 * breath, weak friction, bursts, the tail of a word. (At 11 kHz and less nothing is known of hiss.)
 * Everything is relative to what was heard before: a gain before the unit changes nothing. The unit
 * keeps no audio; latency 0 over voice_sense. Cost: one logarithm a hop. */
#ifndef SISKIN_VOICE_SUNG_GATE_H
#define SISKIN_VOICE_SUNG_GATE_H

#include "voice/noise_floor.h"
#include "voice/voice_level.h"
#include "voice/voice_sense.h"

typedef enum { MOMENT_QUIET, MOMENT_NOISE, MOMENT_HISS, MOMENT_SUNG } MomentKind;

typedef struct {
    NoiseFloor room; /* from 359 Hz up, dB */
    VoiceLevel voice;
} SungGate;

void sung_gate_prepare(SungGate *gate, double hops_per_second);
void sung_gate_reset(SungGate *gate);
/* One hop. */
MomentKind sung_gate_step(SungGate *gate, const VoiceFrame *frame);

#endif
