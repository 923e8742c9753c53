/* SPDX-License-Identifier: ISC */
/* half_band.h: splits audio at a quarter of its rate into two halves of half the rate.
 *
 * Two chains of all-passes in z^-2, one on the odd frames and one on the even ones before them:
 *     low  = (A0(z^2) + z^-1 A1(z^2)) / 2,   high = (A0(z^2) - z^-1 A1(z^2)) / 2
 * Each section is y[t] = c (x[t] - y[t-1]) + x[t-1] at the half rate. Power complementary:
 * |low|^2 + |high|^2 = 1 at every frequency, both -3.01 dB at a quarter of the rate.
 * Source: Valenzuela and Constantinides, "Digital signal processing schemes for efficient
 * interpolation and decimation", IEE Proc. G 130(6), 225-235, 1983; the coefficients are those of
 * the elliptic half-band, from the theta series of its nome q (Gazsi, IEEE Trans. CAS 32(1), 1985):
 *     k = tan^2((1 - 2 b) pi / 4) for a transition of b times the rate, order N = 2 * sections + 1
 *     w_i = (2 q^(1/4) sum_j (-1)^j q^(j(j+1)) sin((2j+1) i pi / N))
 *           / (1 + 2 sum_j (-1)^j q^(j^2) cos(2 j i pi / N))
 *     x_i = sqrt((1 - k w_i^2)(1 - w_i^2 / k)) / (1 + w_i^2),   c_i = (1 - x_i) / (1 + x_i)
 * With three sections and b = 0.09: 50.8 dB down from 0.295 of the rate upwards (and in the high
 * half from 0.205 down); ripple in the passband 4e-5 dB. Not linear in phase; delay at 0 Hz about
 * 1.3 frames of the full rate. Cost: 3 multiplications for two frames in. */
#ifndef SISKIN_FILTER_HALF_BAND_H
#define SISKIN_FILTER_HALF_BAND_H

#include <stddef.h>

enum { HALF_BAND_SECTIONS = 3 };

typedef struct {
    float
        c[HALF_BAND_SECTIONS]; /* sections 0 and 2 in the chain of the odd frames, 1 in the other */
    struct {
        float x[HALF_BAND_SECTIONS], y[HALF_BAND_SECTIONS]; /* one frame ago */
    } state;
} HalfBand;

void half_band_prepare(HalfBand *half);
void half_band_reset(HalfBand *half);
/* 2 n frames in, n out of each half. low or high may be `in` itself, since it is read ahead of
 * both. */
void half_band_split(HalfBand *half, const float *in, float *low, float *high, size_t n);

#endif
