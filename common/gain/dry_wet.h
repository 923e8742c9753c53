/* SPDX-License-Identifier: ISC */
/* dry_wet.h: so much of one sound and the rest of another.
 *
 *     out = dry + share (wet - dry),   0 <= share <= 1
 * and at 0 dry itself, to the bit, a zero below zero too. Latency 0. Cost 3 operations a frame. */
#ifndef SISKIN_GAIN_DRY_WET_H
#define SISKIN_GAIN_DRY_WET_H

#include <stddef.h>

/* n frames; out may be either. */
static inline void dry_wet(const float *dry, const float *wet, const float *share, float *out,
                           size_t n) {
    for (size_t i = 0; i < n; i++) {
        float mixed = dry[i] + share[i] * (wet[i] - dry[i]);
        out[i] = share[i] > 0.0f ? mixed : dry[i];
    }
}

#endif
