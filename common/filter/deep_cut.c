/* SPDX-License-Identifier: ISC */
#include "filter/deep_cut.h"

#include "basic/decibel.h"
#include "basic/maths.h"
#include "basic/one_pole.h"

#include <math.h>
#include <string.h>

static const double NEAR = 1e-5; /* of A to 1 */

void deep_cut_prepare(DeepCut *cut, double rate_hz, unsigned channels) {
    *cut = (DeepCut){.rate_hz = rate_hz, .channels = channels};
    cut->fall = one_pole_coefficient(DEEP_CUT_FALL_MS, rate_hz);
    cut->rise = one_pole_coefficient(DEEP_CUT_RISE_MS, rate_hz);
    for (int s = 0; s < DEEP_CUT_SECTIONS; s++)
        cut->k[s] = (float)(2.0 * cos(PI * (2.0 * s + 1.0) / 8.0));
    deep_cut_reset(cut);
}

void deep_cut_reset(DeepCut *cut) {
    memset(&cut->state, 0, sizeof cut->state);
    cut->state.a = 1.0;
}

static void start(DeepCut *cut, double corner_hz) {
    double g = tan(PI * corner_hz / cut->rate_hz);
    deep_cut_reset(cut);
    cut->state.at_work = true;
    for (int s = 0; s < DEEP_CUT_SECTIONS; s++) {
        double a1 = 1.0 / (1.0 + g * (g + (double)cut->k[s]));
        cut->state.a1[s] = (float)a1;
        cut->state.a2[s] = (float)(g * a1);
        cut->state.a3[s] = (float)(g * g * a1);
    }
}

static inline void step(DeepCut *cut, double goal, float *const *audio, size_t i) {
    double a = cut->state.a;
    a = one_pole_step_double(a, goal, goal < a ? cut->fall : cut->rise);
    const float m1 = (float)(a - 1.0), m2 = (float)(a * a - 1.0);
    const unsigned last = cut->channels - 1;
    Simd x = {audio[0][i], audio[last][i]};
    for (int s = 0; s < DEEP_CUT_SECTIONS; s++) {
        Simd ic1 = cut->state.ic1[s], ic2 = cut->state.ic2[s];
        Simd v3 = x - ic2;
        Simd v1 = cut->state.a1[s] * ic1 + cut->state.a2[s] * v3;
        Simd v2 = ic2 + cut->state.a2[s] * ic1 + cut->state.a3[s] * v3;
        cut->state.ic1[s] = 2.0f * v1 - ic1;
        cut->state.ic2[s] = 2.0f * v2 - ic2;
        x += m1 * cut->k[s] * v1 + m2 * v2;
    }
    audio[0][i] = x[0];
    audio[last][i] = x[last];
    cut->state.a = a;
}

void deep_cut_process(DeepCut *cut, const DeepCutParams *params, float *const *audio, size_t n) {
    const bool wanted = params->reduction_db > 0.0f;
    if (!cut->state.at_work && !wanted && !params->ready)
        return;
    if (!cut->state.at_work)
        start(cut, params->corner_hz);
    /* 10^(-r / 80) = 2^(-r log2(10) / 80) */
    const double goal =
        wanted ? (double)decibel_fast_exp2(-0.0415241012f * params->reduction_db) : 1.0;
    for (size_t i = 0; i < n && cut->state.at_work; i++) {
        step(cut, goal, audio, i);
        if (!wanted && cut->state.a > 1.0 - NEAR) {
            cut->state.a = 1.0;
            cut->state.at_work = params->ready;
        }
    }
}
