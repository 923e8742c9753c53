/* SPDX-License-Identifier: ISC */
#include "measure/true_peak.h"

#include <math.h>
#include <string.h>

/* BS.1770 Annex 2; the two other phases are these two turned around. */
static const float half[2][TRUE_PEAK_TAPS] = {
    {0.0017089843750f, 0.0109863281250f, -0.0196533203125f, 0.0332031250000f, -0.0594482421875f,
     0.1373291015625f, 0.9721679687500f, -0.1022949218750f, 0.0476074218750f, -0.0266113281250f,
     0.0148925781250f, -0.0083007812500f},
    {-0.0291748046875f, 0.0292968750000f, -0.0517578125000f, 0.0891113281250f, -0.1665039062500f,
     0.4650878906250f, 0.7797851562500f, -0.2003173828125f, 0.1015625000000f, -0.0582275390625f,
     0.0330810546875f, -0.0189208984375f},
};

enum { PAST = TRUE_PEAK_TAPS - 1, CHUNK = 256 };

void true_peak_prepare(TruePeak *peak, unsigned channels) {
    peak->channels = channels;
    true_peak_reset(peak);
}

void true_peak_reset(TruePeak *peak) {
    memset(&peak->state, 0, sizeof peak->state);
}

static float largest(const float *x, size_t n) {
    float most = 0.0f;
    for (size_t i = 0; i < n; i++)
        most = fabsf(x[i]) > most ? fabsf(x[i]) : most;
    return most;
}

/* The largest between samples: x[0..PAST) came before the n frames from x[PAST] on. */
static float interpolated(const float *x, size_t n) {
    float y[CHUNK];
    float most = 0.0f;
    for (size_t phase = 0; phase < TRUE_PEAK_PHASES; phase++) {
        const float *h = half[phase < 2 ? phase : 3 - phase];
        memset(y, 0, sizeof y);
        for (size_t k = 0; k < TRUE_PEAK_TAPS; k++) {
            float tap = phase < 2 ? h[k] : h[PAST - k];
            for (size_t i = 0; i < n; i++)
                y[i] += tap * x[PAST + i - k];
        }
        float here = largest(y, n);
        most = here > most ? here : most;
    }
    return most;
}

static void process_channel(TruePeak *peak, unsigned c, const float *in, size_t n) {
    float x[PAST + CHUNK];
    memcpy(x, peak->state.past[c], sizeof peak->state.past[c]);
    memcpy(x + PAST, in, n * sizeof(float));
    float sample = largest(in, n);
    float between = interpolated(x, n);
    peak->state.sample[c] = sample > peak->state.sample[c] ? sample : peak->state.sample[c];
    peak->state.between[c] = between > peak->state.between[c] ? between : peak->state.between[c];
    memcpy(peak->state.past[c], x + n, sizeof peak->state.past[c]);
}

void true_peak_process(TruePeak *peak, const float *const *in, size_t n) {
    for (size_t at = 0; at < n; at += CHUNK)
        for (unsigned c = 0; c < peak->channels; c++)
            process_channel(peak, c, in[c] + at, n - at < CHUNK ? n - at : CHUNK);
}

float true_peak_sample(const TruePeak *peak) {
    return largest(peak->state.sample, peak->channels);
}

float true_peak_true(const TruePeak *peak) {
    float between = largest(peak->state.between, peak->channels);
    float sample = true_peak_sample(peak);
    return between > sample ? between : sample;
}
