/* SPDX-License-Identifier: ISC */
#include "measure/mean_spectrum.h"

#include "basic/maths.h"

#include <math.h>
#include <string.h>

static const double SHORTEST_S = 0.064;

static bool take_memory(MeanSpectrum *spectrum, Arena *arena) {
    spectrum->window = arena_take(arena, spectrum->size, sizeof(float));
    spectrum->audio = arena_take(arena, spectrum->size, sizeof(float));
    spectrum->cut = arena_take(arena, spectrum->size, sizeof(float));
    spectrum->power = arena_take(arena, spectrum->bins, sizeof(float));
    bool fits = spectrum->window && spectrum->audio && spectrum->cut && spectrum->power;
    for (unsigned kind = 0; kind < MEAN_SPECTRUM_KINDS; kind++) {
        spectrum->sum[kind] = arena_take(arena, spectrum->bins, sizeof(double));
        fits = fits && spectrum->sum[kind];
    }
    return fits;
}

bool mean_spectrum_prepare(MeanSpectrum *spectrum, double rate_hz, Arena *arena) {
    spectrum->rate_hz = rate_hz;
    spectrum->size = 16;
    while ((double)spectrum->size < SHORTEST_S * rate_hz)
        spectrum->size *= 2;
    spectrum->bins = spectrum->size / 2 + 1;
    bool fits = take_memory(spectrum, arena);
    if (!fft_prepare(&spectrum->fft, spectrum->size, arena) || !fits)
        return false;
    for (size_t i = 0; i < spectrum->size; i++)
        spectrum->window[i] =
            (float)(0.5 - 0.5 * cos(2.0 * PI * (double)i / (double)spectrum->size));
    mean_spectrum_reset(spectrum);
    return true;
}

void mean_spectrum_reset(MeanSpectrum *spectrum) {
    memset(spectrum->audio, 0, spectrum->size * sizeof(float));
    for (unsigned kind = 0; kind < MEAN_SPECTRUM_KINDS; kind++)
        memset(spectrum->sum[kind], 0, spectrum->bins * sizeof(double));
    memset(&spectrum->state, 0, sizeof spectrum->state);
}

size_t mean_spectrum_room(const MeanSpectrum *spectrum) {
    return spectrum->size - spectrum->state.filled;
}

static void transform(MeanSpectrum *spectrum) {
    for (size_t i = 0; i < spectrum->size; i++)
        spectrum->cut[i] = spectrum->window[i] * spectrum->audio[i];
    fft_power(&spectrum->fft, spectrum->cut, spectrum->power);
    /* Mean of the squared Hann window is 3/8; each bin but the first and last stands for two. */
    float scale = (float)(2.0 / (0.375 * (double)spectrum->size * (double)spectrum->size));
    for (size_t k = 0; k < spectrum->bins; k++)
        spectrum->power[k] *= k == 0 || k == spectrum->bins - 1 ? 0.5f * scale : scale;
}

bool mean_spectrum_feed(MeanSpectrum *spectrum, const float *in, size_t n) {
    memcpy(spectrum->audio + spectrum->state.filled, in, n * sizeof(float));
    spectrum->state.filled += n;
    if (spectrum->state.filled < spectrum->size)
        return false;
    transform(spectrum);
    size_t half = spectrum->size / 2;
    memmove(spectrum->audio, spectrum->audio + half, half * sizeof(float));
    spectrum->state.filled = half;
    spectrum->state.windows++;
    return true;
}

void mean_spectrum_count(MeanSpectrum *spectrum, unsigned kind) {
    for (size_t k = 0; k < spectrum->bins; k++)
        spectrum->sum[kind][k] += (double)spectrum->power[k];
    spectrum->state.count[kind]++;
}

double mean_spectrum_band(const MeanSpectrum *spectrum, unsigned kind, double low_hz,
                          double high_hz) {
    if (spectrum->state.count[kind] == 0)
        return (double)NAN;
    double width = spectrum->rate_hz / (double)spectrum->size;
    double sum = 0.0;
    for (size_t k = 0; k < spectrum->bins; k++) {
        double from = fmax(low_hz, ((double)k - 0.5) * width);
        double to = fmin(high_hz, ((double)k + 0.5) * width);
        if (to > from)
            sum += spectrum->sum[kind][k] * (to - from) / width;
    }
    return sum / (double)spectrum->state.count[kind];
}
