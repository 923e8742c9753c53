/* SPDX-License-Identifier: ISC */
/* band_crest.h: how loud and how dense a voice is in four bands.
 *
 * Bands with the edges 200 Hz, 1 kHz and 5 kHz: bottom, body, presence, air. Each edge is a
 * Butterworth filter of second order passed twice (Linkwitz, JAES 24(1), 1976), 6 dB down at the
 * edge on both sides. By hops that the caller ends, some 5 ms each, and says of each whether it
 * counts: so breaths, sibilants and the room between words stay out, wherever windows would fall.
 *     level    10 log10 of the mean power of the hops that count
 *     spread   standard deviation of the levels of 20 ms (four hops in a row that count), dB
 * A saturating stage or a compressor takes the loud moments down more than the soft ones: the
 * spread falls. Of tanh at 0 to 24 dB of drive, over everything or over each band alone, it fell at
 * every step on five voices in the lower three bands, by 1 to 3 dB; in air it falls when that band
 * is driven, and does not tell when harmonics of a lower one fill it. Crest and kurtosis rise and
 * fall: filters turn the phases of a clipped wave until its peaks are back, and the bottom band, a
 * sine, has none to lose. A livelier performance has more spread too: the error tells only how well
 * it is known, as if one block in ten were independent.
 *     crest    mean of 20 log10(peak / RMS) over windows of some 400 ms that the caller ends. A sine
 *              has 3.0 dB.
 * All four bands run beside each other in simd.h. Valid for 8..192 kHz; an edge over 0.45 of the
 * rate is put there. Latency 0. Cost: four filters of four lanes a frame. */
#ifndef SISKIN_MEASURE_BAND_CREST_H
#define SISKIN_MEASURE_BAND_CREST_H

#include "basic/simd.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum {
    BAND_CREST_BANDS = SIMD_WIDTH,
    BAND_CREST_SECTIONS = 4,
    BAND_CREST_LATE = 2, /* hops: whether one counts is said so many hops after it */
    BAND_CREST_BLOCK = 4 /* hops */
};

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
        uint64_t frames; /* of this window */
        double crest_db[BAND_CREST_BANDS];
        uint64_t heard[BAND_CREST_BANDS]; /* windows that count, with power in the band */
        double hop[BAND_CREST_BANDS];     /* sum of squares in this hop */
        uint64_t hop_frames;
        double late[BAND_CREST_LATE][BAND_CREST_BANDS]; /* mean squares, the oldest first */
        double power[BAND_CREST_BANDS];                 /* sums over the hops that count */
        double block[BAND_CREST_BANDS];
        unsigned in_block;                                           /* hops */
        double block_db[BAND_CREST_BANDS], square[BAND_CREST_BANDS]; /* sums over blocks */
        uint64_t hops, blocks[BAND_CREST_BANDS];
    } state;
} BandCrest;

void band_crest_prepare(BandCrest *profile, double rate_hz);
void band_crest_reset(BandCrest *profile);
void band_crest_process(BandCrest *profile, const float *in, size_t n);
/* Ends a window; whether it counts for the crest. */
void band_crest_window(BandCrest *profile, bool counts);
/* Ends a hop; whether the one BAND_CREST_LATE before it counts. */
void band_crest_hop(BandCrest *profile, bool counts);
/* dB re full scale, mean square; NAN when no hop counted or none held power. */
double band_crest_level_db(const BandCrest *profile, size_t band);
/* dB; NAN for less than two blocks. */
double band_crest_spread_db(const BandCrest *profile, size_t band);
/* Standard error of the level, dB, and of the spread, 0.7 of it (normal theory); as above. */
double band_crest_level_error_db(const BandCrest *profile, size_t band);
double band_crest_spread_error_db(const BandCrest *profile, size_t band);
/* dB; NAN when no window counted or none held power. */
double band_crest_crest_db(const BandCrest *profile, size_t band);

#endif
