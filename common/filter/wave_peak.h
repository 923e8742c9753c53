/* SPDX-License-Identifier: ISC */
/* wave_peak.h: the largest absolute value of the wave that the samples stand for, frame by frame.
 *
 * The wave is read at 16 places a frame: 8 by oversample.h (OVERSAMPLE_READ), and half-way between
 * those by the middle of Lagrange's cubic, (9 (y1 + y2) - (y0 + y3)) / 16, which is off by
 * 3/128 w^4, 0.04 % at half the rate (w = pi / 8). Reading too seldom loses at most
 * -20 log10 cos(pi f / (16 rate)), 0.042 dB at half the rate (the bound of ITU-R BS.1770, Annex 2);
 * above 0.48 of the rate the filter falls, and the wave itself is not defined to the end.
 *
 * value[i] covers the wave from wave_peak_delay() frames before frame i to one frame later, and a
 * little beyond on either side. All channels together. Cost a frame and channel: some 96 + 20 +
 * 32 sums and half as many products for 8 times the rate, and 6 operations a place. */
#ifndef SISKIN_FILTER_WAVE_PEAK_H
#define SISKIN_FILTER_WAVE_PEAK_H

#include "filter/oversample.h"

enum { WAVE_PEAK_CHANNELS = 2, WAVE_PEAK_LAST = 3 };

typedef struct {
    unsigned channels;
    Oversample over[WAVE_PEAK_CHANNELS];
    struct {
        float last[WAVE_PEAK_CHANNELS][WAVE_PEAK_LAST]; /* frames of the high rate */
    } state;
} WavePeak;

/* channels 1..WAVE_PEAK_CHANNELS */
void wave_peak_prepare(WavePeak *peak, unsigned channels);
void wave_peak_reset(WavePeak *peak);
size_t wave_peak_delay(const WavePeak *peak);
/* n frames of every channel. */
void wave_peak_process(WavePeak *peak, const float *const *in, float *value, size_t n);

#endif
