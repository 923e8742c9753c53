/* SPDX-License-Identifier: ISC */
/* plate.h: a reverberation that is dense from the first millisecond on, as that of a metal plate.
 *
 *     in -> diffuser, one of its own for each channel -> early taps ------------> +
 *                                                     -> tail_network.h --------> out
 *
 * Five all-passes a channel, of 2 to 9 ms, make of a click a train of clicks (after the input
 * diffusers of Dattorro, "Effect design part 1", JAES 45(9), 1997, his two long ones shorter, so
 * that they ring for 0.12 s at most; the right channel's are some tenth different). Until the
 * shortest line of the tail has come round, PLATE_EARLY_MS, the sound is taken from eight taps a
 * side of that train, both channels crosswise. Taps and tail share the energy as an exponential
 * tail of that decay would: the part exp(-13.8 t / T) of it comes after t.
 *
 * White noise comes out of each side PLATE_LEVEL_DB under what went in, at any decay: where the
 * tail rings longer it is quieter at its start. A tone that is held on one of its resonances,
 * without motion, comes out up to 3.4 dB louder than it went in at 0.9 s, 11.3 dB at 6 s, 14.7 dB
 * at 10 s.
 *
 * Valid for 8..192 kHz. Latency 0. Cost about 200 operations a frame by four at a time. */
#ifndef SISKIN_SOUND_PLATE_H
#define SISKIN_SOUND_PLATE_H

#include "basic/delay.h"
#include "gain/glide.h"
#include "sound/diffuser.h"
#include "sound/tail_network.h"

#define PLATE_LEVEL_DB (-6.0)
#define PLATE_EARLY_MS 16.0

enum { PLATE_TAPS = 8 };

typedef TailParams PlateParams;

typedef struct {
    double rate_hz;
    unsigned channels;
    Diffuser diffuser[TAIL_CHANNELS];
    Delay diffused[TAIL_CHANNELS];
    size_t tap[TAIL_CHANNELS][PLATE_TAPS]; /* frames */
    TailNetwork tail;
    Glide early, late; /* gains of the two parts */
} Plate;

/* channels 1..2. false: the arena is full. */
bool plate_prepare(Plate *plate, double rate_hz, unsigned channels, Arena *arena);
void plate_reset(Plate *plate);
void plate_set(Plate *plate, const PlateParams *params);
/* n frames of every channel; in may equal out. */
void plate_process(Plate *plate, const float *const *in, float *const *out, size_t n);

#endif
