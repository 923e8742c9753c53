/* SPDX-License-Identifier: ISC */
/* split_mix.h: numbers by chance, the same after every reset.
 *
 * SplitMix64 (Steele, Lea, Flood, "Fast splittable pseudorandom number generators", OOPSLA 2014):
 * any seed will do, and every state is met once in 2^64 numbers. */
#ifndef SISKIN_BASIC_SPLIT_MIX_H
#define SISKIN_BASIC_SPLIT_MIX_H

#include <stdint.h>

static inline uint64_t split_mix_bits(uint64_t *state) {
    uint64_t z = *state += 0x9e3779b97f4a7c15u;
    z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9u;
    z = (z ^ (z >> 27)) * 0x94d049bb133111ebu;
    return z ^ (z >> 31);
}

/* Uniform, 0 <= it < 1. */
static inline double split_mix_unit(uint64_t *state) {
    return (double)(split_mix_bits(state) >> 11) * 0x1p-53;
}

#endif
