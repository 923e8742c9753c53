/* SPDX-License-Identifier: ISC */
#include "detect/key_detector.h"

#include "basic/decibel.h"
#include "basic/simd.h"

#include <math.h>

/* Longest block of the hold; a power of two below it is used, so that block ends stay cheap. */
static const double BLOCK_MS = 0.5;

static size_t frames_of(double ms, double rate_hz) {
    return (size_t)lrint(ms * 1e-3 * rate_hz);
}

bool key_detector_prepare(KeyDetector *detector, double rate_hz, unsigned channels,
                          double max_hold_ms, Arena *arena) {
    if (channels < 1 || channels > KEY_DETECTOR_CHANNELS)
        return false;
    *detector = (KeyDetector){.rate_hz = rate_hz, .channels = channels};
    detector->crest = frames_of(KEY_DETECTOR_CREST_MS, rate_hz);
    size_t longest = frames_of(max_hold_ms, rate_hz);
    if (longest < detector->crest)
        longest = detector->crest;
    size_t block = 1;
    while ((double)(2 * block) <= BLOCK_MS * 1e-3 * rate_hz)
        block *= 2;
    if (!peak_hold_prepare(&detector->hold, longest, block, 0.0f, arena))
        return false;
    key_detector_set(detector, &(KeyDetectorParams){.low_cut_hz = 100.0f});
    return true;
}

void key_detector_reset(KeyDetector *detector) {
    for (unsigned c = 0; c < detector->channels; c++)
        svf_reset(&detector->low_cut[c]);
    peak_hold_reset(&detector->hold);
}

void key_detector_set(KeyDetector *detector, const KeyDetectorParams *params) {
    if (params->low_cut_hz != detector->params.low_cut_hz)
        for (unsigned c = 0; c < detector->channels; c++)
            svf_set(&detector->low_cut[c], detector->rate_hz,
                    &(SvfParams){.kind = SVF_HIGH_PASS,
                                 .frequency_hz = params->low_cut_hz,
                                 .q = 0.70710678f});
    detector->params = *params;
    size_t hold = frames_of((double)params->hold_ms, detector->rate_hz);
    peak_hold_set(&detector->hold, hold > detector->crest ? hold : detector->crest);
}

static void peaks_of_one(KeyDetector *detector, const float *key, float *peak, size_t n) {
    Svf cut = detector->low_cut[0];
    for (size_t i = 0; i < n; i++)
        peak[i] = fabsf(svf_step(&cut, key[i]));
    detector->low_cut[0].state = cut.state;
}

/* A channel in each lane: svf_step, whose coefficients both share. */
static void peaks_of_two(KeyDetector *detector, const float *const *key, float *peak, size_t n) {
    Svf *left = &detector->low_cut[0], *right = &detector->low_cut[1];
    const Simd a1 = simd_all(left->a1), a2 = simd_all(left->a2), a3 = simd_all(left->a3),
               m0 = simd_all(left->m0), m1 = simd_all(left->m1), m2 = simd_all(left->m2);
    Simd ic1 = {left->state.ic1, right->state.ic1}, ic2 = {left->state.ic2, right->state.ic2};
    for (size_t i = 0; i < n; i++) {
        Simd x = {key[0][i], key[1][i]};
        Simd v3 = x - ic2;
        Simd v1 = a1 * ic1 + a2 * v3;
        Simd v2 = ic2 + a2 * ic1 + a3 * v3;
        ic1 = 2.0f * v1 - ic1;
        ic2 = 2.0f * v2 - ic2;
        Simd cut = m0 * x + m1 * v1 + m2 * v2;
        float l = fabsf(cut[0]), r = fabsf(cut[1]);
        peak[i] = l > r ? l : r;
    }
    left->state.ic1 = ic1[0], left->state.ic2 = ic2[0];
    right->state.ic1 = ic1[1], right->state.ic2 = ic2[1];
}

void key_detector_process(KeyDetector *detector, const float *const *key, float *level_db,
                          size_t n) {
    if (detector->channels == 1)
        peaks_of_one(detector, key[0], level_db, n);
    else
        peaks_of_two(detector, key, level_db, n);
    peak_hold_process(&detector->hold, level_db, level_db, n);
    for (size_t i = 0; i < n; i++)
        level_db[i] = decibel_from_amplitude(level_db[i]);
}

float key_detector_level_db(const KeyDetector *detector) {
    return decibel_from_amplitude(peak_hold_last(&detector->hold, detector->crest));
}
