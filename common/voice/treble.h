/* SPDX-License-Identifier: ISC */
/* treble.h: whether a take has treble at all, or was cut off below it: by a telephone, a codec, a
 * low rate it once had.
 *
 * Everybody who speaks or sings makes some sound above 5745 Hz now and then: the friction of /s/
 * lies 11 dB under its vowel with its peak at 5 to 8 kHz, that of /f/ some 20 dB (Jongman, Wayland
 * and Wong, JASA 108, 2000). So the loudest that was heard up there, three hops at least, is held;
 * it falls by 1 dB with each second of what is sung. A take is dull by how far that lies under the
 * voice: not at all where it is 32 dB or less, wholly at 40 dB and more. (Half-bands let through
 * -50 dB of what lies below them; on recordings as they are the distance was 30 dB at most, on the
 * same without treble 43 dB at least.) Until a voice is known a take counts as having treble.
 *
 * Multiplying all powers by a constant changes nothing. Latency 0. Cost: two logarithms a hop. */
#ifndef SISKIN_VOICE_TREBLE_H
#define SISKIN_VOICE_TREBLE_H

#include "voice/voice_sense.h"

#include <stdbool.h>

enum { TREBLE_HOPS = 3 };

typedef struct {
    float fall_db; /* a hop */
    struct {
        float last_db[TREBLE_HOPS];
        size_t at;
        float held_db;
    } state;
} Treble;

void treble_prepare(Treble *treble, double hops_per_second);
void treble_reset(Treble *treble);
/* After a reset: as if so much had been heard, see treble_held_db(). */
void treble_begin_with(Treble *treble, float held_db);
/* One hop. */
void treble_step(Treble *treble, const VoiceFrame *frame, bool sung);
/* 0: it has treble; 1: it has none. voice: its power, > 0. */
float treble_dull(const Treble *treble, float voice);

/* The loudest that was heard above 5745 Hz, dBFS. */
static inline float treble_held_db(const Treble *treble) {
    return treble->state.held_db;
}

#endif
