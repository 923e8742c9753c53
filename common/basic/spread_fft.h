/* SPDX-License-Identifier: ISC */
/* spread_fft.h: complex Fourier transform whose work can be done in pieces of any size.
 *
 *     X[k] = sum over t = 0..N-1 of x[t] exp(-2 pi i k t / N)
 * Source: Stockham's self-sorting form of the fast transform (Cochran et al., "What is the fast
 * Fourier transform?", Proc. IEEE 55(10), 1967), radix 4, with one pass of radix 2 when N is no
 * power of 4. A pass of radix 4, l = 4^s done before it, N = 4 l m:
 *     y[4 l j + r l + k] = w^(j r) sum over q = 0..3 of (-i)^(q r) x[l j + k + q N/4],
 *     w = exp(-2 pi i / 4m), j = 0..m-1, k = 0..l-1
 * The inner loop is as long as l, so it vectorises, and no pass reverses bits. Between two arrays,
 * each butterfly reads one and writes the other: any of them may be put off, and where the work was
 * cut changes no bit of the result.
 * The inverse is the same with real and imaginary parts exchanged on both sides, over N.
 *
 * In float, with twiddles computed in double: errors are about 3e-7 log2 N of the largest bin.
 * Valid for N = 2^4..2^16. Cost 34 operations a butterfly: 4.25 N log2 N in all. */
#ifndef SISKIN_BASIC_SPREAD_FFT_H
#define SISKIN_BASIC_SPREAD_FFT_H

#include "basic/arena.h"

#include <stdbool.h>
#include <stddef.h>

/* Real and imaginary parts, apart. */
typedef struct {
    float *re, *im;
} Spectrum;

typedef struct {
    size_t size;              /* N */
    size_t passes;            /* of N/4 steps each; one of radix 2 counts as one */
    float *turn_re, *turn_im; /* [3][N/4]: exp(-2 pi i r j / N), r = 1..3 */
} SpreadFft;

/* size: a power of two, 16..2^16. false: the arena is full. */
bool spread_fft_prepare(SpreadFft *fft, size_t size, Arena *arena);
/* Steps of a whole transform. */
static inline size_t spread_fft_steps(const SpreadFft *fft) {
    return fft->passes * (fft->size / 4);
}
/* Does steps from..from + count - 1 of a transform of data[0], which all passes write to and fro
 * with data[1], both [N]. Call with from = 0 first, then on from where the last call ended, and
 * leave both arrays alone until the last step is done. */
void spread_fft_run(const SpreadFft *fft, const Spectrum data[2], size_t from, size_t count);
/* Which of the two arrays the last step leaves the result in. */
static inline size_t spread_fft_result(const SpreadFft *fft) {
    return fft->passes % 2;
}

#endif
