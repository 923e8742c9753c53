/* SPDX-License-Identifier: ISC */
/* thumps.h: the thumps of /p/ and /b/: bursts of air on the microphone, below the voice.
 *
 * A burst is noise of the lowest octaves, most of it below 100 Hz, for 30 to 120 ms (common
 * practice; Elko, Meyer, Backer and Peissig, "Electronic pop protection for microphones", WASPAA
 * 2007, from memory). A voice has nothing below its lowest note. So, every THUMPS_STEP_MS,
 *
 *     deep(t)  power from 20 Hz to half the lowest note sung lately (c, 30 to 90 Hz), times 90 / c:
 *              what a burst would have up to 90 Hz
 *     low(t)   power from 20 to 300 Hz: fundamentals, and all of a burst
 *     voice    mean of low over what is voiced, of the last THUMPS_VOICE_S of it
 *     room     mean of deep over the last THUMPS_ROOM_S, none counting over four times the mean
 *
 * and it thumps where all of these hold:
 *
 *     deep > voice - 9 dB    it can be heard beside the voice. What clean singers have there reaches
 *                            -17 dB, recorded plosives -10 to +5 (measured on voices to tune on)
 *     deep > low - 13 dB     not the skirt of a note: the lowest itself is 24 dB down there, one a
 *                            fourth under it 14 dB
 *     deep > room + 13 dB    not rumble: the power of a narrow band of Gaussian noise is distributed
 *                            exponentially, and over twenty times its mean one moment in e^20; that of
 *                            a floor one walks on is lumpier (at 10 dB: 8 false in 41 s of the demo)
 *
 * THUMPS_LONGEST_MS later at most it is over: what lasts is no burst of air. It may begin again
 * when one of these failed in between, by 6 dB.
 *
 * Filters are Butterworth's of order 4, above 20 Hz of order 2 (svf.h), on every M-th frame, after
 * a triangle of 2 M frames whose zeros lie where folding would begin. deep and low are smoothed
 * over THUMPS_SMOOTH_MS. Until a note and 0.3 s of voice are known nothing thumps.
 * Latency: 0 frames, and a burst is told of some 10 ms after it begins (the corner's delay, 7 ms at
 * 60 Hz). Valid for 8..192 kHz. Passes no audio. Cost 4 operations a frame, and 120 a step. */
#ifndef SISKIN_DETECT_THUMPS_H
#define SISKIN_DETECT_THUMPS_H

#include "basic/arena.h"
#include "filter/svf.h"

#include <stdbool.h>
#include <stddef.h>

#define THUMPS_STEP_MS 0.8
#define THUMPS_SMOOTH_MS 5.0
#define THUMPS_VOICE_S 3.0
#define THUMPS_ROOM_S 2.0
#define THUMPS_LONGEST_MS 200.0

typedef struct {
    size_t step;    /* M, frames */
    double step_hz; /* steps a second */
    float *taps;    /* [2 M, made up to a multiple of 8] */
    float *line;    /* [the same] newest last */
    size_t n_taps;
    float smooth;               /* pole, a step */
    float voice_steps;          /* counted at most */
    float room_steps;           /* likewise */
    float known;                /* steps of voice */
    unsigned longest;           /* steps */
    Svf above, deep[2], low[2]; /* history too */
    struct {
        size_t taken;    /* frames of the step to come */
        float lowest_hz; /* that `deep` is designed for; 0: no note is known */
        float whole;     /* factor of its power, see above */
        bool voiced;
        float deep, low; /* powers */
        float voice, voiced_steps;
        float room, steps;
        unsigned lasts; /* steps that it has thumped; 0: it does not */
        bool near;      /* see thumps_near() */
        bool spent;     /* the last one went on for too long */
    } state;
} Thumps;

/* false: the arena is full. */
bool thumps_prepare(Thumps *thumps, double rate_hz, Arena *arena);
void thumps_reset(Thumps *thumps);
/* What pitch_floor.h says, after each of its readings: the lowest note, 0 when not known, and
 * whether there is voice now. */
void thumps_voice(Thumps *thumps, float lowest_hz, bool voiced);
/* Frames until the next step, >= 1. */
size_t thumps_until(const Thumps *thumps);
/* Takes n <= thumps_until() frames. true: that was a step. */
bool thumps_process(Thumps *thumps, const float *in, size_t n);
/* Whether it thumps, as of the last step. */
bool thumps_now(const Thumps *thumps);
/* Whether it may soon: all of these hold 12 dB lower. */
bool thumps_near(const Thumps *thumps);
/* Level of `deep` over the voice, dB. */
float thumps_level_db(const Thumps *thumps);

#endif
