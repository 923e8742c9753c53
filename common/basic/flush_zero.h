/* SPDX-License-Identifier: ISC */
/* flush_zero.h: floating-point mode for the length of one run().
 *
 * Denormal numbers, which every recursive filter reaches in silence, cost some 150 cycles each on
 * x86. flush_zero_begin() makes them zero (x86: MXCSR bits 15 FTZ and 6 DAZ; ARM: FPCR bit 24 FZ),
 * selects round-to-nearest and masks all exceptions, so that a host that traps on them does not
 * trap in here. flush_zero_end() puts back the mode as it was found, bit for bit. Other processors:
 * no change. */
#ifndef SISKIN_BASIC_FLUSH_ZERO_H
#define SISKIN_BASIC_FLUSH_ZERO_H

#include <stdint.h>

#if defined(__SSE__)
#include <xmmintrin.h>

static inline uint64_t flush_zero_begin(void) {
    unsigned found = _mm_getcsr();
    _mm_setcsr(0x1f80u | 0x8040u);
    return found;
}
static inline void flush_zero_end(uint64_t found) {
    _mm_setcsr((unsigned)found);
}

#elif defined(__aarch64__)

static inline uint64_t flush_zero_begin(void) {
    uint64_t found;
    __asm__ volatile("mrs %0, fpcr" : "=r"(found));
    __asm__ volatile("msr fpcr, %0" : : "r"((uint64_t)1 << 24));
    return found;
}
static inline void flush_zero_end(uint64_t found) {
    __asm__ volatile("msr fpcr, %0" : : "r"(found));
}

#else

static inline uint64_t flush_zero_begin(void) {
    return 0;
}
static inline void flush_zero_end(uint64_t found) {
    (void)found;
}

#endif
#endif
