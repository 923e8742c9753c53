/* SPDX-License-Identifier: ISC */
/* deep_cut.h: takes down what is deep, by some dB and for a while, in up to two channels at once.
 *
 * A Butterworth high-pass of order 4 that stops falling at a floor: two sections, Q = 1 / (2 cos(pi/8))
 * and 1 / (2 cos(3pi/8)), each a state-variable filter (svf.h) whose poles stay where they are,
 *
 *     H(s) = (s^2 + A s/Q + A^2) / (s^2 + s/Q + 1) = 1 + (A - 1) s/Q / D(s) + (A^2 - 1) / D(s),
 *     |H|^2 of both = (u^8 + A^8) / (u^8 + 1),  u = f / corner,  A = 10^(-reduction / 80 dB)
 *
 * (a shelf of Butterworth's; zeros of Orfanidis, "High-order digital parametric equalizer design",
 * JAES 53, 2005, from memory; the law is checked in the tests). So the deepest loses the reduction,
 * the corner 3 dB, an octave above it 0.02 dB. Only A moves: by a one-pole towards what is wanted,
 * over DEEP_CUT_FALL_MS when more is taken down, DEEP_CUT_RISE_MS when it comes back.
 *
 * When nothing is wanted and A is 1 within 1e-5 it rests, and passes every bit. From rest it starts
 * with no history, and at A = 1, so nothing jumps.
 * Gain <= 1 for steady tones; 2.3 dB is the most by which any signal's peak can rise (the sum of the
 * magnitudes of the impulse response, 18 dB deep, less than the high-pass's own).
 * Valid for a corner of 10 Hz to 0.4 rate. Latency 0. Cost at rest none, else 30 operations a frame. */
#ifndef SISKIN_FILTER_DEEP_CUT_H
#define SISKIN_FILTER_DEEP_CUT_H

#include "basic/simd.h"

#include <stdbool.h>
#include <stddef.h>

#define DEEP_CUT_FALL_MS 3.0
#define DEEP_CUT_RISE_MS 30.0

enum { DEEP_CUT_CHANNELS = 2, DEEP_CUT_SECTIONS = 2 };

typedef struct {
    double rate_hz;
    unsigned channels;
    float fall, rise;           /* poles */
    float k[DEEP_CUT_SECTIONS]; /* 1/Q */
    struct {
        bool at_work;
        float a1[DEEP_CUT_SECTIONS], a2[DEEP_CUT_SECTIONS], a3[DEEP_CUT_SECTIONS];
        float a; /* A */
        Simd ic1[DEEP_CUT_SECTIONS], ic2[DEEP_CUT_SECTIONS];
    } state;
} DeepCut;

typedef struct {
    double corner_hz;   /* taken over when it starts from rest */
    float reduction_db; /* wanted, >= 0 */
} DeepCutParams;

void deep_cut_prepare(DeepCut *cut, double rate_hz, unsigned channels);
void deep_cut_reset(DeepCut *cut);
/* n frames of every channel, in place. */
void deep_cut_process(DeepCut *cut, const DeepCutParams *params, float *const *audio, size_t n);

#endif
