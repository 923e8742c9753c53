/* SPDX-License-Identifier: ISC */
/* clipping.h: what a converter or a stage before it did to a take: clipping and DC.
 *
 * A wave that was clipped has flat tops: runs of frames at exactly one value. Those of at least
 * three frames (at 48 kHz; the same time at higher rates) count when they lie within 0.1 dB of the
 * largest sample of the take, so that clipping is seen below full scale too, after a fader; a
 * larger sample found later does away with what was counted before. An unclipped wave of frequency
 * f and amplitude a stays within one step q of its top for sqrt(8 q / a) / (2 pi f) seconds: less
 * than three frames of 48 kHz at 16 bit, unless it holds nothing above 50 Hz. Frames of at least
 * full scale (1 - 2^-15 and more, the top of 16 bit) are counted apart, and the mean of each
 * channel is its DC. Valid for 8..192 kHz. Latency 0. Cost: some 5 operations a frame. */
#ifndef SISKIN_MEASURE_CLIPPING_H
#define SISKIN_MEASURE_CLIPPING_H

#include <stddef.h>
#include <stdint.h>

enum { CLIPPING_CHANNELS = 2 };

typedef struct {
    unsigned channels;
    size_t shortest; /* frames of a flat top */
    struct {
        uint64_t frames;
        double sum[CLIPPING_CHANNELS];
        float last[CLIPPING_CHANNELS];
        size_t run[CLIPPING_CHANNELS]; /* frames of that value so far */
        float largest;
        uint64_t full_scale; /* frames, of any channel */
        uint64_t tops, longest;
    } state;
} Clipping;

void clipping_prepare(Clipping *tops, double rate_hz, unsigned channels);
void clipping_reset(Clipping *tops);
void clipping_process(Clipping *tops, const float *const *in, size_t n);
/* Mean of a channel. 0 before anything went in. */
double clipping_dc(const Clipping *tops, unsigned channel);

#endif
