/* SPDX-License-Identifier: ISC */
/* maths.h: what C leaves out. The comparisons do without fmax's care for NaN, so that compilers
 * vectorise loops over them. */
#ifndef SISKIN_BASIC_MATHS_H
#define SISKIN_BASIC_MATHS_H

#include <stddef.h>

static const double PI = 3.14159265358979323846;

static inline float maths_larger(float a, float b) {
    return a > b ? a : b;
}

static inline float maths_smaller(float a, float b) {
    return a < b ? a : b;
}

/* 0 at `none` and before it, 1 at `all` and beyond; none > all for what must be small. */
static inline float maths_ramp(float x, float none, float all) {
    float share = (x - none) / (all - none);
    return share < 0.0f ? 0.0f : share > 1.0f ? 1.0f : share;
}

/* The mean of one or two channels: frames at..at + n - 1 of them into out[0..n - 1]. */
static inline void maths_middle(const float *const *in, unsigned channels, size_t at, size_t n,
                                float *out) {
    const float *left = in[0] + at, *right = in[channels - 1] + at;
    for (size_t i = 0; i < n; i++)
        out[i] = channels == 2 ? 0.5f * (left[i] + right[i]) : left[i];
}

/* Sum of a[i] b[i]; n a multiple of 8. Eight sums side by side: C does not let the compiler reorder
 * one. */
static inline float maths_dot(const float *a, const float *b, size_t n) {
    float sum[8] = {0.0f};
    for (size_t i = 0; i < n; i += 8)
        for (size_t k = 0; k < 8; k++)
            sum[k] += a[i + k] * b[i + k];
    return ((sum[0] + sum[4]) + (sum[1] + sum[5])) + ((sum[2] + sum[6]) + (sum[3] + sum[7]));
}

#endif
