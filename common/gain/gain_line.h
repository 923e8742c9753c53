/* SPDX-License-Identifier: ISC */
/* gain_line.h: a gain given once a hop, drawn as a straight line between the hops.
 *
 *     g[t] = from + (to - from) t / hop,   t = 0..hop-1 frames since the last gain was given
 *
 * Straight in amplitude; over a hop of 5 ms and less than 1 dB this is within 0.002 dB of a
 * straight line in dB. While both ends are 1 the audio passes bit for bit. A gain given at the end
 * of a hop is reached one hop later: that is its latency. Cost: two multiplications and an addition
 * a frame. */
#ifndef SISKIN_GAIN_GAIN_LINE_H
#define SISKIN_GAIN_GAIN_LINE_H

#include <stddef.h>

typedef struct {
    size_t hop; /* frames */
    struct {
        float from, slope; /* slope a frame */
        float to;
        size_t at; /* frames since the last gain */
    } state;
} GainLine;

/* hop_frames >= 1; the gain is 1. */
void gain_line_prepare(GainLine *line, size_t hop_frames);
/* Gain 1, at the start of a hop. */
void gain_line_reset(GainLine *line);
/* At the end of each hop, after `hop` frames: where to go within the next. */
void gain_line_next(GainLine *line, float gain);
/* n frames of each channel, from in[c] + at to out[c] + at; never past the end of the hop. The
 * arrays may be the same. */
void gain_line_apply(GainLine *line, const float *const *in, float *const *out, unsigned channels,
                     size_t at, size_t n);

#endif
