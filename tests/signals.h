/* SPDX-License-Identifier: ISC */
/* signals.h: test signals and measures that every Check suite may use, all in double inside.
 *
 * Nothing here uses the code under test, so that a measure can disagree with it.
 * Frequencies in Hz, levels in dB re full scale (amplitude 1), lengths in frames unless the name
 * says otherwise. Whatever fills an array adds nothing to it and overwrites; *_add adds. */
#ifndef SISKIN_TESTS_SIGNALS_H
#define SISKIN_TESTS_SIGNALS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* ---- Random numbers: split_mix.h. The same seed gives the same sequence on every machine. ---- */

typedef struct {
    uint64_t state;
} Random;

Random random_seeded(uint64_t seed);
uint64_t random_bits(Random *random);
/* Uniform in [0, 1). */
double random_unit(Random *random);
/* Uniform in [low, high). */
double random_range(Random *random, double low, double high);
/* Uniform whole number 0..count-1; count >= 1. */
size_t random_below(Random *random, size_t count);
/* Mean 0, deviation 1 (Box and Muller, Ann. Math. Stat. 29, 1958). */
double random_normal(Random *random);

/* ---- Signals ---- */

void signals_silence(float *out, size_t n);
void signals_sine(float *out, size_t n, double rate_hz, double hz, double amplitude, double phase);
void signals_sine_add(float *out, size_t n, double rate_hz, double hz, double amplitude,
                      double phase);
/* White Gaussian noise of the given RMS. */
void signals_noise(float *out, size_t n, double rms, Random *random);
/* Gaussian noise through an 8th-order Butterworth band (4th order each side), its RMS over the n
 * frames made exactly `rms`. low_hz <= 0: no lower edge; high_hz >= 0.49 rate: no upper edge. */
void signals_band_noise(float *out, size_t n, double rate_hz, double low_hz, double high_hz,
                        double rms, Random *random);
/* Adds a damped resonance with its start at out[0]: amplitude * exp(-t/tau) * sin(2 pi hz t). */
void signals_burst_add(float *out, size_t n, double rate_hz, double hz, double tau_ms,
                       double amplitude);
/* A voice-like harmonic tone: partials of f0 up to `top_hz`, the k-th falling by slope_db an
 * octave, phases by Schroeder (IEEE Trans. IT 16, 1970) so that the crest is low. RMS is `rms`. */
void signals_harmonics(float *out, size_t n, double rate_hz, double f0_hz, double top_hz,
                       double slope_db, double rms);
/* Multiplies by a raised-cosine fade in and out over `fade` frames at each end (2 fade <= n). */
void signals_fade_ends(float *audio, size_t n, size_t fade);
void signals_scale(float *audio, size_t n, double gain);
void signals_add(float *sum, const float *other, size_t n);

/* ---- Filters for measuring: RBJ cookbook biquads in double, direct form 1 ---- */

typedef struct {
    double b0, b1, b2, a1, a2;
    double x1, x2, y1, y2;
} SignalsBiquad;

SignalsBiquad signals_low_pass(double rate_hz, double hz, double q);
SignalsBiquad signals_high_pass(double rate_hz, double hz, double q);
SignalsBiquad signals_band_pass(double rate_hz, double hz, double q);
double signals_biquad_step(SignalsBiquad *filter, double x);

/* Band low..high: Butterworth 4th order each side, -3 dB at the edges. Edges as in
 * signals_band_noise. */
typedef struct {
    SignalsBiquad stage[4];
    size_t stages;
} SignalsBand;

SignalsBand signals_band(double rate_hz, double low_hz, double high_hz);
double signals_band_step(SignalsBand *band, double x);
/* in may equal out. */
void signals_band_filter(const float *in, float *out, size_t n, double rate_hz, double low_hz,
                         double high_hz);

/* ---- Measures ---- */

double signals_rms(const float *audio, size_t n);
double signals_peak(const float *audio, size_t n);
/* 20 log10 of the RMS; silence or n = 0 gives -200 dB, the lowest reading of all measures here. */
double signals_rms_db(const float *audio, size_t n);
double signals_peak_db(const float *audio, size_t n);
/* RMS in dB of the band low..high of audio[0..n), the filter at rest at audio[0]. */
double signals_band_db(const float *audio, size_t n, double rate_hz, double low_hz, double high_hz);
/* RMS in dB of a - b. */
double signals_difference_db(const float *a, const float *b, size_t n);
/* Largest |a - b|. */
double signals_largest_difference(const float *a, const float *b, size_t n);
/* Amplitude of the sinusoid at hz by correlation under a Hann window: 0.1 % right when hz is at
 * least 4 rate/n away from 0, rate/2 and every other partial. */
double signals_tone_amplitude(const float *audio, size_t n, double rate_hz, double hz);
/* Index of the first frame where the two differ in any bit; n when they are the same. */
size_t signals_first_difference(const float *a, const float *b, size_t n);
bool signals_same_bits(const float *a, const float *b, size_t n);
bool signals_all_finite(const float *audio, size_t n);
/* The p-th quantile, 0..1, linear between ranks (Hyndman and Fan 1996, type 7); sorts `values`.
 * n = 0 gives NaN. */
double signals_quantile(double *values, size_t n, double p);

#endif
