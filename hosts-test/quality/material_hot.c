/* SPDX-License-Identifier: ISC */
/* Sibilants made too loud at known places. */
#include "quality/material.h"

#include <math.h>
#include <stdlib.h>

static const double pi = 3.14159265358979323846;

/* What lies above 2.5 kHz, without a shift of phase: filtered forwards, then backwards. */
static void high_part(const float *audio, float *out, size_t n, double rate_hz) {
    SignalsBand forward = signals_band(rate_hz, 2500.0, 1e9), backward = forward;
    for (size_t i = 0; i < n; i++)
        out[i] = (float)signals_band_step(&forward, (double)audio[i]);
    for (size_t i = n; i-- > 0;)
        out[i] = (float)signals_band_step(&backward, (double)out[i]);
}

/* How much of the gain is on at a frame of start..end: 10 ms fades inside the label. */
static double share(size_t at, size_t start, size_t end, double rate_hz) {
    double fade = 0.01 * rate_hz;
    double t = fmin((double)(at - start), (double)(end - at)) / fade;
    return t >= 1.0 ? 1.0 : 0.5 - 0.5 * cos(pi * t);
}

bool material_hot(const Voice *voice, double db, float *hot) {
    double more = pow(10.0, db / 20.0) - 1.0;
    for (size_t i = 0; i < voice->n; i++)
        hot[i] = voice->audio[i];
    if (!voice->recorded) {
        const float *sibilants = voice->take.stem[SINGER_STEM_SIBILANTS];
        for (size_t i = 0; i < voice->n; i++)
            hot[i] += (float)(more * (double)sibilants[i]);
        return true;
    }
    float *high = malloc((voice->n + 1) * sizeof *high);
    if (!high)
        return false;
    high_part(voice->audio, high, voice->n, voice->rate_hz);
    for (size_t k = 0; k < voice->n_labels; k++) {
        const SingerLabel *l = &voice->labels[k];
        for (size_t i = l->start; l->kind == SINGER_S && i < l->end && i < voice->n; i++)
            hot[i] += (float)(more * share(i, l->start, l->end, voice->rate_hz) * (double)high[i]);
    }
    free(high);
    return true;
}
