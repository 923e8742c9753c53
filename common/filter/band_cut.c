/* SPDX-License-Identifier: ISC */
#include "filter/band_cut.h"

#include "basic/decibel.h"

#include <math.h>
#include <stdbool.h>
#include <string.h>

enum { CHANNELS = BAND_CUT_CHANNELS };

void band_cut_reset(BandCut *c) {
    memset(&c->state, 0, sizeof c->state);
}

/* (s^2+1)^2 + sqrt2 q s (s^2+1) + q^2 s^2 = (s^2 + r k s + r^2)(s^2 + k/r s + 1/r^2): comparing
 * coefficients, with u = r + 1/r, u k = sqrt2 q and u^4 - (4 + q^2) u^2 + 2 q^2 = 0.
 * With x into the first section (at g r) and its normalised band-pass v1 = r s x / Da into the
 * second (at g / r), whose outputs are w1 = (s/r) v1 / Db and w2 = v1 / (r^2 Db):
 *   x / D   = q^2 s^2 x / (Da Db)     = q^2 w1
 *   x p / D = q s (s^2+1) x / (Da Db) = (q / r) (v1 - k w1 + (r^2 - 1) w2). */
static void place(BandCut *c, float low, float high) {
    float g = sqrtf(low * high);
    float q = (high - low) / g;
    float q2 = q * q;
    float u2 = 0.5f * (4.0f + q2 + sqrtf(16.0f + q2 * q2));
    float u = sqrtf(u2);
    float r = 0.5f * (u + sqrtf(u2 - 4.0f));
    float k = 1.41421356f * q / u;
    const Simd gs = {g * r, g * r, g / r, g / r};
    c->state.a1 = simd_all(1.0f) / (simd_all(1.0f) + gs * (gs + simd_all(k)));
    c->state.a2 = gs * c->state.a1;
    c->state.a3 = gs * c->state.a2;
    c->state.direct = 1.41421356f * q / r;
    c->state.band = -k * c->state.direct;
    c->state.low = (r * r - 1.0f) * c->state.direct;
    c->state.flat = q2;
}

void band_cut_aim(BandCut *c, float low, float high, float reduction_db, size_t frames) {
    place(c, low, high);
    c->state.from = c->state.to;
    c->state.to = reduction_db > 0.0f ? decibel_fast_gain(-0.5f * reduction_db) - 1.0f : 0.0f;
    c->state.step = (c->state.to - c->state.from) / (float)frames;
    c->state.at = 0;
}

void band_cut_rest(BandCut *c) {
    c->state.from = c->state.to = c->state.step = 0.0f;
    c->state.at = 0;
}

typedef struct {
    Simd a1, a2, a3, ic1, ic2;
    Simd band, low; /* outputs */
} Sections;

/* svf_step(), with v2 - ic2 worked out once. */
static inline void step(Sections *s, Simd x) {
    Simd v3 = x - s->ic2;
    Simd rise = s->a2 * s->ic1 + s->a3 * v3;
    s->band = s->a1 * s->ic1 + s->a2 * v3;
    s->low = s->ic2 + rise;
    s->ic1 = s->band + s->band - s->ic1;
    s->ic2 = s->low + rise;
}

/* The first two lanes of one, the last two of the other. */
static inline Simd halves(Simd first, Simd second) {
    return (Simd){first[0], first[1], second[2], second[3]};
}

/* Both sections of both channels step together, in four lanes. The second section takes what the
 * first gave one frame before, so the first runs a frame ahead: its first frame is stepped alone,
 * and its state is kept from before the last step, which is one too many.
 * `cuts`, a constant wherever it is called: else the states alone are kept up. */
static inline void cut(BandCut *c, const float *const in[BAND_CUT_CHANNELS],
                       float *const out[BAND_CUT_CHANNELS], size_t n, const bool cuts) {
    const float *in0 = in[0], *in1 = in[1];
    float *out0 = out[0], *out1 = out[1];
    const float from = c->state.from, slope = c->state.step, flat = c->state.flat;
    const float direct = c->state.direct, band = c->state.band, low = c->state.low;
    const size_t at = c->state.at;
    Sections s = {.a1 = c->state.a1,
                  .a2 = c->state.a2,
                  .a3 = c->state.a3,
                  .ic1 = c->state.ic1,
                  .ic2 = c->state.ic2};

    step(&s, (Simd){in0[0], in1[0], 0.0f, 0.0f});
    s.ic1 = halves(s.ic1, c->state.ic1);
    s.ic2 = halves(s.ic2, c->state.ic2);
    Simd first1 = s.ic1, first2 = s.ic2;
    for (size_t i = 0; i < n; i++) {
        Simd v1 = s.band;
        first1 = s.ic1;
        first2 = s.ic2;
        size_t next = i + 1 < n ? i + 1 : i;
        step(&s, (Simd){in0[next], in1[next], v1[0], v1[1]});
        if (!cuts)
            continue;
        /* From the frame's number, so that it is the same however the line is cut into calls. */
        float tilt = from + (float)(at + i + 1) * slope;
        float depth = tilt * (tilt + 2.0f) * flat;
        Simd ahead = simd_all(tilt * direct) * v1;
        Simd behind = simd_all(tilt * band + depth) * s.band + simd_all(tilt * low) * s.low;
        out0[i] = in0[i] + (ahead[0] + behind[2]);
        out1[i] = in1[i] + (ahead[1] + behind[3]);
    }
    c->state.ic1 = halves(first1, s.ic1);
    c->state.ic2 = halves(first2, s.ic2);
}

void band_cut_process(BandCut *c, const float *const in[BAND_CUT_CHANNELS],
                      float *const out[BAND_CUT_CHANNELS], size_t n) {
    if (n == 0)
        return;
    if (c->state.from == 0.0f && c->state.step == 0.0f) {
        cut(c, in, out, n, false);
        for (size_t l = 0; l < CHANNELS; l++)
            memcpy(out[l], in[l], n * sizeof(float));
    } else {
        cut(c, in, out, n, true);
    }
    c->state.at += n;
}
