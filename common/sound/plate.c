/* SPDX-License-Identifier: ISC */
#include "sound/plate.h"

#include "basic/decibel.h"

#include <math.h>
#include <string.h>

enum { STAGES = 5 };
static const DiffuserStage DIFFUSER[TAIL_CHANNELS][STAGES] = {
    {{4.77, 0.75f}, {3.60, 0.75f}, {8.19, 0.625f}, {6.13, 0.625f}, {2.11, 0.6f}},
    {{4.23, 0.75f}, {3.11, 0.75f}, {9.07, 0.625f}, {5.59, 0.625f}, {1.79, 0.6f}},
};

/* Eight a side, one in each eighth of the early time, so that no two are in step: a sum of two
 * sides has no comb. */
static const double TAP_MS[TAIL_CHANNELS][PLATE_TAPS] = {
    {0.00, 2.47, 4.19, 5.83, 8.35, 9.79, 12.07, 14.61},
    {0.00, 1.93, 4.55, 6.71, 7.69, 10.37, 12.29, 15.33},
};
/* Even taps hear the side's own channel, odd ones the other. Of each channel's the signs differ,
 * and the sides' are orthogonal. */
static const float TAP_SIGN[TAIL_CHANNELS][PLATE_TAPS] = {
    {1, 1, -1, 1, 1, -1, 1, -1},
    {1, -1, 1, 1, -1, -1, 1, 1},
};

bool plate_prepare(Plate *plate, double rate_hz, unsigned channels, Arena *arena) {
    const double smooth_ms = 0.5 * TAIL_SMOOTH_MS; /* twice in series */
    bool fits = tail_network_prepare(&plate->tail, rate_hz, channels, arena);
    plate->rate_hz = rate_hz;
    plate->channels = channels;
    for (unsigned c = 0; c < channels; c++) {
        fits &= diffuser_prepare(&plate->diffuser[c], rate_hz, DIFFUSER[c], STAGES, arena);
        fits &= delay_prepare(&plate->diffused[c], (size_t)ceil(1e-3 * PLATE_EARLY_MS * rate_hz),
                              arena);
        for (size_t k = 0; k < PLATE_TAPS; k++)
            plate->tap[c][k] = (size_t)(1e-3 * TAP_MS[c][k] * rate_hz);
    }
    glide_prepare(&plate->early, smooth_ms, rate_hz);
    glide_prepare(&plate->late, smooth_ms, rate_hz);
    return fits;
}

void plate_reset(Plate *plate) {
    tail_network_reset(&plate->tail);
    for (unsigned c = 0; c < plate->channels; c++) {
        diffuser_reset(&plate->diffuser[c]);
        delay_reset(&plate->diffused[c]);
    }
    glide_reset(&plate->early);
    glide_reset(&plate->late);
}

void plate_set(Plate *plate, const PlateParams *params) {
    tail_network_set(&plate->tail, params);
    double late = exp(-13.8155 * 1e-3 * PLATE_EARLY_MS / params->decay_s);
    double level = decibel_to_gain(PLATE_LEVEL_DB);
    glide_set(&plate->late, level * sqrt(late));
    glide_set(&plate->early, level * sqrt((1.0 - late) / PLATE_TAPS));
}

/* Adds to a side what its taps hear. */
static void hear_taps(const Plate *plate, unsigned side, float *early, size_t n) {
    for (size_t k = 0; k < PLATE_TAPS; k++) {
        unsigned from = (side + (unsigned)k) % plate->channels;
        float heard[DELAY_MAX_BLOCK];
        delay_read(&plate->diffused[from], plate->tap[side][k], heard, n);
        for (size_t t = 0; t < n; t++)
            early[t] += TAP_SIGN[side][k] * heard[t];
    }
}

static void stretch(Plate *plate, const float *const *in, float *const *out, size_t n) {
    float diffused[TAIL_CHANNELS][DELAY_MAX_BLOCK] = {{0.0f}},
          early[TAIL_CHANNELS][DELAY_MAX_BLOCK];
    float early_gain[DELAY_MAX_BLOCK], late_gain[DELAY_MAX_BLOCK];
    const unsigned channels = plate->channels > 1 ? 2 : 1;
    for (unsigned c = 0; c < channels; c++) {
        diffuser_process(&plate->diffuser[c], in[c], diffused[c], n);
        delay_write(&plate->diffused[c], diffused[c], n);
    }
    for (unsigned c = 0; c < channels; c++) {
        memset(early[c], 0, n * sizeof(float));
        hear_taps(plate, c, early[c], n);
    }
    const float *const from[TAIL_CHANNELS] = {diffused[0], diffused[1]};
    tail_network_process(&plate->tail, from, out, n);
    glide_process(&plate->early, early_gain, n);
    glide_process(&plate->late, late_gain, n);
    for (unsigned c = 0; c < channels; c++)
        for (size_t t = 0; t < n; t++)
            out[c][t] = late_gain[t] * out[c][t] + early_gain[t] * early[c][t];
}

void plate_process(Plate *plate, const float *const *in, float *const *out, size_t n) {
    for (size_t i = 0; i < n;) {
        size_t m = n - i < DELAY_MAX_BLOCK ? n - i : DELAY_MAX_BLOCK;
        const float *const from[TAIL_CHANNELS] = {in[0] + i, in[plate->channels - 1] + i};
        float *const to[TAIL_CHANNELS] = {out[0] + i, out[plate->channels - 1] + i};
        stretch(plate, from, to, m);
        i += m;
    }
}
