/* SPDX-License-Identifier: ISC */
/* room.h: what a take is played ahead of its first frame: its room, for what learns from gaps, and
 * its voice, for what measures a voice against itself.
 *
 * A take is at hand whole, so a processor that learns the noise of the room need not wait for the
 * first gap: it is played the room ahead of the first frame. The room is the longest stretch, up to
 * ROOM_MOST_S, that room_watch.h takes for nothing but room, 0.1 s behind what sounded before it
 * and 20 ms ahead of what comes next; it is repeated, joints crossfaded at equal power over
 * ROOM_JOINT_S, up to ROOM_PLAYED_S. A rest of less than ROOM_LEAST_S says too little, and then
 * there is none; nor is there in heavy rumble, in which no rest is told from a word.
 *
 * The voice is the take itself, from the first sound of a voice until VOICE_SUNG_S of it were sung:
 * over as much usual_level.h forms its mean. It ends after VOICE_MOST_S at the latest. */
#ifndef SISKIN_RENDER_ROOM_H
#define SISKIN_RENDER_ROOM_H

#include "siskin/render/audio.h"

#define ROOM_LEAST_S 0.3
#define ROOM_MOST_S 3.0
#define ROOM_JOINT_S 0.02
#define ROOM_PLAYED_S 6.0
#define VOICE_SUNG_S 30.0
#define VOICE_MOST_S 120.0

typedef struct {
    unsigned channels;
    size_t frames; /* 0: there is none */
    float *audio[AUDIO_CHANNELS];
} Room;

/* Both fail as audio_open_how and audio_read do. */
bool room_read(Room *room, const char *path, const AudioHow *how, HostError *error);
bool room_read_voice(Room *voice, const char *path, const AudioHow *how, HostError *error);
void room_free(Room *room); /* fine on a zeroed one */

#endif
