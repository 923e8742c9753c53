/* SPDX-License-Identifier: ISC */
/* noise_gain.h: the gain of each bin that takes a known noise down and leaves the voice.
 *
 * Log-spectral amplitude estimator under uncertain presence of speech: Ephraim and Malah, IEEE
 * Trans. ASSP 33(2), 1985, eq. 20; Cohen, IEEE SPL 9(4), 2002, whose constants are
 * kept (from memory: beta 0.7, -10..-5 dB, at most 0.95) but for alpha, 0.94 where his is 0.92:
 * with less of the new, single bins of the room twitter less. With P = |Y|^2 and the noise's
 * L, of hop l, bin k:
 *     gamma = P / L            xi = alpha G1(l-1)^2 gamma(l-1) + (1 - alpha) max(gamma - 1, 0)
 *     v = gamma xi / (1 + xi)  G1 = xi / (1 + xi) exp(E1(v) / 2)
 *     p = 1 / (1 + q / (1 - q) (1 + xi) exp(-v))             G = Gs^p Gmin^(1-p)
 * q, the chance that nothing is there, is 1 - A B C: what the mean of xi, zeta = beta zeta + (1 -
 * beta) xi(l-1), is in the bin and its two neighbours (A), in its band (B) and over all (C), each 0
 * at -10 dB and less, 1 at -5 dB and more, along its logarithm. E1 is read from a table in log v,
 * exp(E1 / 2) within 0.01 dB.
 *
 * Bands besides bins. Breath and friction are noise: each bin of theirs looks like a whim of the
 * room's. So in bands of a third of an octave (four bins at least) the mean of gamma is taken, over
 * some 20 ms, less what a room's own chance makes of it; what is left is sound, and no bin of the
 * band then has less gain than the band as a whole,
 *     G_b = sqrt(max(0, m - c) / m), m the mean, c = 1 + 3 deviations of a room's m
 * While the frame holds something periodic, this holds from 4 kHz up alone: below, a voice's
 * harmonics would carry the noise between them along.
 * No bin falls faster than 500 dB a second, so that the tail of a word in a room dies away.
 *
 * xi follows the voice a hop late, so where a voice is, a second step takes what the first leaves
 * of the bin for the voice, and Wiener's gain of it (Plapous, Marro and Scalart, IEEE Trans. ASLP
 * 14(6), 2006):
 *     xi2 = G1^2 gamma        G2 = xi2 / (1 + xi2)        Gs = G1^(1-s) G2^s
 * s is 1 while any of the frame's hops holds a voice, else C: between words the first step alone
 * has its say, for the second would let single bins of the room twitter. With it a fan 10 dB under
 * recorded words goes down by 0.35 dB more (SI-SDR), 20 dB under by 0.25, and the first 50 ms of
 * words lose half as much.
 *
 * Work comes by bins and bands, in pieces of any size, and only adds, multiplies, divides and takes
 * roots. Cost about 180 operations a bin. */
#ifndef SISKIN_SOUND_NOISE_GAIN_H
#define SISKIN_SOUND_NOISE_GAIN_H

#include "basic/arena.h"

#include <stdbool.h>
#include <stddef.h>

enum { NOISE_GAIN_BANDS = 40, NOISE_GAIN_TABLE = 256 };

typedef struct {
    float depth_db;       /* 0..: what is only noise goes down by it */
    float sensitivity_db; /* added to the noise as learned */
} NoiseGainParams;

typedef struct {
    float floor_log2; /* of the gain: Gmin */
    float bias;       /* of the noise, power */
    size_t bins, bands;
    size_t edge[NOISE_GAIN_BANDS + 1]; /* first bin of each band, and `bins` */
    float chance[NOISE_GAIN_BANDS];    /* c */
    size_t high;                       /* first band from 4 kHz up */
    float keep;                        /* of a band's mean, a hop */
    float fall;                        /* log2 of gain, a hop */
    float table[NOISE_GAIN_TABLE + 1]; /* log2 exp(E1 / 2) by log2 v */
    size_t room;     /* of each array: `bins`, and some that are computed in vain */
    float *gamma;    /* of each bin, this hop */
    float *zeta;     /* this hop; bin k at k + 1 */
    float *xi;       /* of the last hop done */
    float *prior;    /* G1^2 gamma of the last hop done */
    float *gain;     /* log2 of G */
    float *presence; /* B of the bin's band */
    float *least;    /* log2 of G_b of the bin's band */
    struct {
        float share;    /* of the gain in dB that is used */
        int voiced;     /* hops for which the frames still hold a voice; 0: this one holds none */
        float all_zeta; /* summed over bands */
        float mean[NOISE_GAIN_BANDS]; /* of gamma, smoothed */
    } state;
} NoiseGain;

/* bins: N/2 + 1 of frames of N samples, a hop of N/4. false: the arena is full. */
bool noise_gain_prepare(NoiseGain *gain, double rate_hz, size_t bins, Arena *arena);
void noise_gain_reset(NoiseGain *gain);
void noise_gain_set(NoiseGain *gain, const NoiseGainParams *params);
/* Begins a hop. share: 0..1, of the reduction in dB; periodic: a voice sounds at the frame's
 * end. */
void noise_gain_begin(NoiseGain *gain, float share, bool periodic);
/* Then, in this order, each for all bins or bands, piece by piece; decide's pieces begin at a
 * multiple of SIMD_WIDTH. */
void noise_gain_compare(NoiseGain *gain, const float *power, const float *noise, size_t from,
                        size_t count);
void noise_gain_bands(NoiseGain *gain, size_t from, size_t count);
void noise_gain_decide(NoiseGain *gain, size_t from, size_t count);
/* The gain of a bin as decided, log2, 0 or less. */
static inline float noise_gain_log2(const NoiseGain *gain, size_t k) {
    return gain->gain[k] * gain->state.share;
}

#endif
