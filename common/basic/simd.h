/* SPDX-License-Identifier: ISC */
/* simd.h: four floats that are computed together, for filters whose channels wait for each other.
 *
 * A recursive filter cannot be vectorised along time, and compilers do not find the channels by
 * themselves. With a channel in each lane a stereo filter costs what a mono one does. Each lane is
 * computed as a lone float would be: the result is the same, bit for bit.
 * GNU C vectors (gcc and clang, on every processor: split up where there are no such registers). */
#ifndef SISKIN_BASIC_SIMD_H
#define SISKIN_BASIC_SIMD_H

#include <stdint.h>
#include <string.h>
#ifdef __SSE__
#include <xmmintrin.h>
#endif

enum { SIMD_WIDTH = 4 };

typedef float Simd __attribute__((vector_size(16)));
/* Two doubles, likewise. */
typedef double SimdDouble __attribute__((vector_size(16)));
/* What a comparison of two gives: all bits of a lane, or none. */
typedef int32_t SimdMask __attribute__((vector_size(16)));

/* The same value in every lane. */
static inline Simd simd_all(float x) {
    return (Simd){x, x, x, x};
}

/* Four in a row, wherever they begin. */
static inline Simd simd_load(const float *from) {
    Simd x;
    memcpy(&x, from, sizeof x);
    return x;
}

/* a in the lanes of the mask, b in the others. */
static inline Simd simd_choose(SimdMask mask, Simd a, Simd b) {
    return (Simd)(((SimdMask)a & mask) | ((SimdMask)b & ~mask));
}

/* a > b ? a : b, lane by lane: on x86 one instruction, which compilers do not find by
 * themselves. */
static inline Simd simd_larger(Simd a, Simd b) {
#ifdef __SSE__
    return (Simd)_mm_max_ps((__m128)a, (__m128)b);
#else
    return simd_choose(a > b, a, b);
#endif
}

#endif
