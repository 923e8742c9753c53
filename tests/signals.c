/* SPDX-License-Identifier: ISC */
#include "signals.h"

#include "basic/split_mix.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const double pi = 3.14159265358979323846;

/* ---- Random numbers ---- */

Random random_seeded(uint64_t seed) {
    return (Random){.state = seed};
}

uint64_t random_bits(Random *random) {
    return split_mix_bits(&random->state);
}

double random_unit(Random *random) {
    return split_mix_unit(&random->state);
}

double random_range(Random *random, double low, double high) {
    return low + (high - low) * random_unit(random);
}

size_t random_below(Random *random, size_t count) {
    return (size_t)(random_unit(random) * (double)count);
}

double random_normal(Random *random) {
    double radius = sqrt(-2.0 * log(1.0 - random_unit(random)));
    return radius * cos(2.0 * pi * random_unit(random));
}

/* ---- Signals ---- */

void signals_silence(float *out, size_t n) {
    memset(out, 0, n * sizeof *out);
}

void signals_sine(float *out, size_t n, double rate_hz, double hz, double amplitude, double phase) {
    signals_silence(out, n);
    signals_sine_add(out, n, rate_hz, hz, amplitude, phase);
}

void signals_sine_add(float *out, size_t n, double rate_hz, double hz, double amplitude,
                      double phase) {
    for (size_t i = 0; i < n; i++)
        out[i] += (float)(amplitude * sin(2.0 * pi * hz / rate_hz * (double)i + phase));
}

void signals_noise(float *out, size_t n, double rms, Random *random) {
    for (size_t i = 0; i < n; i++)
        out[i] = (float)(rms * random_normal(random));
}

void signals_band_noise(float *out, size_t n, double rate_hz, double low_hz, double high_hz,
                        double rms, Random *random) {
    SignalsBand band = signals_band(rate_hz, low_hz, high_hz);
    /* Let the filter forget its start: ten periods of the lower edge, or a fixed stretch. */
    size_t warm = low_hz > 0.0 ? (size_t)(10.0 * rate_hz / low_hz) : 64;
    for (size_t i = 0; i < warm; i++)
        (void)signals_band_step(&band, random_normal(random));
    for (size_t i = 0; i < n; i++)
        out[i] = (float)signals_band_step(&band, random_normal(random));
    double got = signals_rms(out, n);
    if (got > 0.0)
        signals_scale(out, n, rms / got);
}

void signals_burst_add(float *out, size_t n, double rate_hz, double hz, double tau_ms,
                       double amplitude) {
    for (size_t i = 0; i < n; i++) {
        double t = (double)i / rate_hz;
        out[i] += (float)(amplitude * exp(-t / (tau_ms / 1000.0)) * sin(2.0 * pi * hz * t));
    }
}

void signals_harmonics(float *out, size_t n, double rate_hz, double f0_hz, double top_hz,
                       double slope_db, double rms) {
    double limit = top_hz < 0.49 * rate_hz ? top_hz : 0.49 * rate_hz;
    size_t partials = (size_t)(limit / f0_hz);
    double power = 0.0;
    for (size_t k = 1; k <= partials; k++)
        power += 0.5 * pow(10.0, slope_db * log2((double)k) / 10.0);
    signals_silence(out, n);
    for (size_t k = 1; k <= partials; k++) {
        double amplitude = pow(10.0, slope_db * log2((double)k) / 20.0) * rms / sqrt(power);
        double phase = -pi * (double)(k * (k - 1)) / (double)partials;
        signals_sine_add(out, n, rate_hz, f0_hz * (double)k, amplitude, phase);
    }
}

void signals_fade_ends(float *audio, size_t n, size_t fade) {
    for (size_t i = 0; i < fade && i < n; i++) {
        float gain = (float)(0.5 - 0.5 * cos(pi * ((double)i + 0.5) / (double)fade));
        audio[i] *= gain;
        audio[n - 1 - i] *= gain;
    }
}

void signals_scale(float *audio, size_t n, double gain) {
    for (size_t i = 0; i < n; i++)
        audio[i] = (float)((double)audio[i] * gain);
}

void signals_add(float *sum, const float *other, size_t n) {
    for (size_t i = 0; i < n; i++)
        sum[i] += other[i];
}

/* ---- Filters ---- */

static SignalsBiquad biquad(double b0, double b1, double b2, double a0, double a1, double a2) {
    return (SignalsBiquad){
        .b0 = b0 / a0, .b1 = b1 / a0, .b2 = b2 / a0, .a1 = a1 / a0, .a2 = a2 / a0};
}

SignalsBiquad signals_low_pass(double rate_hz, double hz, double q) {
    double w = 2.0 * pi * hz / rate_hz, c = cos(w), alpha = sin(w) / (2.0 * q);
    return biquad((1.0 - c) / 2.0, 1.0 - c, (1.0 - c) / 2.0, 1.0 + alpha, -2.0 * c, 1.0 - alpha);
}

SignalsBiquad signals_high_pass(double rate_hz, double hz, double q) {
    double w = 2.0 * pi * hz / rate_hz, c = cos(w), alpha = sin(w) / (2.0 * q);
    return biquad((1.0 + c) / 2.0, -1.0 - c, (1.0 + c) / 2.0, 1.0 + alpha, -2.0 * c, 1.0 - alpha);
}

