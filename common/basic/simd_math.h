/* SPDX-License-Identifier: ISC */
/* simd_math.h: the logarithm and exponential of decibel.h, and choices, four at a time.
 *
 * Each lane is what decibel.h gives, bit for bit: the same operations in the same order. No
 * branches, which compilers otherwise make of a choice in a loop, so that the time does not depend
 * on the values. */
#ifndef SISKIN_BASIC_SIMD_MATH_H
#define SISKIN_BASIC_SIMD_MATH_H

#include "basic/simd.h"

#include <string.h>

static inline void simd_store(float *to, Simd x) {
    memcpy(to, &x, sizeof x);
}

static inline Simd simd_at_least(Simd x, Simd least) {
    return simd_choose(x > least, x, least);
}

static inline Simd simd_at_most(Simd x, Simd most) {
    return simd_choose(x < most, x, most);
}

/* log2(x) for normal x > 0: decibel_fast_log2. */
static inline Simd simd_fast_log2(Simd x) {
    SimdMask bits = (SimdMask)x;
    SimdMask exponent = (bits - 0x3f3504f3) >> 23;
    Simd m = (Simd)(bits - exponent * (1 << 23));
    Simd z = (m - 1.0f) / (m + 1.0f);
    Simd z2 = z * z;
    Simd p = 2.88539008f + z2 * (0.96179669f + z2 * (0.57707802f + z2 * 0.41219859f));
    return __builtin_convertvector(exponent, Simd) + z * p;
}

/* 2^x, x clamped to -126..126: decibel_fast_exp2. */
static inline Simd simd_fast_exp2(Simd x) {
    x = simd_choose(x < -126.0f, simd_all(-126.0f), x);
    x = simd_choose(x > 126.0f, simd_all(126.0f), x);
    Simd shifted = x + 12582912.0f;
    Simd f = x - (shifted - 12582912.0f);
    Simd p =
        1.0f + f * (0.693147181f +
                    f * (0.240226507f +
                         f * (0.0555041087f +
                              f * (0.00961812911f + f * (0.00133335581f + f * 0.000154035304f)))));
    /* The low bits of `shifted` hold the whole number; what is above them is shifted out. */
    typedef uint32_t Unsigned __attribute__((vector_size(16)));
    return (Simd)((Unsigned)p + ((Unsigned)shifted << 23));
}

#endif
