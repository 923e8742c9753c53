/* SPDX-License-Identifier: ISC */
/* kept_level.h: makes what grains add up to as loud as what they were cut from, moment for moment.
 *
 *     gain = sqrt((P_in + N) / (P_out + N)),   N of -120 dBFS, within +-KEPT_LEVEL_MOST_DB
 * P both powers, summed over channels, after two equal one-poles of KEPT_LEVEL_MS. Since the two
 * forget alike, the gain is right from a word's second tick on, and where nothing was moved it is
 * 1. A grain cut between two pulses holds 3 dB less than one cut at a pulse, two that meet half a
 * turn apart cancel, and where a run of marks begins decides which it is: what is lost so is given
 * back. Of a voice of 70 Hz the two poles leave 2.6 % of the ripple of its periods, 0.1 dB.
 * level_match.h does the same for what is bent, a syllable at a time.
 *
 * The gain is of a tick's end and moves in a straight line over the next. Latency 0; both must be
 * aligned. Cost 8 operations a frame and channel. */
#ifndef SISKIN_SOUND_KEPT_LEVEL_H
#define SISKIN_SOUND_KEPT_LEVEL_H

#include <stddef.h>

#define KEPT_LEVEL_MS 10.0
#define KEPT_LEVEL_MOST_DB 6.0

typedef struct {
    size_t tick;  /* frames */
    double keep;  /* pole of a tick */
    double least; /* gain */
    struct {
        size_t filled;            /* frames of this tick */
        double now[2][2];         /* sums of squares: cut from, made; of each channel */
        double once[2], twice[2]; /* powers after one pole, after both */
        double from, step;        /* gain at the last tick's end; what it moves by a frame */
    } state;
} KeptLevel;

void kept_level_prepare(KeptLevel *level, double rate_hz, size_t tick);
void kept_level_reset(KeptLevel *level);
/* From here on it is made otherwise, and what is known does not hold: the gain goes to 1, and from
 * there on as it is heard. */
void kept_level_trust(KeptLevel *level);
/* n frames, at most to the end of the tick, of 1..2 channels: made[c][i] *= gain. */
void kept_level_process(KeptLevel *level, const float *const *cut_from, float *const *made,
                        unsigned channels, size_t n);

#endif
