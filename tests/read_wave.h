/* SPDX-License-Identifier: ISC */
/* read_wave.h: the wave between samples, by another way than any unit's: 16 places a frame, a sinc
 * of +-64 frames under Kaiser's window (beta 9), in double. Its band ends at half the rate, -6 dB,
 * and is flat to 0.47 of it. */
#ifndef SISKIN_TESTS_READ_WAVE_H
#define SISKIN_TESTS_READ_WAVE_H

#include "signals.h"

#include <math.h>

enum { READ_WAVE_SIDE = 64, READ_WAVE_PLACES = 16 };

typedef struct {
    double tap[READ_WAVE_PLACES][2 * READ_WAVE_SIDE];
} ReadWave;

/* Modified Bessel function of the first kind, order 0, by its power series. */
static inline double read_wave_i0(double x) {
    double sum = 1.0, term = 1.0;
    for (int k = 1; k < 60; k++) {
        term *= (x / (2.0 * k)) * (x / (2.0 * k));
        sum += term;
    }
    return sum;
}

static inline void read_wave_prepare(ReadWave *wave) {
    const double pi = 3.14159265358979323846;
    for (int p = 0; p < READ_WAVE_PLACES; p++)
        for (int k = 0; k < 2 * READ_WAVE_SIDE; k++) {
            double d = (double)p / READ_WAVE_PLACES + READ_WAVE_SIDE - 1 - k;
            double a = d / READ_WAVE_SIDE, sinc = d == 0.0 ? 1.0 : sin(pi * d) / (pi * d);
            wave->tap[p][k] =
                sinc * read_wave_i0(9.0 * sqrt(fmax(0.0, 1.0 - a * a))) / read_wave_i0(9.0);
        }
}

/* The largest of frame t and the 15 places after it; READ_WAVE_SIDE frames are on either side. */
static inline double read_wave_at(const ReadWave *wave, const float *audio, size_t t) {
    double most = 0.0;
    for (int p = 0; p < READ_WAVE_PLACES; p++) {
        double sum = 0.0;
        for (int k = 0; k < 2 * READ_WAVE_SIDE; k++)
            sum += wave->tap[p][k] * (double)audio[t - (READ_WAVE_SIDE - 1) + (size_t)k];
        most = fmax(most, fabs(sum));
    }
    return most;
}

/* The true peak of the n frames, dB; READ_WAVE_SIDE of them at either end by their samples alone.
 * Read where a frame and the next one together are at least `near` of the largest sample: 0.1 for
 * any signal, more for voices, where what is beside a peak is large too. */
static inline double read_wave_peak_db(const ReadWave *wave, const float *audio, size_t n,
                                       double near) {
    double most = signals_peak(audio, n);
    near *= most;
    for (size_t t = READ_WAVE_SIDE; t + READ_WAVE_SIDE < n; t++)
        if (fabs((double)audio[t]) + fabs((double)audio[t + 1]) >= near)
            most = fmax(most, read_wave_at(wave, audio, t));
    return 20.0 * log10(fmax(most, 1e-10));
}

#endif
