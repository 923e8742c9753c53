/* SPDX-License-Identifier: ISC */
#include "filter/half_band.h"

#include "basic/maths.h"

#include <math.h>
#include <string.h>

static const double TRANSITION = 0.09; /* of the rate */

/* The nome of modulus k, by the usual series in e = (1 - sqrt(k')) / 2 (1 + sqrt(k')). */
static double nome(double k) {
    double root = pow(1.0 - k * k, 0.25);
    double e = 0.5 * (1.0 - root) / (1.0 + root);
    double e4 = e * e * e * e;
    return e * (1.0 + e4 * (2.0 + e4 * (15.0 + e4 * 150.0)));
}

static double coefficient(double k, double q, int i) {
    const double angle = PI * i / (2 * HALF_BAND_SECTIONS + 1);
    double above = 0.0, below = 0.5;
    for (int j = 0; j < 8; j++) {
        double sign = j % 2 ? -1.0 : 1.0;
        above += sign * pow(q, j * (j + 1)) * sin((2 * j + 1) * angle);
        if (j > 0)
            below += sign * pow(q, j * j) * cos(2 * j * angle);
    }
    double w = pow(q, 0.25) * above / below;
    double x = sqrt((1.0 - w * w * k) * (1.0 - w * w / k)) / (1.0 + w * w);
    return (1.0 - x) / (1.0 + x);
}

void half_band_prepare(HalfBand *half) {
    double t = tan((1.0 - 2.0 * TRANSITION) * PI / 4.0);
    double k = t * t, q = nome(k);
    for (int i = 0; i < HALF_BAND_SECTIONS; i++)
        half->c[i] = (float)coefficient(k, q, i + 1);
    half_band_reset(half);
}

void half_band_reset(HalfBand *half) {
    memset(&half->state, 0, sizeof half->state);
}

/* y = c x + x1 - c y1, in this order so that only one product waits for the y before. */
static inline float section(float c, float x, float *x1, float *y1) {
    float y = (c * x + *x1) - c * *y1;
    *x1 = x;
    *y1 = y;
    return y;
}

void half_band_split(HalfBand *half, const float *in, float *low, float *high, size_t n) {
    const float c0 = half->c[0], c1 = half->c[1], c2 = half->c[2];
    float x0 = half->state.x[0], x1 = half->state.x[1], x2 = half->state.x[2];
    float y0 = half->state.y[0], y1 = half->state.y[1], y2 = half->state.y[2];
    for (size_t i = 0; i < n; i++) {
        float even = in[2 * i], odd = in[2 * i + 1];
        float a = section(c2, section(c0, odd, &x0, &y0), &x2, &y2);
        float b = section(c1, even, &x1, &y1);
        low[i] = 0.5f * (a + b);
        high[i] = 0.5f * (a - b);
    }
    half->state.x[0] = x0, half->state.x[1] = x1, half->state.x[2] = x2;
    half->state.y[0] = y0, half->state.y[1] = y1, half->state.y[2] = y2;
}
