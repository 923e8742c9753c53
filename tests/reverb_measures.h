/* SPDX-License-Identifier: ISC */
/* reverb_measures.h: what is measured of an impulse response, for the suites and the quality
 * table. */
#ifndef SISKIN_TESTS_REVERB_MEASURES_H
#define SISKIN_TESTS_REVERB_MEASURES_H

#include "signals.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* T30 of ISO 3382-1: the energy integrated backwards (Schroeder, JASA 37, 1965), a line by least
 * squares from -5 to -35 dB, for 60 dB. Seconds. */
static inline double reverb_t30(const float *h, size_t n, double rate_hz) {
    double *left = calloc(n + 1, sizeof *left), all = 0.0;
    double sx = 0.0, sy = 0.0, sxx = 0.0, sxy = 0.0, count = 0.0;
    for (size_t i = n; left && i-- > 0;)
        left[i] = left[i + 1] + (double)h[i] * (double)h[i];
    for (size_t i = 0; left && i < n; i++) {
        all = left[0];
        double db = 10.0 * log10(left[i] / all + 1e-30), x = (double)i / rate_hz;
        if (db > -5.0 || db < -35.0)
            continue;
        sx += x, sy += db, sxx += x * x, sxy += x * db, count += 1.0;
    }
    free(left);
    return -60.0 * (count * sxx - sx * sx) / (count * sxy - sx * sy);
}

/* The octave around `hz`. h begins with silence enough for the filter to start in: it is causal. */
static inline double reverb_t30_octave(const float *h, size_t n, double rate_hz, double hz) {
    float *band = calloc(n + 1, sizeof *band);
    if (!band)
        return (double)NAN;
    signals_band_filter(h, band, n, rate_hz, hz / sqrt(2.0), hz * sqrt(2.0));
    double t30 = reverb_t30(band, n, rate_hz);
    free(band);
    return t30;
}

/* Echo density of Abel and Huang, AES 121, 2006: under a Hann window of 20 ms around frame `at`,
 * the share of frames beyond the window's own deviation, over erfc(1 / sqrt 2) as in Gaussian
 * noise. */
static inline double reverb_density(const float *h, size_t at, double rate_hz) {
    size_t n = (size_t)(0.02 * rate_hz), from = at - n / 2;
    double weight = 0.0, power = 0.0, beyond = 0.0;
    for (size_t i = 0; i < n; i++) {
        double w = 0.5 - 0.5 * cos(2.0 * 3.14159265358979 * ((double)i + 0.5) / (double)n);
        weight += w;
        power += w * (double)h[from + i] * (double)h[from + i];
    }
    double deviation = sqrt(power / weight);
    for (size_t i = 0; i < n; i++) {
        double w = 0.5 - 0.5 * cos(2.0 * 3.14159265358979 * ((double)i + 0.5) / (double)n);
        beyond += fabs((double)h[from + i]) > deviation ? w : 0.0;
    }
    return beyond / weight / erfc(1.0 / sqrt(2.0));
}

/* The time after frame `start` from which the density has reached 0.9 once, by steps of 5 ms;
 * ms. */
static inline double reverb_dense_ms(const float *h, size_t start, double rate_hz) {
    enum { STEP_MS = 5, LAST_MS = 500 };
    int ms = 0;
    while (ms < LAST_MS && reverb_density(h, start + (size_t)(1e-3 * ms * rate_hz), rate_hz) < 0.9)
        ms += STEP_MS;
    return ms;
}

/* Correlation of two sides in the octave around `hz`. */
static inline double reverb_correlation(const float *a, const float *b, size_t n, double rate_hz,
                                        double hz) {
    float *x = calloc(2 * n + 1, sizeof *x), *y = x ? x + n : NULL;
    double xy = 0.0, xx = 0.0, yy = 0.0;
    if (!x)
        return (double)NAN;
    signals_band_filter(a, x, n, rate_hz, hz / sqrt(2.0), hz * sqrt(2.0));
    signals_band_filter(b, y, n, rate_hz, hz / sqrt(2.0), hz * sqrt(2.0));
    for (size_t t = 0; t < n; t++) {
        xy += (double)x[t] * (double)y[t];
        xx += (double)x[t] * (double)x[t];
        yy += (double)y[t] * (double)y[t];
    }
    free(x);
    return xy / sqrt(xx * yy);
}

/* The tallest ring of h[0..n): of the power spectrum under a Hann window, at every 1/(2 n) of the
 * rate in low..high Hz, the largest over the mean of the 100 Hz around it, dB. The spectrum of
 * noise has an exponential distribution, so that of k bins the largest is about ln k over the mean:
 * 9 to 10 dB. Costs n operations a bin: bring h to a low rate first. */
static inline double reverb_tallest_db(const float *h, size_t n, double rate_hz, double low_hz,
                                       double high_hz, double *at_hz) {
    const double step = 0.5 * rate_hz / (double)n, pi = 3.14159265358979323846;
    size_t bins = (size_t)((high_hz - low_hz) / step), wide = (size_t)(50.0 / step);
    double *power = calloc(bins + 1, sizeof *power), *x = calloc(n + 1, sizeof *x), tallest = 0.0;
    for (size_t t = 0; x && t < n; t++)
        x[t] = (double)h[t] * (0.5 - 0.5 * cos(2.0 * pi * ((double)t + 0.5) / (double)n));
    for (size_t k = 0; power && x && k < bins; k++) {
        /* Goertzel, Am. Math. Monthly 65, 1958 */
        double c = 2.0 * cos(2.0 * pi * (low_hz + step * (double)k) / rate_hz), a = 0.0, b = 0.0;
        for (size_t t = 0; t < n; t++) {
            double next = x[t] + c * a - b;
            b = a;
            a = next;
        }
        power[k] = a * a + b * b - c * a * b;
    }
    for (size_t k = wide; power && k + wide < bins; k++) {
        double mean = 0.0;
        for (size_t i = k - wide; i <= k + wide; i++)
            mean += power[i] / (double)(2 * wide + 1);
        double db = 10.0 * log10(power[k] / mean);
        if (db > tallest) {
            tallest = db;
            *at_hz = low_hz + step * (double)k;
        }
    }
    free(power);
    free(x);
    return tallest;
}

#endif
