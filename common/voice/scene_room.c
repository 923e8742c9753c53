/* SPDX-License-Identifier: ISC */
#include "voice/scene_room.h"

#include "basic/decibel.h"
#include "basic/maths.h"

#include <math.h>

/* A floor as far under the tone is a hole in it: by less it is none, from the second on wholly. */
static const float NO_HOLE_DB = 2.0f, HOLE_DB = 4.0f;

static const double CONSONANT_S = 0.27;
static const float NEAR_VOICE_DB = 12.0f;

void scene_room_prepare(SceneRoom *room, double rate_hz, double hops_per_second) {
    for (int b = 0; b < OCTAVE_BANK_BANDS; b++)
        noise_floor_prepare(&room->band[b], hops_per_second);
    noise_floor_prepare(&room->all, hops_per_second);
    room_tone_prepare(&room->tone, rate_hz, hops_per_second);
    room->longest = (size_t)lround(CONSONANT_S * hops_per_second);
    room->unsung = 0;
}

void scene_room_reset(SceneRoom *room) {
    for (int b = 0; b < OCTAVE_BANK_BANDS; b++)
        noise_floor_reset(&room->band[b]);
    noise_floor_reset(&room->all);
    room_tone_reset(&room->tone);
    room->unsung = 0;
}

void scene_room_begin_with(SceneRoom *room, const RoomLevels *levels) {
    for (int b = 0; b < OCTAVE_BANK_BANDS; b++)
        noise_floor_begin_with(&room->band[b], levels->band_db[b]);
    noise_floor_begin_with(&room->all, levels->all_db);
    room_tone_begin_with(&room->tone, levels);
}

/* While no room is known: whether this is the voice, or may be a consonant of it. */
static bool may_be_voice(SceneRoom *room, float level_db, float voice_db, bool periodic) {
    room->unsung = periodic ? 0 : room->unsung + 1;
    return periodic || (level_db > voice_db - NEAR_VOICE_DB && room->unsung < room->longest);
}

void scene_room_step(SceneRoom *room, const VoiceFrame *frame, float level_db, float voice_db,
                     bool periodic, bool cut) {
    float known_db;
    bool known = noise_floor_get(&room->all, &known_db);
    if (!frame->whole || cut || (!known && may_be_voice(room, level_db, voice_db, periodic)))
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
    if (!noise_floor_get(&room->all, &levels->all_db))
        return false;
    for (int b = 0; b < OCTAVE_BANK_BANDS; b++)
        (void)noise_floor_get(&room->band[b], &levels->band_db[b]);
    float share = room_tone_get(&room->tone, &tone);
    if (share > 0.0f)
        share *= maths_ramp(tone.all_db - levels->all_db, NO_HOLE_DB, HOLE_DB);
    if (share == 0.0f)
        return true;
    levels->all_db += share * (tone.all_db - levels->all_db);
    for (int b = 0; b < OCTAVE_BANK_BANDS; b++)
        levels->band_db[b] += share * (tone.band_db[b] - levels->band_db[b]);
    return true;
}
