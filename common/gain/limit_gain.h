/* SPDX-License-Identifier: ISC */
/* limit_gain.h: the gain that keeps peaks under a ceiling, known some frames before they come.
 *
 *     r[t] = max(0, 1 - ceiling / peak[t])               by how much the gain has to fall
 *     m[t] = the largest r of the last LIMIT_HOLD_MS, or of the look-ahead if that is longer
 *     e[t] = max(m[t], a e[t - 1])                       release
 *     gain[t] = 1 - mean of e over the look-ahead, by two boxes of half of it in a row
 * All e within the look-ahead of a peak are at least its r, so is their mean, and gain peak never
 * is over the ceiling: order statistics first, then any smoothing (Hamalainen, "Smoothing of the
 * control signal without clipped output in digital peak limiters", DAFx-02). The hold makes a
 * steady tone's gain steady: each window holds a peak of it if it is longer than half a period, 10
 * ms for 50 Hz. Two boxes let the gain begin and end its way with slope 0.
 *
 * Means are sums of whole numbers, 2^-30 each, so that nothing is left over after a peak and the
 * gain comes back to exactly 1. r is rounded up, and the ceiling is taken 2^-20 (8e-6 dB) lower for
 * the roundings after it. e below 1e-6 is 0. The hold is by peak_hold.h.
 *
 * gain[t] is for the audio that came limit_gain_delay() frames before peak[t], and keeps peaks
 * that are up to LIMIT_EDGE frames earlier or later, which a reading between frames is.
 * Cost some 20 operations and a division a frame. */
#ifndef SISKIN_GAIN_LIMIT_GAIN_H
#define SISKIN_GAIN_LIMIT_GAIN_H

#include "basic/arena.h"
#include "basic/peak_hold.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define LIMIT_HOLD_MS 10.0

enum { LIMIT_EDGE = 3 };

typedef struct {
    float ceiling;    /* amplitude, > 0 */
    float release_ms; /* > 0 */
} LimitGainParams;

typedef struct {
    double rate_hz;
    size_t delay;
    size_t box[2]; /* frames, together no more than delay - 2 LIMIT_EDGE + 1 */
    double scale;  /* of a sum */
    float ceiling, release;
    PeakHold hold;
    int64_t *ring[2];
    struct {
        float fall; /* e */
        size_t at[2];
        int64_t sum[2];
    } state;
} LimitGain;

/* look_ms: the look-ahead. false: the arena is full. */
bool limit_gain_prepare(LimitGain *limit, double rate_hz, double look_ms, Arena *arena);
void limit_gain_reset(LimitGain *limit);
void limit_gain_set(LimitGain *limit, const LimitGainParams *params);
size_t limit_gain_delay(const LimitGain *limit);
/* n frames; in may equal out. Returns the lowest gain. */
float limit_gain_process(LimitGain *limit, const float *peak, float *gain, size_t n);

#endif
