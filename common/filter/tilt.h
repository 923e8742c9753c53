/* SPDX-License-Identifier: ISC */
/* tilt.h: the balance of low and high as a seesaw, first order.
 *
 *     H(s) = (1 + g s) / (g + s), s in units of the middle, g = 10^(tilt / 20)
 * -tilt dB far below the middle, +tilt dB far above, 0 dB at it: a low shelf and a high shelf of
 * first order (Zolzer, Digital Audio Signal Processing, 5.2) that share a middle. As
 * (1/g) low + g (x - low), low being a one-pole at g times the middle in the trapezoidal form
 * (Zavalishin, The Art of VA Filter Design, 3.10). At tilt 0 the input to the bit.
 * Latency 0. Cost 10 operations and two divisions a frame. */
#ifndef SISKIN_FILTER_TILT_H
#define SISKIN_FILTER_TILT_H

#include <stddef.h>

#define TILT_MIDDLE_HZ 1000.0

typedef struct {
    float warp; /* tan(pi f / rate) */
    struct {
        float integral;
    } state;
} Tilt;

void tilt_prepare(Tilt *tilt, double rate_hz);
void tilt_reset(Tilt *tilt);
/* n frames; gain[i] is g of each, > 0; in may equal out. */
void tilt_process(Tilt *tilt, const float *gain, const float *in, float *out, size_t n);

#endif
