/* SPDX-License-Identifier: ISC */
/* clipping.h: what a converter or a stage before it did to a take: clipping and DC.
 *
 * A wave that was clipped has flat tops. Each side of each channel is looked at by itself, since a
 * stage may clip on one side only. Levels are held against the side's own top, that of its highest
 * hundredth of peaks, so that one louder click hides nothing. Two kinds are known:
 *
 * - Level tops: runs of at least three frames (at 48 kHz; the same time at higher rates) at exactly
 *   one value. They count when half of all runs down to 8 dB under the top lie at one level, within
 *   0.2 dB, and there are three: wherever a fader put the ceiling, it is one. An unclipped wave of
 *   frequency f and amplitude a stays within one step q of its top for sqrt(8 q / a) / (2 pi f)
 *   seconds, which makes runs in soft takes of 16 bit, at any level.
 * - Tilted tops: after a high-pass or a change of rate no two frames are alike, but what made the
 *   tops straight still shows: the second difference has two peaks of one sign, a straight stretch
 *   of at least four frames between them (at 44.1 or 48 kHz) where it is under an eighth of the
 *   first. A filter of a low corner bends straight lines only slowly, and a resampler rings by a
 *   hundredth of a corner. They count from CLIPPING_FEWEST_TILTED on, and when they are 0.8 % of
 *   the peaks down to 8 dB under the top: of voices that were not clipped, 0.05 % have that shape
 *   as a rule, 0.5 % at most (nine recorded and sung takes of 2 to 20 s).
 *
 * Frames of at least full scale (1 - 2^-15 and more, the top of 16 bit) are counted apart, and the
 * mean of each channel is its DC. Valid for 8..192 kHz. Cost: some 15 operations a frame. */
#ifndef SISKIN_MEASURE_CLIPPING_H
#define SISKIN_MEASURE_CLIPPING_H

#include <stddef.h>
#include <stdint.h>

enum {
    CLIPPING_CHANNELS = 2,
    CLIPPING_SIDES = 2,
    CLIPPING_LEVELS = 1000, /* of 0.1 dB, up from -90 dB */
    CLIPPING_REACH = 48,    /* how far a top may go on, in steps */
    CLIPPING_MOST_STEP = 4, /* frames: at 192 kHz */
    CLIPPING_CHUNK = 256,
    CLIPPING_FEWEST_TILTED = 12
};

/* By level: peaks, runs at one value, tops that are straight. */
typedef struct {
    uint32_t peaks[CLIPPING_LEVELS], level[CLIPPING_LEVELS], tilted[CLIPPING_LEVELS];
} ClippingSide;

typedef struct {
    unsigned channels;
    size_t shortest; /* frames of a level top */
    size_t step;     /* of the second difference, frames */
    struct {
        uint64_t frames;
        double sum[CLIPPING_CHANNELS];
        float last[CLIPPING_CHANNELS];
        size_t run[CLIPPING_CHANNELS]; /* frames of that value so far */
        uint64_t full_scale;           /* frames, of any channel */
        size_t longest;                /* frames: of the level tops */
        ClippingSide side[CLIPPING_CHANNELS][CLIPPING_SIDES];
        /* The frames before the chunk, and the chunk. */
        float line[CLIPPING_CHANNELS][2 * CLIPPING_REACH * CLIPPING_MOST_STEP + CLIPPING_CHUNK];
    } state;
} Clipping;

typedef struct {
    uint64_t tops;  /* of the kind of which there are more */
    size_t longest; /* frames of the longest level top; 0: they are tilted */
} ClippingReading;

void clipping_prepare(Clipping *tops, double rate_hz, unsigned channels);
void clipping_reset(Clipping *tops);
void clipping_process(Clipping *tops, const float *const *in, size_t n);
/* So far; of the last 2 ms tilted ones are not yet known. */
ClippingReading clipping_reading(const Clipping *tops);
/* Mean of a channel. 0 before anything went in. */
double clipping_dc(const Clipping *tops, unsigned channel);

#endif
