/* SPDX-License-Identifier: ISC */
/* mean_spectrum.h: the mean power spectrum of a take, apart for several kinds of moments.
 *
 * Windows of a power of two of frames, 64 to 128 ms long, under a Hann window and half overlapping
 * (Welch, IEEE Trans. AU 15(2), 1967). The caller says of each window what kind of moment it is,
 * and its powers are added to that kind's mean. Scaled so that the sum over bins is the mean
 * square. Bins are 8 to 16 Hz apart; a tone spreads over two to either side, and 31 dB down beyond.
 * Valid for 8..192 kHz. Cost: an FFT (fft.h) for half a window. For programs that measure. */
#ifndef SISKIN_MEASURE_MEAN_SPECTRUM_H
#define SISKIN_MEASURE_MEAN_SPECTRUM_H

#include "basic/arena.h"
#include "basic/fft.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum { MEAN_SPECTRUM_KINDS = 4 };

typedef struct {
    double rate_hz;
    size_t size, bins; /* frames of a window; size / 2 + 1 */
    Fft fft;
    float *window;                    /* [size] */
    float *audio, *cut;               /* [size] the last frames; these under the window */
    float *power;                     /* [bins] of the last window, mean squares */
    double *sum[MEAN_SPECTRUM_KINDS]; /* [bins] */
    struct {
        size_t filled;
        uint64_t windows; /* whole ones so far */
        uint64_t count[MEAN_SPECTRUM_KINDS];
    } state;
} MeanSpectrum;

/* false: the arena is full. */
bool mean_spectrum_prepare(MeanSpectrum *spectrum, double rate_hz, Arena *arena);
void mean_spectrum_reset(MeanSpectrum *spectrum);
/* Frames until the window is full, >= 1. */
size_t mean_spectrum_room(const MeanSpectrum *spectrum);
/* Takes n <= mean_spectrum_room() frames. true: a window is full, which began `size` frames ago,
 * and `power` is its spectrum. */
bool mean_spectrum_feed(MeanSpectrum *spectrum, const float *in, size_t n);
/* Adds the last window to a kind. */
void mean_spectrum_count(MeanSpectrum *spectrum, unsigned kind);
/* Mean square within low..high Hz, bins at the edges in part; NAN when no window is of that kind.
 */
double mean_spectrum_band(const MeanSpectrum *spectrum, unsigned kind, double low_hz,
                          double high_hz);

#endif
