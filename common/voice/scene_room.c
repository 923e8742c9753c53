/* SPDX-License-Identifier: ISC */
#include "voice/scene_room.h"

#include "basic/decibel.h"

static const float HOLE_DB = 3.0f; /* a floor as far under the tone is a hole in it */

void scene_room_prepare(SceneRoom *room, double rate_hz, double hops_per_second) {
    for (int b = 0; b < OCTAVE_BANK_BANDS; b++)
        noise_floor_prepare(&room->band[b], hops_per_second);
    noise_floor_prepare(&room->all, hops_per_second);
    room_tone_prepare(&room->tone, rate_hz, hops_per_second);
}

void scene_room_reset(SceneRoom *room) {
    for (int b = 0; b < OCTAVE_BANK_BANDS; b++)
        noise_floor_reset(&room->band[b]);
    noise_floor_reset(&room->all);
    room_tone_reset(&room->tone);
}

void scene_room_begin_with(SceneRoom *room, const RoomLevels *levels) {
    for (int b = 0; b < OCTAVE_BANK_BANDS; b++)
        noise_floor_begin_with(&room->band[b], levels->band_db[b]);
    noise_floor_begin_with(&room->all, levels->all_db);
    room_tone_begin_with(&room->tone, levels);
}

void scene_room_step(SceneRoom *room, const VoiceFrame *frame, float level_db, bool periodic,
                     bool cut) {
    float known_db;
    if (!frame->whole || cut || (periodic && !noise_floor_get(&room->all, &known_db)))
        return;
    for (int b = 0; b < OCTAVE_BANK_BANDS; b++)
        noise_floor_step(&room->band[b], decibel_from_power(frame->power[b]), periodic);
    noise_floor_step(&room->all, level_db, periodic);
}

void scene_room_judged(SceneRoom *room, const VoiceFrame *frame, float level_db, bool periodic,
                       bool cut, bool plain) {
    VoiceFrame heard = *frame;
    heard.whole = frame->whole && !cut;
    room_tone_step(&room->tone, &heard, level_db, periodic, plain);
}

bool scene_room_get(const SceneRoom *room, RoomLevels *levels) {
    RoomLevels tone;
    float all_db;
    if (!noise_floor_get(&room->all, &all_db))
        return false;
    if (room_tone_get(&room->tone, &tone) && tone.all_db > all_db + HOLE_DB) {
        *levels = tone;
        return true;
    }
    levels->all_db = all_db;
    for (int b = 0; b < OCTAVE_BANK_BANDS; b++)
        (void)noise_floor_get(&room->band[b], &levels->band_db[b]);
    return true;
}
