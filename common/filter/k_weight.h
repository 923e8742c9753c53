/* SPDX-License-Identifier: ISC */
/* k_weight.h: the K-weighting of loudness measurement, at any sampling rate.
 *
 * ITU-R BS.1770, Annex 1: a high shelf of +4 dB from about 1.7 kHz up, for the head, then a
 * second-order high-pass at 38 Hz. The standard gives coefficients for 48 kHz alone; these are
 * derived for every rate from the analogue parameters behind them, by the bilinear transform with
 * K = tan(pi f0 / fs), which gives the published ones back to 14 digits:
 *
 *     shelf  f0 1681.974450955533 Hz, Q 0.7071752369554196, Vh = 10^(3.999843853973347 / 20),
 *            Vb = Vh^0.4996667741545416
 *            b = (Vh + Vb K/Q + K^2, 2 (K^2 - Vh), Vh - Vb K/Q + K^2) / a0
 *            a = (1 + K/Q + K^2,     2 (K^2 - 1),  1 - K/Q + K^2) / a0
 *     pass   f0 38.13547087602444 Hz, Q 0.5003270373238773, a as above, b = (1, -2, 1), which the
 *            standard leaves unscaled: its own gain is 0.04 dB at 48 kHz, 0.24 dB at 8 kHz
 *
 * Valid for rates of 8 kHz and more: 0.04 dB from the curve of 48 kHz at 1 kHz at every rate,
 * anywhere else within 0.2 dB from 16 kHz up, and within 0.6 dB at 8 kHz, where the bilinear
 * transform squeezes the shelf.
 * Runs in double: at 192 kHz the poles of the high-pass lie 0.0012 from 1. Latency 0.
 * Cost about 8 cycles a frame. */
#ifndef SISKIN_FILTER_K_WEIGHT_H
#define SISKIN_FILTER_K_WEIGHT_H

#include <stddef.h>

typedef struct {
    double shelf_b0, shelf_b1, shelf_b2, shelf_a1, shelf_a2;
    double pass_a1, pass_a2;
    struct {
        double shelf1, shelf2, pass1, pass2; /* transposed direct form 2 */
    } state;
} KWeight;

/* Designs both stages and resets. */
void k_weight_prepare(KWeight *weight, double rate_hz);
void k_weight_reset(KWeight *weight);
/* n frames; in may equal out. */
void k_weight_process(KWeight *weight, const float *in, float *out, size_t n);
/* Two channels at little more than the cost of one; the same bits as one after the other. Each out
 * may equal its in. */
void k_weight_process_two(KWeight weight[2], const float *const *in, float *const *out, size_t n);

#endif
