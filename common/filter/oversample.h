/* SPDX-License-Identifier: ISC */
/* oversample.h: one channel to 2, 4 or 8 times its rate and back, linear in phase, for processors
 * that make new harmonics, and for reading the wave between samples.
 *
 * A row of half-band filters, each doubling the rate. Of a half-band of 2 M + 1 taps, M odd, every
 * second tap but the middle one is 0, so that of each two frames out one is a frame in, copied:
 *     up:    y[2 j + 1] = x[j - (M - 1) / 2],   y[2 j] = sum over l = 0..M of 2 h[2 l] x[j - l]
 *     down:  y[j] = x[2 j - M] / 2 + sum over l of h[2 l] x[2 (j - l)]
 * Source: Bellanger, Daguet, Lepagnol, "Interpolation, extrapolation, and reduction of computation
 * speed in digital filters", IEEE Trans. ASSP 22(4), 1974. The taps are a sinc under Kaiser's
 * window (Kaiser, "Nonrecursive digital filter design using the I0-sinh window function", ISCAS
 * 1974), with a passband gain of 1 at 0 Hz. Later stages are shorter, since what they have to stop
 * is farther away.
 *
 * The phases of the high rate are kept in arrays of their own, top[p][i] being frame 2^stages i +
 * p, so that loops run over frames and compilers vectorise them.
 *
 * OVERSAMPLE_SHAPE: flat within 0.01 dB up to 0.4 of the rate in, -0.1 dB at 0.42, 86 dB down from
 * 0.6. OVERSAMPLE_READ, for reading only: flat within 0.02 dB up to 0.48, 60 dB down from 0.52.
 * Latency, up and down, OVERSAMPLE_SHAPE: 31, 35, 37 frames with 1, 2, 3 stages, exactly: what is
 * over is taken off by the choice of which frames the way down keeps.
 * Cost a frame for 8 times: 16 + 2 * 5 + 4 * 4 products up, as many down. */
#ifndef SISKIN_FILTER_OVERSAMPLE_H
#define SISKIN_FILTER_OVERSAMPLE_H

#include <stddef.h>

enum {
    OVERSAMPLE_STAGES = 3,   /* most */
    OVERSAMPLE_PHASES = 8,   /* of the high rate, most */
    OVERSAMPLE_BLOCK = 64,   /* most frames at once */
    OVERSAMPLE_PAST = 96,    /* frames that the first stage looks back, most */
    OVERSAMPLE_PAST_TOP = 8, /* and the others */
    OVERSAMPLE_TAPS = 48,    /* pairs of equal taps, most */
};

typedef enum { OVERSAMPLE_SHAPE, OVERSAMPLE_READ } OversampleUse;

/* Frames of the high rate; [p][i], p < 2^stages, i < n. */
typedef float OversampleTop[OVERSAMPLE_PHASES][OVERSAMPLE_BLOCK];

typedef struct {
    unsigned stages;
    struct {
        unsigned reach;             /* M */
        unsigned past;              /* frames of each phase kept */
        unsigned early;             /* 1: the way down keeps the frames one earlier */
        float tap[OVERSAMPLE_TAPS]; /* 2 h[2 l], l = 0..(M - 1) / 2; the rest mirrors them */
    } stage[OVERSAMPLE_STAGES];
    struct {
        float up[OVERSAMPLE_PAST + 6 * OVERSAMPLE_PAST_TOP];
        float down[2 * (OVERSAMPLE_PAST + 6 * OVERSAMPLE_PAST_TOP)];
    } state;
} Oversample;

/* stages 1..OVERSAMPLE_STAGES. */
void oversample_prepare(Oversample *over, unsigned stages, OversampleUse use);
void oversample_reset(Oversample *over);

/* Frames of the low rate from oversample_up's `in` to oversample_down's `out`. */
size_t oversample_delay(const Oversample *over);
/* Frames of the high rate from `in` to `top`: in[i] comes out as frame 2^stages i + this. */
size_t oversample_rise(const Oversample *over);

/* n <= OVERSAMPLE_BLOCK frames. */
void oversample_up(Oversample *over, const float *in, OversampleTop top, size_t n);
void oversample_down(Oversample *over, OversampleTop top, float *out, size_t n);

#endif
