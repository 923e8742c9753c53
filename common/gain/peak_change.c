/* SPDX-License-Identifier: ISC */
#include "gain/peak_change.h"

#include "basic/decibel.h"

#include <math.h>

static const float NOTHING = 1e-5f;

void peak_change_prepare(PeakChange *change, double rate_hz, unsigned channels) {
    change->rate_hz = rate_hz;
    change->channels = channels;
    peak_change_reset(change);
}

void peak_change_reset(PeakChange *change) {
    change->state.in = change->state.out = 0.0f;
}

static float largest(const float *const *audio, unsigned channels, float most, size_t n) {
    for (unsigned c = 0; c < channels; c++)
        for (size_t i = 0; i < n; i++)
            most = fabsf(audio[c][i]) > most ? fabsf(audio[c][i]) : most;
    return most;
}

float peak_change_process(PeakChange *change, const float *const *in, const float *const *out,
                          size_t n) {
    float keep = (float)exp(-(double)n * 1e3 / (PEAK_CHANGE_MS * change->rate_hz));
    change->state.in = largest(in, change->channels, keep * change->state.in, n);
    change->state.out = largest(out, change->channels, keep * change->state.out, n);
    return decibel_from_amplitude(change->state.out + NOTHING) -
           decibel_from_amplitude(change->state.in + NOTHING);
}
