/* SPDX-License-Identifier: ISC */
#include "filter/wave_peak.h"

#include <math.h>
#include <string.h>

enum { BLOCK = OVERSAMPLE_BLOCK, LAST = WAVE_PEAK_LAST, PHASES = OVERSAMPLE_PHASES };

void wave_peak_prepare(WavePeak *peak, unsigned channels) {
    peak->channels = channels;
    for (unsigned c = 0; c < WAVE_PEAK_CHANNELS; c++)
        oversample_prepare(&peak->over[c], OVERSAMPLE_STAGES, OVERSAMPLE_READ);
    wave_peak_reset(peak);
}

void wave_peak_reset(WavePeak *peak) {
    for (unsigned c = 0; c < WAVE_PEAK_CHANNELS; c++)
        oversample_reset(&peak->over[c]);
    memset(&peak->state, 0, sizeof peak->state);
}

/* The earliest place of value[i] is two high frames before its first. */
size_t wave_peak_delay(const WavePeak *peak) {
    return (oversample_rise(&peak->over[0]) + LAST + PHASES - 1) / PHASES;
}

/* Four places in a row: the third, and half-way between the second and the third. */
static void read(const float *y0, const float *y1, const float *y2, const float *y3, float *value,
                 size_t n) {
    for (size_t i = 0; i < n; i++) {
        float between = fabsf(0.5625f * (y1[i] + y2[i]) - 0.0625f * (y0[i] + y3[i]));
        float at = fabsf(y2[i]);
        float larger = between > at ? between : at;
        value[i] = larger > value[i] ? larger : value[i];
    }
}

static void channel(WavePeak *peak, unsigned c, const float *in, float *value, size_t n) {
    OversampleTop top;
    float before[LAST][BLOCK]; /* the last phases, one frame earlier */
    const float *y[LAST + PHASES];
    oversample_up(&peak->over[c], in, top, n);
    for (int k = 0; k < LAST; k++) {
        const float *phase = top[PHASES - LAST + k];
        before[k][0] = peak->state.last[c][k];
        memcpy(before[k] + 1, phase, (n - 1) * sizeof *phase);
        peak->state.last[c][k] = phase[n - 1];
        y[k] = before[k];
    }
    for (int p = 0; p < PHASES; p++)
        y[LAST + p] = top[p];
    for (int p = 0; p < PHASES; p++)
        read(y[p], y[p + 1], y[p + 2], y[p + 3], value, n);
}

void wave_peak_process(WavePeak *peak, const float *const *in, float *value, size_t n) {
    memset(value, 0, n * sizeof *value);
    for (size_t at = 0; at < n; at += BLOCK)
        for (unsigned c = 0; c < peak->channels; c++)
            channel(peak, c, in[c] + at, value + at, n - at < BLOCK ? n - at : BLOCK);
}