SignalsBiquad signals_band_pass(double rate_hz, double hz, double q) {
    double w = 2.0 * pi * hz / rate_hz, c = cos(w), alpha = sin(w) / (2.0 * q);
    return biquad(alpha, 0.0, -alpha, 1.0 + alpha, -2.0 * c, 1.0 - alpha);
}

double signals_biquad_step(SignalsBiquad *f, double x) {
    double y = f->b0 * x + f->b1 * f->x1 + f->b2 * f->x2 - f->a1 * f->y1 - f->a2 * f->y2;
    f->x2 = f->x1;
    f->x1 = x;
    f->y2 = f->y1;
    f->y1 = y;
    return y;
}

SignalsBand signals_band(double rate_hz, double low_hz, double high_hz) {
    /* Q of the two sections of a 4th-order Butterworth filter: 1 / (2 cos(pi/8)), .. cos(3pi/8). */
    const double q[2] = {0.5 / cos(pi / 8.0), 0.5 / cos(3.0 * pi / 8.0)};
    SignalsBand band = {.stages = 0};
    for (int i = 0; i < 2 && low_hz > 0.0; i++)
        band.stage[band.stages++] = signals_high_pass(rate_hz, low_hz, q[i]);
    for (int i = 0; i < 2 && high_hz < 0.49 * rate_hz; i++)
        band.stage[band.stages++] = signals_low_pass(rate_hz, high_hz, q[i]);
    return band;
}

double signals_band_step(SignalsBand *band, double x) {
    for (size_t i = 0; i < band->stages; i++)
        x = signals_biquad_step(&band->stage[i], x);
    return x;
}

void signals_band_filter(const float *in, float *out, size_t n, double rate_hz, double low_hz,
                         double high_hz) {
    SignalsBand band = signals_band(rate_hz, low_hz, high_hz);
    for (size_t i = 0; i < n; i++)
        out[i] = (float)signals_band_step(&band, (double)in[i]);
}

/* ---- Measures ---- */

static double to_db(double amplitude) {
    return amplitude > 1e-10 ? 20.0 * log10(amplitude) : -200.0;
}

double signals_rms(const float *audio, size_t n) {
    double sum = 0.0;
    for (size_t i = 0; i < n; i++)
        sum += (double)audio[i] * (double)audio[i];
    return n ? sqrt(sum / (double)n) : 0.0;
}

double signals_peak(const float *audio, size_t n) {
    double peak = 0.0;
    for (size_t i = 0; i < n; i++)
        peak = fmax(peak, fabs((double)audio[i]));
    return peak;
}

double signals_rms_db(const float *audio, size_t n) {
    return to_db(signals_rms(audio, n));
}

double signals_peak_db(const float *audio, size_t n) {
    return to_db(signals_peak(audio, n));
}

double signals_band_db(const float *audio, size_t n, double rate_hz, double low_hz,
                       double high_hz) {
    SignalsBand band = signals_band(rate_hz, low_hz, high_hz);
    double sum = 0.0;
    for (size_t i = 0; i < n; i++) {
        double y = signals_band_step(&band, (double)audio[i]);
        sum += y * y;
    }
    return to_db(n ? sqrt(sum / (double)n) : 0.0);
}

double signals_difference_db(const float *a, const float *b, size_t n) {
    double sum = 0.0;
    for (size_t i = 0; i < n; i++) {
        double d = (double)a[i] - (double)b[i];
        sum += d * d;
    }
    return to_db(n ? sqrt(sum / (double)n) : 0.0);
}

double signals_largest_difference(const float *a, const float *b, size_t n) {
    double largest = 0.0;
    for (size_t i = 0; i < n; i++)
        largest = fmax(largest, fabs((double)a[i] - (double)b[i]));
    return largest;
}

double signals_tone_amplitude(const float *audio, size_t n, double rate_hz, double hz) {
    double re = 0.0, im = 0.0, weight = 0.0;
    for (size_t i = 0; i < n; i++) {
        double window = 0.5 - 0.5 * cos(2.0 * pi * ((double)i + 0.5) / (double)n);
        double angle = 2.0 * pi * hz / rate_hz * (double)i;
        re += window * (double)audio[i] * cos(angle);
        im += window * (double)audio[i] * sin(angle);
        weight += window;
    }
    return weight > 0.0 ? 2.0 * hypot(re, im) / weight : 0.0;
}

size_t signals_first_difference(const float *a, const float *b, size_t n) {
    for (size_t i = 0; i < n; i++) {
        uint32_t x, y;
        memcpy(&x, &a[i], sizeof x);
        memcpy(&y, &b[i], sizeof y);
        if (x != y)
            return i;
    }
    return n;
}

bool signals_same_bits(const float *a, const float *b, size_t n) {
    return signals_first_difference(a, b, n) == n;
}

bool signals_all_finite(const float *audio, size_t n) {
    for (size_t i = 0; i < n; i++)
        if (!isfinite(audio[i]))
            return false;
    return true;
}

static int ascending(const void *a, const void *b) {
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

double signals_quantile(double *values, size_t n, double p) {
    if (n == 0)
        return (double)NAN;
    qsort(values, n, sizeof *values, ascending);
    double rank = p * (double)(n - 1);
    size_t below = (size_t)rank;
    size_t above = below + 1 < n ? below + 1 : below;
    return values[below] + (rank - (double)below) * (values[above] - values[below]);
}
