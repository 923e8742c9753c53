/* SPDX-License-Identifier: ISC */
/* loudness.h: loudness of a whole programme, as it streams by.
 *
 *     L = -0.691 + 10 log10 sum over channels of G_i mean(y_i^2)     y = K-weighted (k_weight.h)
 * - momentary: over 400 ms; short-term: over 3 s; neither gated. Both are looked at every 10 ms, so
 *   that the largest of a tone that just fills the window is missed by no more than
 *   10 log10(395/400) = 0.055 dB.
 * - integrated (ITU-R BS.1770-4, Annex 1): of blocks of 400 ms every 100 ms, those over -70 LUFS;
 *   of these, those over 10 LU less than their mean; the mean of the power of those.
 * - range (EBU Tech 3342): of short-term values every 100 ms, those over -70 LUFS; of these, those
 *   over 20 LU less than their mean; the distance from the 10th to the 95th percentile.
 *
 * Memory does not grow: levels are counted in bins of LOUDNESS_BIN_LU, each with its sum of powers.
 * So a mean has no error of its own; only a gate is moved, by at most a bin, and a percentile is
 * right to half a bin, the range to a whole one.
 * Steps of 10 ms begin at frame round(k rate / 100), so that windows are right at every rate.
 * Valid for 8..192 kHz; blocks over +70 LUFS count as +70 in gates and percentiles. Latency 0. Cost
 * a frame and channel: k_weight and 3 operations; 340 additions a step, 2 logarithms. */
#ifndef SISKIN_MEASURE_LOUDNESS_H
#define SISKIN_MEASURE_LOUDNESS_H

#include "basic/arena.h"
#include "filter/k_weight.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum {
    LOUDNESS_CHANNELS = 5,
    LOUDNESS_STEPS = 100,    /* a second */
    LOUDNESS_MOMENTARY = 40, /* steps */
    LOUDNESS_SHORT = 300,    /* steps */
    LOUDNESS_HOP = 10,       /* steps, of the blocks that are gated */
    LOUDNESS_BINS = 14000,   /* from -70 to +70 LUFS */
};

#define LOUDNESS_BIN_LU 0.01
#define LOUDNESS_SURROUND 1.41 /* weight of the surround channels; all others have 1 */

typedef struct {
    double power; /* sum of those counted */
    uint64_t count;
} LoudnessBin;

typedef struct {
    double rate_hz;
    unsigned channels;
    double weight[LOUDNESS_CHANNELS];
    KWeight k[LOUDNESS_CHANNELS]; /* has history too */
    LoudnessBin *blocks, *shorts; /* [LOUDNESS_BINS]; history too */
    struct {
        uint64_t frame;
        uint64_t step;                /* whole steps so far */
        double sum;                   /* weighted, of the step under way */
        double steps[LOUDNESS_SHORT]; /* sums of the last ones */
        double momentary, short_term, momentary_most, short_most; /* powers; < 0: not known yet */
    } state;
} Loudness;

/* 1..LOUDNESS_CHANNELS channels; `weight` NULL: all 1. false: the arena is full. */
bool loudness_prepare(Loudness *loudness, double rate_hz, unsigned channels, const double *weight,
                      Arena *arena);
void loudness_reset(Loudness *loudness);
/* n frames of each channel. */
void loudness_process(Loudness *loudness, const float *const *in, size_t n);

/* LUFS of the window that ends now, and the largest so far. Silence is -INFINITY; NAN as long as no
 * whole window was heard. */
double loudness_momentary(const Loudness *loudness);
double loudness_short_term(const Loudness *loudness);
double loudness_momentary_most(const Loudness *loudness);
double loudness_short_term_most(const Loudness *loudness);
/* LUFS so far; NAN when nothing passes the gates. */
double loudness_integrated(const Loudness *loudness);
/* LU so far, >= 0; NAN when nothing passes the gates. */
double loudness_range(const Loudness *loudness);

/* K-weighted power, summed over channels with their weights -> LUFS. */
double loudness_from_power(double power);

#endif
