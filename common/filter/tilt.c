/* SPDX-License-Identifier: ISC */
#include "filter/tilt.h"

#include <math.h>

static const double PI = 3.14159265358979323846;

void tilt_prepare(Tilt *tilt, double rate_hz) {
    tilt->warp = (float)tan(PI * TILT_MIDDLE_HZ / rate_hz);
    tilt_reset(tilt);
}

void tilt_reset(Tilt *tilt) {
    tilt->state.integral = 0.0f;
}

void tilt_process(Tilt *tilt, const float *gain, const float *in, float *out, size_t n) {
    float integral = tilt->state.integral;
    for (size_t i = 0; i < n; i++) {
        float g = gain[i], warp = g * tilt->warp;
        float step = warp / (1.0f + warp) * (in[i] - integral);
        float low = integral + step;
        integral = low + step;
        out[i] = g * in[i] + (1.0f / g - g) * low; /* x alone at g = 1 */
    }
    tilt->state.integral = integral;
}
