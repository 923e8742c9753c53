/* SPDX-License-Identifier: ISC */
#include "sound/noise_reduction.h"

#include "basic/decibel.h"

#include <math.h>
#include <string.h>

enum { BLOCK = 32 };

static size_t mirror(const NoiseReduction *r, size_t k) {
    return (r->frames.size - k) & (r->frames.size - 1);
}

static void measure(void *self, const Spectrum *y, size_t from, size_t count) {
    NoiseReduction *r = self;
    float *power = noise_profile_now(&r->profile);
    for (size_t k = from; k < from + count; k++) {
        size_t m = mirror(r, k);
        power[k] = 0.5f * (y->re[k] * y->re[k] + y->im[k] * y->im[k] + y->re[m] * y->re[m] +
                           y->im[m] * y->im[m]);
    }
    noise_gain_compare(&r->gain, power, r->profile.mean, from, count);
}

static void judge(void *self, const Spectrum *unused, size_t from, size_t count) {
    NoiseReduction *r = self;
    (void)unused;
    noise_gain_bands(&r->gain, from, count);
}

static void decide(void *self, const Spectrum *unused, size_t from, size_t count) {
    NoiseReduction *r = self;
    (void)unused;
    noise_gain_decide(&r->gain, from, count);
}

/* n <= BLOCK bins from k. Leaves of the spectrum what is to be taken away. 2^0 is exactly 1, and
 * what then is left 0. */
static void apply_bins(NoiseReduction *r, const Spectrum *y, size_t k, size_t n) {
    float gain[BLOCK];
    const float *power = noise_profile_now(&r->profile) + k, *noise = r->profile.mean + k;
    for (size_t i = 0; i < n; i++)
        gain[i] = decibel_fast_exp2(noise_gain_log2(&r->gain, k + i));
    for (size_t i = 0; i < n; i++) {
        r->state.in += power[i];
        r->state.out += power[i] * gain[i] * gain[i];
        r->state.noise += noise[i];
    }
    for (size_t i = 0; i < n; i++) {
        y->re[k + i] *= 1.0f - gain[i];
        y->im[k + i] *= 1.0f - gain[i];
    }
    for (size_t i = 0; i < n; i++) {
        size_t m = mirror(r, k + i);
        if (m != k + i) {
            y->re[m] *= 1.0f - gain[i];
            y->im[m] *= 1.0f - gain[i];
        }
    }
}

static void apply(void *self, const Spectrum *y, size_t from, size_t count) {
    for (size_t k = from; k < from + count; k += BLOCK)
        apply_bins(self, y, k, from + count - k < BLOCK ? from + count - k : BLOCK);
}

static void learn(void *self, const Spectrum *unused, size_t from, size_t count) {
    NoiseReduction *r = self;
    (void)unused;
    noise_profile_run(&r->profile, from, count);
}

bool noise_reduction_prepare(NoiseReduction *reduction, double rate_hz, unsigned channels,
                             double behind_ms, Arena *arena) {
    NoiseReduction *r = reduction;
    size_t size = spectral_frames_size(rate_hz), bins = size / 2 + 1;
    double hops_per_second = rate_hz * SPECTRAL_OVERLAP / (double)size;
    size_t behind = (size_t)ceil(behind_ms * hops_per_second / 1000.0);
    if (!noise_gain_prepare(&r->gain, rate_hz, bins, arena) ||
        !noise_profile_prepare(&r->profile, bins, hops_per_second, behind, arena))
        return false;
    const SpectralTask tasks[] = {{bins, 30, measure},
                                  {r->gain.bands, 4 * bins / r->gain.bands, judge},
                                  {bins, 110, decide},
                                  {bins, 40, apply},
                                  {bins, 3, learn}};
    if (!spectral_frames_prepare(&r->frames, rate_hz, channels, tasks, sizeof tasks / sizeof *tasks,
                                 r, arena))
        return false;
    noise_reduction_reset(r);
    return true;
}

void noise_reduction_reset(NoiseReduction *reduction) {
    spectral_frames_reset(&reduction->frames);
    noise_profile_reset(&reduction->profile);
    noise_gain_reset(&reduction->gain);
    memset(&reduction->state, 0, sizeof reduction->state);
    reduction->state.noise_db = -200.0f;
}

void noise_reduction_set(NoiseReduction *reduction, const NoiseGainParams *params) {
    noise_gain_set(&reduction->gain, params);
}

bool noise_reduction_process(NoiseReduction *reduction, const float *const *in,
                             float *const *removed, size_t at, size_t n) {
    return spectral_frames_process(&reduction->frames, in, removed, at, n);
}

void noise_reduction_begin(NoiseReduction *reduction, bool room, bool periodic) {
    NoiseReduction *r = reduction;
    r->state.reduction_db = decibel_from_power(r->state.in) - decibel_from_power(r->state.out);
    /* Parseval: the bins of half a spectrum hold N/2 times the energy under the window, which is
     * N/2 times the mean square. */
    float size = (float)r->frames.size, channels = (float)r->frames.channels;
    r->state.noise_db = decibel_from_power(4.0f * r->state.noise / (size * size * channels));
    r->state.in = r->state.out = r->state.noise = 0.0f;
    noise_profile_begin(&r->profile, room);
    noise_gain_begin(&r->gain, noise_profile_share(&r->profile), periodic);
}
