/* SPDX-License-Identifier: ISC */
/* room.h: the sound of a take's room alone, for what learns from gaps.
 *
 * A take is at hand whole, so a processor that learns the noise of the room need not wait for the first
 * gap: it is played the room ahead of the first frame. The room is the longest stretch, up to
 * ROOM_MOST_S, that room_watch.h takes for nothing but room, 0.1 s behind what sounded before it and
 * 20 ms ahead of what comes next; it is repeated, joints crossfaded at equal power over ROOM_JOINT_S,
 * up to ROOM_PLAYED_S. A rest of less than ROOM_LEAST_S says too little, and then there is none;
 * nor is there in heavy rumble, in which no rest is told from a word. */
#ifndef SISKIN_RENDER_ROOM_H
#define SISKIN_RENDER_ROOM_H

#include "siskin/render/audio.h"

#define ROOM_LEAST_S 0.3
#define ROOM_MOST_S 3.0
#define ROOM_JOINT_S 0.02
#define ROOM_PLAYED_S 6.0

typedef struct {
    unsigned channels;
    size_t frames; /* 0: there is none */
    float *audio[AUDIO_CHANNELS];
} Room;

/* Fails as audio_open_how and audio_read do. */
bool room_read(Room *room, const char *path, const AudioHow *how, HostError *error);
void room_free(Room *room); /* fine on a zeroed one */

#endif
