/* SPDX-License-Identifier: ISC */
/* true_peak.h: the largest amplitude of the wave that the samples stand for.
 *
 * ITU-R BS.1770-4 and -5, Annex 2: each channel is interpolated to four times its rate by the
 * standard's FIR filter of 48 taps (four phases of 12), and the largest absolute value counts. The
 * samples themselves count too, since the wave passes through them and the filter is down by up to
 * 0.8 dB near half the rate. At rates over 48 kHz the same filter is used, which then is more exact
 * than is asked for.
 * Errors, from the filter itself: 0.22 dB too high at most (at a quarter of the rate); too low by
 * at most -20 log10 cos(pi f / 4 rate) and the filter's own fall, together under 0.4 dB up to 0.4
 * rate. No reading is over a sample peak by more than 20 log10 sum |h| = 6.119 dB.
 *
 * Latency 6 frames (of the reading only). Cost 48 multiplications a frame and channel. */
#ifndef SISKIN_MEASURE_TRUE_PEAK_H
#define SISKIN_MEASURE_TRUE_PEAK_H

#include <stddef.h>

enum { TRUE_PEAK_CHANNELS = 2, TRUE_PEAK_TAPS = 12, TRUE_PEAK_PHASES = 4 };

typedef struct {
    unsigned channels;
    struct {
        float past[TRUE_PEAK_CHANNELS][TRUE_PEAK_TAPS - 1]; /* oldest first */
        float sample[TRUE_PEAK_CHANNELS];                   /* largest absolute values */
        float between[TRUE_PEAK_CHANNELS];
    } state;
} TruePeak;

/* channels 1..TRUE_PEAK_CHANNELS */
void true_peak_prepare(TruePeak *peak, unsigned channels);
void true_peak_reset(TruePeak *peak);
/* n frames of each channel. */
void true_peak_process(TruePeak *peak, const float *const *in, size_t n);
/* Linear, of all that went in so far, over all channels. The true peak is that of the last frames
 * too only after 12 more frames of silence. */
float true_peak_true(const TruePeak *peak);
float true_peak_sample(const TruePeak *peak);

#endif
