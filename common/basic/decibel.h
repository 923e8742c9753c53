/* SPDX-License-Identifier: ISC */
/* decibel.h: levels in dB, and a logarithm and exponential cheap enough for every frame.
 *
 * The fast pair splits a float into exponent and mantissa (IEEE 754 binary32) and approximates what
 * is left: log2 on [sqrt(1/2), sqrt(2)) by the series of 2 atanh(z), z = (m-1)/(m+1), as far as
 * z^7; 2^f on [-1/2, 1/2] by its Taylor series as far as f^6 (both: Abramowitz and Stegun 1964,
 * 4.1.27 and 4.2.1). Branch-free, so that compilers vectorise loops over them.
 * Error of decibel_fast_log2: the first term left out, 2/(9 ln 2) 0.1716^9 = 4.2e-8, and rounding
 * of the result, half a unit in the last place: within 5e-7 for 2^-4..2^4, 4e-6 anywhere (2.4e-5 dB
 * of amplitude). Of decibel_fast_exp2: (ln 2)^7/7! 0.5^7 2^0.5 = 1.7e-7 and rounding: within 4e-7
 * relative. The tests hold them to that. */
#ifndef SISKIN_BASIC_DECIBEL_H
#define SISKIN_BASIC_DECIBEL_H

#include <math.h>
#include <stdint.h>
#include <string.h>

/* The quietest power a level can have: -200 dB. Added before a logarithm so that silence is finite.
 */
#define DECIBEL_POWER_FLOOR 1e-20f
#define DECIBEL_AMPLITUDE_FLOOR 1e-10f

/* dB -> amplitude ratio, in double: for designing coefficients. */
static inline double decibel_to_gain(double db) {
    return pow(10.0, db / 20.0);
}

/* Amplitude ratio (> 0) -> dB, in double. */
static inline double decibel_from_gain(double gain) {
    return 20.0 * log10(gain);
}

/* log2(x) for normal x > 0. */
static inline float decibel_fast_log2(float x) {
    uint32_t bits;
    memcpy(&bits, &x, sizeof bits);
    /* Bias so that the mantissa lands in [sqrt(1/2), sqrt(2)): 0x3f3504f3 is sqrt(1/2). */
    int32_t exponent = (int32_t)(bits - 0x3f3504f3u) >> 23;
    bits -= (uint32_t)exponent << 23;
    float m;
    memcpy(&m, &bits, sizeof m);
    /* log2(m) = 2/ln2 * atanh(z), z = (m-1)/(m+1), |z| < 0.1716: the odd series converges fast. */
    float z = (m - 1.0f) / (m + 1.0f);
    float z2 = z * z;
    float p = 2.88539008f + z2 * (0.96179669f + z2 * (0.57707802f + z2 * 0.41219859f));
    return (float)exponent + z * p;
}

/* 2^x, x clamped to -126..126. */
static inline float decibel_fast_exp2(float x) {
    x = x < -126.0f ? -126.0f : x;
    x = x > 126.0f ? 126.0f : x;
    /* Adding 1.5 * 2^23 rounds to the nearest whole number; its low bits then hold that number. */
    float shifted = x + 12582912.0f;
    uint32_t whole;
    memcpy(&whole, &shifted, sizeof whole);
    float f = x - (shifted - 12582912.0f);
    float p =
        1.0f + f * (0.693147181f +
                    f * (0.240226507f +
                         f * (0.0555041087f +
                              f * (0.00961812911f + f * (0.00133335581f + f * 0.000154035304f)))));
    uint32_t bits;
    memcpy(&bits, &p, sizeof bits);
    bits += whole << 23;
    memcpy(&p, &bits, sizeof p);
    return p;
}

/* Power (amplitude squared, >= 0) -> dB; silence gives -200. */
static inline float decibel_from_power(float power) {
    return 3.01029996f * decibel_fast_log2(power + DECIBEL_POWER_FLOOR);
}

/* Amplitude (>= 0) -> dB; silence gives -200. */
static inline float decibel_from_amplitude(float amplitude) {
    return 6.02059991f * decibel_fast_log2(amplitude + DECIBEL_AMPLITUDE_FLOOR);
}

/* dB -> amplitude ratio, fast; exactly 1 at 0 dB. */
static inline float decibel_fast_gain(float db) {
    return decibel_fast_exp2(db * 0.166096405f);
}

#endif
