/* SPDX-License-Identifier: ISC */
/* voice_bands.h: how loud and how dense a voice is in the four bands of a crossover, over those
 * moments alone that the caller says count.
 *
 * The bands are those of crossover.h, so that what is read here is what a processor that splits
 * there can change. Sound comes in hops that the caller ends (some 20 ms), and keeps those that
 * count. Of these the VOICE_BANDS_HISS in which the highest band is strongest beside the two in the
 * middle are left out: a few hops of a voiced /z/ hold more power up there than all vowels
 * together. A gain of a band changes little about which these are. Of the rest
 *     loudness = -0.691 + 10 log10 of the mean K-weighted power (ITU-R BS.1770, ungated)
 *     level    = 10 log10 of the mean power of a band
 *     crest    = mean of 20 log10(peak / RMS) of a band over VOICE_BANDS_WINDOW such hops at a time,
 *                one after another whatever lies between them
 * A gain of a band moves its level by just as many dB, but for what the slopes let through from its
 * neighbours. What makes a band denser makes its crest fall; a sine has 3.0 dB.
 * Valid for 8..192 kHz, one channel; a split over 0.45 of the rate lies there. Latency 0. Cost:
 * crossover.h, k_weight.h and 16 operations a frame; a sort in the end. For programs that
 * measure. */
#ifndef SISKIN_MEASURE_VOICE_BANDS_H
#define SISKIN_MEASURE_VOICE_BANDS_H

#include "filter/crossover.h"
#include "filter/k_weight.h"

#include <stdint.h>

#define VOICE_BANDS_HISS 0.15 /* share of the hops */

enum { VOICE_BANDS_WINDOW = 20 };

/* Powers are sums of squares. */
typedef struct {
    double loud; /* K-weighted */
    double sum[CROSSOVER_BANDS];
    float peak[CROSSOVER_BANDS];
    uint32_t frames;
} VoiceBandsHop;

typedef struct {
    uint64_t frames; /* that were read of */
    double lufs;     /* NAN: none; so are the others */
    /* dB re full scale, mean square; dB, NAN without a window. -INFINITY, NAN: no signal. */
    double level_db[CROSSOVER_BANDS], crest_db[CROSSOVER_BANDS];
} VoiceBandsReading;

typedef struct {
    Crossover crossover;
    KWeight weight;        /* has history too */
    VoiceBandsHop hop_now; /* the hop under way */
} VoiceBands;

void voice_bands_prepare(VoiceBands *bands, double rate_hz, const CrossoverParams *splits);
void voice_bands_process(VoiceBands *bands, const float *in, size_t n);
/* Ends a hop, which is returned. */
VoiceBandsHop voice_bands_hop(VoiceBands *bands);

/* Of the hops that count, in their order; `scratch` has room for n. */
VoiceBandsReading voice_bands_read(const VoiceBandsHop *hops, size_t n, double *scratch);

#endif
