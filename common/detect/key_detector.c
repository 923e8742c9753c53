/* SPDX-License-Identifier: ISC */
#include "detect/key_detector.h"

#include "basic/decibel.h"

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

/* Both channels in one loop: their filters wait for each other's results anyway. */
static void peaks_of_two(KeyDetector *detector, const float *const *key, float *peak, size_t n) {
    Svf left = detector->low_cut[0], right = detector->low_cut[1];
    for (size_t i = 0; i < n; i++) {
        float l = fabsf(svf_step(&left, key[0][i]));
        float r = fabsf(svf_step(&right, key[1][i]));
        peak[i] = l > r ? l : r;
    }
    detector->low_cut[0].state = left.state;
    detector->low_cut[1].state = right.state;
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
