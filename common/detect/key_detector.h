/* SPDX-License-Identifier: ISC */
/* key_detector.h: the level, in dB, of the signal that steers an effect.
 *
 *     level = 20 log10 max over channels and the last `hold` ms of |high-passed key|
 *
 * It is a peak detector, as in Giannoulis, Massberg, Reiss, JAES 60(6), 2012, section 2.3, and for
 * their reason: what smooths comes after the gain computer, so that a word's first frames count
 * at once. A rectified wave falls to zero twice a period, which would make the reduction flutter at
 * the pitch; so a peak counts for at least KEY_DETECTOR_CREST_MS, and no averaging, with its lag
 * and its dependence on the wave's shape, is needed. Hence:
 * - A sine of amplitude A reads exactly 20 log10 A (0 dBFS is a full-scale sine's peak), from
 *   1 / (2 KEY_DETECTOR_CREST_MS) = 40 Hz up to where samples miss its peak: at most
 *   -20 log10 cos(pi f/fs) low, 0.1 dB at 0.048 fs (2.3 kHz at 48 kHz).
 * - A voice, whose waves have one high peak a period, reads the peak of the strongest recent period
 *   without ripple down to 1 / KEY_DETECTOR_CREST_MS = 80 Hz, a bass voice's E2.
 * - Two channels are detected together and the larger counts: a voice panned hard to one side reads
 *   the same as in the centre.
 * High-pass: second-order Butterworth (svf.h), against rumble and handling noise in the key.
 * Hold is at least its setting, at most 2 blocks (1 ms) more; see peak_hold.h.
 * Latency 0. Cost 2 svf steps and about 20 operations a frame. */
#ifndef SISKIN_DETECT_KEY_DETECTOR_H
#define SISKIN_DETECT_KEY_DETECTOR_H

#include "basic/arena.h"
#include "basic/peak_hold.h"
#include "filter/svf.h"

#include <stdbool.h>
#include <stddef.h>

#define KEY_DETECTOR_CREST_MS 12.5

enum { KEY_DETECTOR_CHANNELS = 2 };

typedef struct {
    float low_cut_hz;
    float hold_ms; /* acts as KEY_DETECTOR_CREST_MS when less */
} KeyDetectorParams;

typedef struct {
    double rate_hz;
    unsigned channels;
    size_t crest; /* frames */
    KeyDetectorParams params;
    Svf low_cut[KEY_DETECTOR_CHANNELS];
    PeakHold hold;
} KeyDetector;

/* For 1..2 channels and holds of up to max_hold_ms. false: the arena is full. */
bool key_detector_prepare(KeyDetector *detector, double rate_hz, unsigned channels,
                          double max_hold_ms, Arena *arena);
void key_detector_reset(KeyDetector *detector);
void key_detector_set(KeyDetector *detector, const KeyDetectorParams *params);
/* n frames of every channel -> level in dB, silence -200. level_db is none of the keys. */
void key_detector_process(KeyDetector *detector, const float *const *key, float *level_db,
                          size_t n);
/* The level now without the hold, in dB: for a meter. */
float key_detector_level_db(const KeyDetector *detector);

#endif
