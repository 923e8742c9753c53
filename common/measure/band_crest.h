/* SPDX-License-Identifier: ISC */
/* band_crest.h: how loud and how dense a voice is in four bands.
 *
 * Bands with the edges 200 Hz, 1 kHz and 5 kHz: bottom, body, presence, air. Each edge is a
 * Butterworth filter of second order passed twice (Linkwitz, JAES 24(1), 1976), 6 dB down at the
 * edge on both sides. In windows that the caller ends (some 400 ms, the window of momentary
 * loudness) the power and the peak of each band are taken, and of the windows that count
 *     level   = 10 log10 of the mean power
 *     crest   = mean of 20 log10(peak / RMS) over windows in which the band holds any power
 * A compressor or a saturating stage makes a band denser: its crest falls. A sine has 3.0 dB.
 * All four bands run beside each other in simd.h. Valid for 8..192 kHz; an edge over 0.45 of the
 * rate is put there. Latency 0. Cost: four filters of four lanes a frame. */
#ifndef SISKIN_MEASURE_BAND_CREST_H
#define SISKIN_MEASURE_BAND_CREST_H

#include "basic/simd.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum { BAND_CREST_BANDS = SIMD_WIDTH, BAND_CREST_SECTIONS = 4 };

/* Upper edges of the bands but the last, Hz. */
extern const double band_crest_edge_hz[BAND_CREST_BANDS - 1];

typedef struct {
    Simd a1, a2, a3, m0, m1, m2; /* svf.h, a band in each lane */
} BandCrestSection;

typedef struct {
    BandCrestSection section[BAND_CREST_SECTIONS];
    struct {
        Simd ic1[BAND_CREST_SECTIONS], ic2[BAND_CREST_SECTIONS];
        double sum[BAND_CREST_BANDS]; /* of squares in this window */
        float peak[BAND_CREST_BANDS];
        uint64_t frames;                /* of this window */
        double power[BAND_CREST_BANDS]; /* sums over the windows that count */
        double crest_db[BAND_CREST_BANDS];
        uint64_t windows, heard[BAND_CREST_BANDS]; /* that count; with power in the band */
    } state;
} BandCrest;

void band_crest_prepare(BandCrest *profile, double rate_hz);
void band_crest_reset(BandCrest *profile);
void band_crest_process(BandCrest *profile, const float *in, size_t n);
/* Ends a window; whether it counts. */
void band_crest_window(BandCrest *profile, bool counts);
/* dB re full scale, mean square; NAN when no window counted or none held power. */
double band_crest_level_db(const BandCrest *profile, size_t band);
/* dB. */
double band_crest_crest_db(const BandCrest *profile, size_t band);

#endif
