/* SPDX-License-Identifier: ISC */
/* svf.h: second-order filter, the trapezoidal (topology-preserving) state-variable form.
 *
 * Equations: Zavalishin, The Art of VA Filter Design; Simper's papers on the linear trapezoidal
 * SVF:
 *
 *     g = tan(pi f / fs), k = 1/Q, a1 = 1 / (1 + g (g + k)), a2 = g a1, a3 = g a2
 *     v3 = x - ic2;  v1 = a1 ic1 + a2 v3;  v2 = ic2 + a2 ic1 + a3 v3
 *     ic1 = 2 v1 - ic1;  ic2 = 2 v2 - ic2;  y = m0 x + m1 v1 + m2 v2
 *
 * Same transfer function as the bilinear biquad; coefficients may change at any frame without a
 * jump in the states. Valid for 0 < f < fs/2 (svf_set clamps to 0.0001..0.49 fs), Q > 0.
 * Latency 0. Cost about 10 multiplications a frame. */
#ifndef SISKIN_FILTER_SVF_H
#define SISKIN_FILTER_SVF_H

#include <stddef.h>

typedef enum {
    SVF_LOW_PASS,
    SVF_BAND_PASS, /* gain 1 at the centre */
    SVF_HIGH_PASS,
    SVF_NOTCH,
    SVF_ALL_PASS,
    SVF_BELL, /* gain_db at the centre, 0 dB far away; +N and -N dB cancel exactly */
    SVF_LOW_SHELF,
    SVF_HIGH_SHELF,
} SvfKind;

typedef struct {
    SvfKind kind;
    float frequency_hz;
    float q;
    float gain_db; /* bell and shelves only */
} SvfParams;

typedef struct {
    float a1, a2, a3, m0, m1, m2;
    struct {
        float ic1, ic2;
    } state;
} Svf;

/* Designs the filter; keeps its history. Computes in double. Call with a zeroed Svf to begin. */
void svf_set(Svf *svf, double rate_hz, const SvfParams *params);

/* As svf_set for callers that move the filter every few frames: no transcendental functions.
 * g = tan(pi f / fs), k = 1/Q, and the output mix of the kinds without gain. */
void svf_set_raw(Svf *svf, float g, float k, float m0, float m1, float m2);

void svf_reset(Svf *svf);

/* One frame. */
static inline float svf_step(Svf *svf, float x) {
    float v3 = x - svf->state.ic2;
    float v1 = svf->a1 * svf->state.ic1 + svf->a2 * v3;
    float v2 = svf->state.ic2 + svf->a2 * svf->state.ic1 + svf->a3 * v3;
    svf->state.ic1 = 2.0f * v1 - svf->state.ic1;
    svf->state.ic2 = 2.0f * v2 - svf->state.ic2;
    return svf->m0 * x + svf->m1 * v1 + svf->m2 * v2;
}

/* n frames; in may equal out. */
void svf_process(Svf *svf, const float *in, float *out, size_t n);

#endif
