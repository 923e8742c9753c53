/* SPDX-License-Identifier: ISC */
#include "voice/sung_gate.h"

#include "basic/decibel.h"

#include <stdbool.h>

static const float PERIODIC = 0.6f;
static const float SUNG_OVER_ROOM_DB = 6.0f, NOISE_OVER_ROOM_DB = 4.0f;
static const float UNDER_VOICE = 0.0031623f; /* -25 dB in power */
static const float NOTHING_DB = -150.0f;     /* a cut in the file: says nothing about the room */

void sung_gate_prepare(SungGate *gate, double hops_per_second) {
    noise_floor_prepare(&gate->room, hops_per_second);
    voice_level_prepare(&gate->voice, hops_per_second);
    sung_gate_reset(gate);
}

void sung_gate_reset(SungGate *gate) {
    noise_floor_reset(&gate->room);
    voice_level_reset(&gate->voice);
}

/* The first sound after a start in digital silence is no room when it is periodic. */
static void track_room(SungGate *gate, float level_db, bool periodic, bool whole) {
    float room_db;
    if (whole && level_db > NOTHING_DB && (!periodic || noise_floor_get(&gate->room, &room_db)))
        noise_floor_step(&gate->room, level_db, periodic);
}

MomentKind sung_gate_step(SungGate *gate, const VoiceFrame *frame) {
    const float *power = frame->power;
    float voice = power[1] + power[2] + power[3] + power[4];
    float hiss = power[5] + power[6];
    float level_db = decibel_from_power(voice + hiss);
    bool periodic = frame->periodicity > PERIODIC;
    track_room(gate, level_db, periodic, frame->whole);
    float room_db = NOTHING_DB;
    (void)noise_floor_get(&gate->room, &room_db);
    float over_db = level_db - room_db;
    bool sung = periodic && over_db > SUNG_OVER_ROOM_DB && voice > hiss;
    if (sung)
        voice_level_step(&gate->voice, voice, true);
    if (sung && voice > UNDER_VOICE * voice_level_power(&gate->voice))
        return MOMENT_SUNG;
    if (over_db <= NOISE_OVER_ROOM_DB)
        return MOMENT_QUIET;
    return hiss > voice ? MOMENT_HISS : MOMENT_NOISE;
}
