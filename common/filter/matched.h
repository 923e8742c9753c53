/* SPDX-License-Identifier: ISC */
/* matched.h: second-order bells and high shelves whose response is that of the analogue ones up to
 * near half the rate, where the bilinear transform squeezes it.
 *
 * Analogue, s = j f / f0, A = 10^(gain / 40) (R. Bristow-Johnson's cookbook, W3C note 2021):
 *     bell   (s^2 + s A/Q + 1) / (s^2 + s/(AQ) + 1)
 *     shelf  A (A s^2 + sqrt(2A) s + 1) / (s^2 + sqrt(2A) s + A)       slope 1, gain/2 at f0
 *
 * Digital: M. Vicanek, "Matched second order digital filters", 2016. The poles are exp() of the
 * analogue ones; the zeros follow from |H|^2, which for a second-order filter is linear in three
 * numbers,
 *     |b0 + b1/z + b2/z^2|^2 = B0 phi0 + B1 phi1 + 4 B2 phi0 phi1,
 *     phi1 = sin^2(w/2), phi0 = 1 - phi1,
 * and so is fixed by three demands. A bell: gain 1 at 0 Hz; its gain and a flat top at f0. The
 * shelf, in the same way: gain 1 at 0 Hz; the analogue gain at f0, or at a quarter of the rate if
 * that is lower, and at 0.45 of the rate. Of the two inverse filters, +G and -G, the one is
 * designed whose poles the exponential keeps better (the bell's boost, the shelf's cut) and the
 * other is its inverse, so that a cut takes away exactly what a boost gives. Both are minimum
 * phase.
 *
 * Off from the analogue response at 44.1 kHz, up to 18 kHz, worst of all settings below (tests):
 * bells of 60..3000 Hz 0.47 dB (-15 dB, 3 octaves, 3 kHz), ordinary ones under 0.1; shelves of
 * 4..16 kHz, -6..9 dB, 0.21 dB. */
#ifndef SISKIN_FILTER_MATCHED_H
#define SISKIN_FILTER_MATCHED_H

/* (b0 + b1/z + b2/z^2) / (1 + a1/z + a2/z^2) */
typedef struct {
    double b0, b1, b2, a1, a2;
} Matched;

/* Q of a bell whose gain in dB is over half of that at its centre for so many octaves (> 0):
 * 1/Q = 2 sinh(octaves ln 2 / 2). */
double matched_q(double octaves);

/* 0 < hz < 0.45 rate, q > 0. */
Matched matched_bell(double rate_hz, double hz, double q, double gain_db);

/* hz > 0, also above half the rate: what of the slope lies below it is kept. */
Matched matched_high_shelf(double rate_hz, double hz, double gain_db);

#endif
