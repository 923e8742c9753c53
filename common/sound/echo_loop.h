/* SPDX-License-Identifier: ISC */
/* echo_loop.h: echoes that are filtered, smeared and softly clipped each time they come round.
 *
 *     e[t] = filter(smear(w[t - d]))          the echoes
 *     w[t] = x[t] + feedback clip(e[t])       what goes round
 *
 * The k-th echo comes after k d frames, feedback^(k - 1) of the sound, through the filter k times,
 * whose low-pass is late by 2.6 / (2 pi high_hz) a time, 3 frames at 6 kHz.
 * filter: edge_filter.h, high-pass 12 dB an octave, low-pass 24 dB. smear: v + diffusion (D v - v),
 * D six all-passes in series (diffuser.h), of which an echo becomes a short reverberation. clip is
 *
 *     x - 4 x^3 / 27 for |x| < 3/2, else +-1
 *
 * with slope 1 at 0 and 0 at its ends: at -12 dBFS it takes 0.08 dB. What goes round is so bounded
 * by |x| + feedback whatever the filter rings, and no gain in the loop is over 1 at any frequency:
 * filter and D are at most 1, and so is every mean of 1 and D. A tone in step with d grows by
 * 1 / (1 - feedback) before it meets the bound.
 *
 * A new delay is faded to (tap_line.h), in every channel its own; the rest is followed smoothly.
 * Valid for delays from ECHO_LEAST_MS on, feedback 0..0.95, 8..192 kHz. Latency 0. Cost some 80
 * operations a frame and channel. */
#ifndef SISKIN_SOUND_ECHO_LOOP_H
#define SISKIN_SOUND_ECHO_LOOP_H

#include "filter/edge_filter.h"
#include "gain/glide.h"
#include "sound/diffuser.h"
#include "sound/tap_line.h"

#define ECHO_LEAST_MS 20.0

enum { ECHO_CHANNELS = EDGE_CHANNELS };

typedef struct {
    size_t delay[ECHO_CHANNELS]; /* frames */
    double feedback;             /* 0..0.95 */
    double diffusion;            /* 0..1 */
    double low_hz, high_hz;      /* corners */
} EchoLoopParams;

typedef struct {
    double rate_hz;
    unsigned channels;
    TapLine line[ECHO_CHANNELS];
    Diffuser diffuser[ECHO_CHANNELS];
    EdgeFilter filter;
    Glide feedback, diffusion;
} EchoLoop;

/* channels 1..2, delays up to most_frames. false: the arena is full. */
bool echo_loop_prepare(EchoLoop *echo, double rate_hz, unsigned channels, size_t most_frames,
                       Arena *arena);
void echo_loop_reset(EchoLoop *echo);
void echo_loop_set(EchoLoop *echo, const EchoLoopParams *params);
/* n frames of every channel, the echoes alone; in may equal out. */
void echo_loop_process(EchoLoop *echo, const float *const *in, float *const *out, size_t n);

#endif
