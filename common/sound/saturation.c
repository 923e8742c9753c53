/* SPDX-License-Identifier: ISC */
#include "sound/saturation.h"

#include <math.h>

enum { BLOCK = OVERSAMPLE_BLOCK };

void saturation_prepare(Saturation *saturation, unsigned phases) {
    saturation->phases = phases;
    saturation_reset(saturation);
}

void saturation_reset(Saturation *saturation) {
    saturation->state.last = saturation->state.rest = 0.0f;
    saturation->state.root = saturation->state.rooted = 1.0f;
}

static inline float root_of(float bend, float x) {
    return sqrtf(1.0f + bend * x * x);
}

/* One phase, from that before it to `x`, in place; `last` and `root` become those of x. rest: what
 * silence gives. */
static void phase(float *x, float *last, float *root, const float *lift, const float *bend,
                  const float *shift, const float *rest, size_t n) {
    for (size_t i = 0; i < n; i++) {
        float now = x[i] + shift[i];
        float now_root = root_of(bend[i], now);
        x[i] = lift[i] * ((now + last[i]) / (now_root + root[i]) - rest[i]);
        last[i] = now;
        root[i] = now_root;
    }
}

void saturation_process(Saturation *saturation, OversampleTop top, const float *lift,
                        const float *bend, const float *shift, size_t n) {
    if (n == 0)
        return;
    float last[BLOCK], root[BLOCK], first_rest[BLOCK], rest[BLOCK], rooted[BLOCK];
    /* What comes before the first phase is the last phase a frame ago, which this overwrites. */
    const float *end = top[saturation->phases - 1];
    last[0] = saturation->state.last;
    root[0] = saturation->state.root;
    for (size_t i = 1; i < n; i++) {
        last[i] = end[i - 1] + shift[i - 1];
        root[i] = root_of(bend[i - 1], last[i]);
    }
    for (size_t i = 0; i < n; i++) {
        rooted[i] = root_of(bend[i], shift[i]);
        rest[i] = (shift[i] + shift[i]) / (rooted[i] + rooted[i]);
    }
    first_rest[0] = (shift[0] + saturation->state.rest) / (rooted[0] + saturation->state.rooted);
    for (size_t i = 1; i < n; i++)
        first_rest[i] = (shift[i] + shift[i - 1]) / (rooted[i] + rooted[i - 1]);
    phase(top[0], last, root, lift, bend, shift, first_rest, n);
    for (unsigned p = 1; p < saturation->phases; p++)
        phase(top[p], last, root, lift, bend, shift, rest, n);
    saturation->state.last = last[n - 1];
    saturation->state.root = root[n - 1];
    saturation->state.rest = shift[n - 1];
    saturation->state.rooted = rooted[n - 1];
}
