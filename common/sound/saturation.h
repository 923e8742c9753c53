/* SPDX-License-Identifier: ISC */
/* saturation.h: a soft saturation without the aliases of one, for one channel at a high rate.
 *
 *     f(x) = lift x / sqrt(1 + bend x^2)
 * linear where bend x^2 is small, and never beyond lift / sqrt(bend). Of odd symmetry: harmonics
 * 3, 5, ...; shifted, f(x + shift) - f(shift), it makes even ones too. What is taken off is the
 * same operations on silence, so that silence stays silence to the bit while shift and bend move.
 * To alias less, y is the mean of f over the straight line from the frame before to this one, by
 * the antiderivative F of f (Parker, Zavalishin, Le Bivic, "Reducing the aliasing of nonlinear
 * waveshaping using continuous-time convolution", DAFx-16; Bilbao, Esqueda, Parker, Valimaki, IEEE
 * SPL 24(7), 2017):
 *     F(x) = lift / bend sqrt(1 + bend x^2)
 *     y = (F(x) - F(x1)) / (x - x1) = lift (x + x1) / (sqrt(1 + bend x^2) + sqrt(1 + bend x1^2))
 * The last form, by a^2 - b^2 = (a + b)(a - b), has nothing that cancels: it needs neither doubles
 * nor a case for x near x1, and holds at bend = 0, where it is the mean of two frames.
 * Valid for any finite input, lift and bend >= 0. |y| <= lift (1 + 2 |shift| sqrt(bend)) |x|max
 * and <= 2 lift / sqrt(bend).
 * Latency half a frame of the high rate, with the fall of a mean of two: cos(pi f / high rate).
 * Cost one root, one division and some 10 operations a frame of the high rate. */
#ifndef SISKIN_SOUND_SATURATION_H
#define SISKIN_SOUND_SATURATION_H

#include "filter/oversample.h"

typedef struct {
    unsigned phases; /* of the high rate */
    struct {
        float last, root;   /* x1 + shift, sqrt(1 + bend (x1 + shift)^2) */
        float rest, rooted; /* the same of silence */
    } state;
} Saturation;

void saturation_prepare(Saturation *saturation, unsigned phases);
void saturation_reset(Saturation *saturation);
/* n <= OVERSAMPLE_BLOCK frames of each phase, in place; lift, bend and shift by frame of the low
 * rate. */
void saturation_process(Saturation *saturation, OversampleTop top, const float *lift,
                        const float *bend, const float *shift, size_t n);

#endif
