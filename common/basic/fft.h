/* SPDX-License-Identifier: ISC */
/* fft.h: power spectrum of a stretch of real audio.
 *
 *     X[k] = sum over t = 0..N-1 of x[t] exp(-2 pi i k t / N),   power[k] = |X[k]|^2
 * Source: Cooley and Tukey, Math. Comp. 19, 1965, decimation in time; the N real frames are taken
 * as N/2 complex ones and the spectra of the even and the odd frames parted afterwards (Cooley,
 * Lewis and Welch, J. Sound Vib. 12(3), 1970, section 4).
 * In float, with twiddles computed in double: errors are about 3e-7 log2 N of the largest bin.
 * Valid for N = 2^4..2^20. No history. Cost about 2.5 N log2 N operations: for programs that
 * measure, not for a plugin's process(). */
#ifndef SISKIN_BASIC_FFT_H
#define SISKIN_BASIC_FFT_H

#include "basic/arena.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

typedef struct {
    size_t size;     /* N */
    float *turn;     /* [N] cos and -sin of 2 pi k / N, in turns, k = 0..N/2-1 */
    uint32_t *place; /* [N/2] bit-reversed indices */
    float *work;     /* [N] complex frames */
} Fft;

/* size: a power of two, 16..2^20. false: the arena is full. */
bool fft_prepare(Fft *fft, size_t size, Arena *arena);
/* in[N] -> power[N/2 + 1]. */
void fft_power(Fft *fft, const float *in, float *power);

#endif
