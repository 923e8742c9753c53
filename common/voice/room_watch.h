/* SPDX-License-Identifier: ISC */
/* room_watch.h: for how long the room has sounded alone, for whatever learns from gaps only.
 *
 * Listener and scene, and of what they say the one thing a learner needs: how many samples on end,
 * up to room_watch_late() ago, were decided to be room, and in no octave 6 dB
 * over what the room is known to be, nor cut off in silence. Beside it whether a voice sounds now,
 * two hops late. No latency of its own; cost that of listener and scene. */
#ifndef SISKIN_VOICE_ROOM_WATCH_H
#define SISKIN_VOICE_ROOM_WATCH_H

#include "basic/maths.h"
#include "voice/listener.h"
#include "voice/scene.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

typedef struct {
    Listener listener;
    Scene scene;
    size_t late;                /* hops from a moment to its being decided */
    size_t longest;             /* hops are counted as far as this */
    float calm_from, calm_over; /* hops: where calm begins, and how many more until it is whole */
    struct {
        uint64_t fits;    /* bit k: whether the hop k ago may be room */
        size_t quiet;     /* hops on end of room, as decided */
        size_t low_quiet; /* hops on end in which the low octaves were the room's, as heard */
        float calm;       /* the same by degrees: see room_watch_low_calm() */
        bool periodic;
    } state;
} RoomWatch;

void room_watch_prepare(RoomWatch *watch, double rate_hz);
void room_watch_reset(RoomWatch *watch);
/* Samples until the next group of the listener is full, >= 1. */
static inline size_t room_watch_room(const RoomWatch *watch) {
    return listener_room(&watch->listener);
}
/* n <= room_watch_room() samples of 1 or 2 channels, from in[channel] + at. True: a hop is over,
 * and what is told below is new. */
bool room_watch_hear(RoomWatch *watch, const float *const *in, unsigned channels, size_t at,
                     size_t n);
/* Samples of room on end, the last of them room_watch_late() samples ago at most; at most 10 s. */
static inline size_t room_watch_quiet(const RoomWatch *watch) {
    return watch->state.quiet * watch->listener.sense.hop;
}
static inline size_t room_watch_late(const RoomWatch *watch) {
    return (watch->late + VOICE_SENSE_DELAY + 1) * watch->listener.sense.hop;
}
/* Samples on end, up to room_watch_heard() ago, in which the two lowest octaves, under 718 Hz, were
 * no louder than the room, whatever clicked or hissed above; at most 10 s. */
static inline size_t room_watch_low_quiet(const RoomWatch *watch) {
    return watch->state.low_quiet * watch->listener.sense.hop;
}
/* How surely a word's tail is over and the low octaves are the room's, up to room_watch_heard()
 * ago, 0..1. Nothing of it is a step, so that it does not hang on where hops fall: a hop fits by f,
 * wholly up to 6 dB over the room and not from 12 dB on, as words soon are; of what came before it
 * f is kept,
 *     c = f min(c + 1 hop, 80 ms)
 * and calm rises from 0 to 1 while c does from 48 to 80 ms. */
static inline float room_watch_low_calm(const RoomWatch *watch) {
    return maths_ramp(watch->state.calm, watch->calm_from, watch->calm_from + watch->calm_over);
}
static inline size_t room_watch_heard(const RoomWatch *watch) {
    return (VOICE_SENSE_DELAY + 1) * watch->listener.sense.hop;
}
/* Whether something periodic sounded two hops ago. */
static inline bool room_watch_periodic(const RoomWatch *watch) {
    return watch->state.periodic;
}

#endif
