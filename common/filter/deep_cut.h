/* SPDX-License-Identifier: ISC */
/* deep_cut.h: takes down what is deep, by some dB and for a while, in up to two channels at once.
 *
 * A Butterworth high-pass of order 4 that stops falling at a floor: two sections, Q = 1 / (2
 * cos(pi/8)) and 1 / (2 cos(3pi/8)), each a state-variable filter (svf.h) whose poles stay where
 * they are,
 *
 *     H(s) = (s^2 + A s/Q + A^2) / (s^2 + s/Q + 1) = 1 + (A - 1) s/Q / D(s) + (A^2 - 1) / D(s),
 *     |H|^2 of both = (u^8 + A^8) / (u^8 + 1),  u = f / corner,  A = 10^(-reduction / 80 dB)
 *
 * (a shelf of Butterworth's; zeros of Orfanidis, "High-order digital parametric equalizer design",
 * JAES 53, 2005, from memory; the law is checked in the tests). So the deepest loses the reduction,
 * the corner 3 dB, an octave above it 0.02 dB. Only A moves: by a one-pole towards what is wanted,
 * over DEEP_CUT_FALL_MS when more is taken down, DEEP_CUT_RISE_MS when it comes back.
 *
 * When nothing is wanted and A has come within 1e-5 of 1 it passes what it gets, bit for bit. It
 * then rests, unless it is to be ready: from rest it starts with no history, and takes as long as
 * its corner's period to be at work. It always starts at A = 1, so nothing jumps.
 * Gain <= 1 for steady tones. Turning the phase raises the peak of the worst of signals by as much
 * as the sum of the impulse response's magnitudes: 4.7, 6.5, 7.5, 8.1 dB for 6, 12, 18, 24 dB.
 * Valid for a corner of 10 Hz to 0.4 rate. Latency 0. Cost at rest none, else 30 operations a
 * frame. */
#ifndef SISKIN_FILTER_DEEP_CUT_H
#define SISKIN_FILTER_DEEP_CUT_H

#include "basic/simd.h"

#include <stdbool.h>
#include <stddef.h>

#define DEEP_CUT_FALL_MS 2.0
#define DEEP_CUT_RISE_MS 30.0

enum { DEEP_CUT_SECTIONS = 2 };

typedef struct {
    double rate_hz;
    unsigned channels;
    double fall, rise;          /* poles */
    float k[DEEP_CUT_SECTIONS]; /* 1/Q */
    struct {
        bool at_work;
        float a1[DEEP_CUT_SECTIONS], a2[DEEP_CUT_SECTIONS], a3[DEEP_CUT_SECTIONS];
        double a; /* A */
        Simd ic1[DEEP_CUT_SECTIONS], ic2[DEEP_CUT_SECTIONS];
    } state;
} DeepCut;

typedef struct {
    double corner_hz;   /* taken over when it starts from rest */
    float reduction_db; /* wanted, >= 0 */
    bool ready;         /* something may be wanted soon */
} DeepCutParams;

void deep_cut_prepare(DeepCut *cut, double rate_hz, unsigned channels);
void deep_cut_reset(DeepCut *cut);
/* n frames of every channel, in place. */
void deep_cut_process(DeepCut *cut, const DeepCutParams *params, float *const *audio, size_t n);

#endif
