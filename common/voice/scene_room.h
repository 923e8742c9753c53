/* SPDX-License-Identifier: ISC */
/* scene_room.h: what the room is, in octaves and from 359 Hz up.
 *
 * Two answers, since a room can be heard in two ways. The floor (noise_floor.h), of each octave and
 * of the whole, is the quietest that never stops: right at once, but a hole in the room becomes it,
 * as a gain ahead of the plugin leaves one where it turned a breath down. The tone (room_tone.h) is
 * the sound that comes back most often: it knows no holes, but needs time. The room is the floor,
 * or, as far as the tone is trusted, the tone, where the floor lies 3 dB under it: not at all at 2
 * dB, wholly at 4.
 *
 * What is periodic is not taken for the room while that is unknown, and later only where it is
 * quieter: before it was heard, only that tells a voice from it. Nor is then what lies less than 12
 * dB under the voice in the first 270 ms after it: where a take begins within a word, the first
 * sound without a pitch is a consonant, and fricatives last up to some 250 ms (from memory). A cut
 * in the take, told by the caller, says nothing. Adding a constant to all levels adds it to the
 * room. Latency 0. Cost: eight floors and a tone, some 300 operations and 13 logarithms a hop. */
#ifndef SISKIN_VOICE_SCENE_ROOM_H
#define SISKIN_VOICE_SCENE_ROOM_H

#include "voice/noise_floor.h"
#include "voice/room_tone.h"
#include "voice/voice_sense.h"

#include <stdbool.h>

typedef struct {
    NoiseFloor band[OCTAVE_BANK_BANDS], all;
    RoomTone tone;
    size_t longest; /* hops of a consonant */
    size_t unsung;  /* hops in a row, so far */
} SceneRoom;

void scene_room_prepare(SceneRoom *room, double rate_hz, double hops_per_second);
void scene_room_reset(SceneRoom *room);
/* After a reset: the room as it was known before. */
void scene_room_begin_with(SceneRoom *room, const RoomLevels *levels);
/* One hop; level_db: its level from 359 Hz up; voice_db: the singer's, INFINITY while unknown. */
void scene_room_step(SceneRoom *room, const VoiceFrame *frame, float level_db, float voice_db,
                     bool periodic, bool cut);
/* The same hop, once it was judged; plain: it is taken for the room. */
void scene_room_judged(SceneRoom *room, const VoiceFrame *frame, float level_db, bool periodic,
                       bool cut, bool plain);
/* False while nothing is known; then *levels is left alone. */
bool scene_room_get(const SceneRoom *room, RoomLevels *levels);

#endif
