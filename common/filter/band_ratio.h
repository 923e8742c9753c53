/* SPDX-License-Identifier: ISC */
/* band_ratio.h: the powers of two bands of a signal, measured with the very same ballistics.
 *
 * "band" and "voice" are each cut out by a second-order Butterworth high-pass and low-pass (svf.h,
 * E.g. Zavalishin, The Art of VA Filter Design), squared, averaged over a hop of about 0.5 ms, and
 * averaged again under one Hann window of 12 hops. Both bands share the window, so that their
 * quotient is not bent by one of them rising or falling faster than the other, and the window is
 * symmetric, so that a caller who looks ahead by its half sees each moment in its middle.
 * Powers are means over the channels: a sound out of phase between them counts in full.
 *
 * "whole" is what the voice's high-pass lets through, up to the Nyquist frequency: band over whole
 * tells whether a sound lies in the band or only reaches into it.
 *
 * Beside its power P = E[x^2], the band gives S = E[(x - x')^2] and C = E[(second difference)^2],
 * primes meaning the frame before. Since a difference has the power response 4 sin^2(w/2), S/P and
 * C/P are the first and second moments of 4 sin^2(w/2) over the band's spectrum (Kedem, Proc. IEEE
 * 74(11), 1986, on moments by repeated differences); spectral_centre.h makes a centre and a width
 * of them.
 *
 * A noise of bandwidth B is measured with a relative deviation of about 1 / sqrt(B T), T = 4 ms
 * being the window's effective length (N sum w^2 / (sum w)^2 of Hann = 1.5; 6 ms / 1.5): 0.8 dB for
 * 7.5 kHz.
 *
 * Scale: a gain before the unit scales every power by its square, to within float rounding.
 * Valid for 8..192 kHz; edges are moved below the Nyquist frequency. Hops are counted from reset,
 * so the result does not depend on how blocks are cut. Latency of the powers: they stand for the
 * moment band_ratio_age() frames before the end of the hop that made them.
 * Cost per frame: two filters of four lanes (two bands of two channels). */
#ifndef SISKIN_FILTER_BAND_RATIO_H
#define SISKIN_FILTER_BAND_RATIO_H

#include "basic/simd.h"

#include <stdbool.h>
#include <stddef.h>

enum {
    BAND_RATIO_WINDOW = 12, /* hops */
    BAND_RATIO_SUMS = 5,
};

typedef struct {
    float band_low_hz, band_high_hz, voice_low_hz, voice_high_hz;
} BandRatioParams;

/* Mean squares at one hop. */
typedef struct {
    float band, voice;
    float whole; /* all above the voice's low edge */
    float slope; /* of the band's first difference */
    float curve; /* of the band's second difference */
} BandPowers;

/* Lanes: band left, band right, voice left, voice right. Coefficients: those of svf.h, and what
 * moves the state. */
typedef struct {
    Simd a1, a2, a3, b1, b2, damp;
} BandRatioFilters;

typedef struct {
    double rate_hz;
    size_t hop;      /* frames */
    double hop_rate; /* hops a second */
    float weight[BAND_RATIO_WINDOW];
    BandRatioParams params; /* as last set, to see that nothing changed */
    float low_hz, high_hz;  /* of the band, as they are */
    /* What the rate hides of the band: 10 log10 of the width asked for over the width seen, that
     * is, if its energy is as dense where it is hidden. At most 6 dB. */
    float missing_db;
    BandRatioFilters high_pass, low_pass;
    struct {
        Simd high1, high2, low1, low2; /* of the filters */
        Simd last, last_slope;
        Simd power, whole, slope, curve; /* sums of squares in this hop */
        float ring[BAND_RATIO_WINDOW][BAND_RATIO_SUMS];
        size_t frame; /* within the hop */
        size_t newest;
    } state;
} BandRatio;

/* rate_hz 8000..192000; ends reset, with nothing set. */
void band_ratio_prepare(BandRatio *b, double rate_hz);
void band_ratio_reset(BandRatio *b);

/* Each band's high edge is kept a quarter above its low edge, its low edge at most 0.3 of the rate,
 * its high edge at most 0.45 of the rate. */
void band_ratio_set(BandRatio *b, const BandRatioParams *params);

/* Frames until the hop is full, 1..hop. */
size_t band_ratio_room(const BandRatio *b);

/* Takes n <= band_ratio_room() frames of two channels; for mono give the same twice. */
void band_ratio_feed(BandRatio *b, const float *left, const float *right, size_t n);

/* Closes the hop when it is full (room was just used up) and gives the powers; else false. */
bool band_ratio_hop(BandRatio *b, BandPowers *powers);

/* Frames between the middle of the window and the end of its last hop. */
size_t band_ratio_age(const BandRatio *b);

#endif
