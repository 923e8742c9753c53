/* SPDX-License-Identifier: ISC */
#include "filter/svf.h"

#include "basic/maths.h"

#include <math.h>

static double clamp(double x, double low, double high) {
    return x < low ? low : x > high ? high : x;
}

void svf_set_raw(Svf *svf, float g, float k, float m0, float m1, float m2) {
    svf->a1 = 1.0f / (1.0f + g * (g + k));
    svf->a2 = g * svf->a1;
    svf->a3 = g * svf->a2;
    svf->m0 = m0;
    svf->m1 = m1;
    svf->m2 = m2;
}

void svf_set(Svf *svf, double rate_hz, const SvfParams *params) {
    double g = tan(PI * clamp(params->frequency_hz / rate_hz, 0.0001, 0.49));
    double k = 1.0 / params->q;
    double amp = pow(10.0, params->gain_db / 40.0);
    double m0 = 0.0, m1 = 0.0, m2 = 0.0;
    switch (params->kind) {
    case SVF_LOW_PASS:
        m2 = 1.0;
        break;
    case SVF_BAND_PASS:
        m1 = k;
        break;
    case SVF_HIGH_PASS:
        m0 = 1.0, m1 = -k, m2 = -1.0;
        break;
    case SVF_NOTCH:
        m0 = 1.0, m1 = -k;
        break;
    case SVF_ALL_PASS:
        m0 = 1.0, m1 = -2.0 * k;
        break;
    case SVF_BELL:
        k /= amp;
        m0 = 1.0, m1 = k * (amp * amp - 1.0);
        break;
    case SVF_LOW_SHELF:
        g /= sqrt(amp);
        m0 = 1.0, m1 = k * (amp - 1.0), m2 = amp * amp - 1.0;
        break;
    case SVF_HIGH_SHELF:
        g *= sqrt(amp);
        m0 = amp * amp, m1 = k * (1.0 - amp) * amp, m2 = 1.0 - amp * amp;
        break;
    }
    double a1 = 1.0 / (1.0 + g * (g + k));
    svf->a1 = (float)a1;
    svf->a2 = (float)(g * a1);
    svf->a3 = (float)(g * g * a1);
    svf->m0 = (float)m0;
    svf->m1 = (float)m1;
    svf->m2 = (float)m2;
}

void svf_reset(Svf *svf) {
    svf->state.ic1 = 0.0f;
    svf->state.ic2 = 0.0f;
}

void svf_process(Svf *svf, const float *in, float *out, size_t n) {
    Svf s = *svf; /* a local copy lets the compiler keep everything in registers */
    for (size_t i = 0; i < n; i++)
        out[i] = svf_step(&s, in[i]);
    svf->state = s.state;
}
