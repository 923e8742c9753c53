/* SPDX-License-Identifier: ISC */
/* band_mender.h: takes the level of single bands down, and up again, within a millisecond.
 *
 * The bands are in series. Each takes away a share c of its own band-pass, and c moves:
 *     y = x - c k v(x),  0 <= c < 1
 * v is the band-pass output of the trapezoidal state-variable filter (svf.h); k v has the gain 1 at
 * the centre. So the gain is 1 - c at the centre and 1 far away, minimum phase, and c moves without
 * touching the filter's states. With c = 0 in all bands y = x, bit for bit.
 * The filters overlap: a cut in one band takes a third of it, in dB, from each neighbour. So each
 * is made a little smaller than asked for, and all are held down where they would add up to more
 * than is allowed.
 *
 * Notches reach some 20 dB between their centres, however deep they are. Where that is allowed,
 * what is asked for beyond BAND_MENDER_NARROW_DB is taken from all bands together, by a share w of
 * everything above a low-pass (Butterworth, 4th order) an octave below the lowest band:
 *     z = y + w (low-pass of y - y)
 * and each band is cut by what is still missing. It is never more than the middle one of all bands
 * needs, but those that need less are cut too deep for as long as a click lasts: for gaps, where
 * the click is all there is.
 *
 * c and w are given at the boundaries of hops and run straight between them. The filters run on
 * when nothing is cut, until they are told to rest. When they begin again, from silence, they need
 * 4 ms to settle before the first cut. Latency 0. Cost a frame 12 vector operations a band, 30
 * for the low-pass, none while resting; a hop some 150, half when it begins as the last one
 * ended. */
#ifndef SISKIN_GAIN_BAND_MENDER_H
#define SISKIN_GAIN_BAND_MENDER_H

#include "basic/simd.h"
#include "filter/band_levels.h"

#include <stdbool.h>
#include <stddef.h>

#define BAND_MENDER_NARROW_DB 18.0f

enum { BAND_MENDER_PARTS = BAND_LEVELS_ROW / SIMD_WIDTH };

/* What is taken away for cut_db. */
typedef struct {
    float cut_db[BAND_LEVELS_ROW];
    Simd weight[BAND_MENDER_PARTS]; /* k c, a band in each lane */
    float wide;                     /* w */
} BandMenderShares;

typedef struct {
    size_t bands;
    float most_db;
    float overlap[BAND_LEVELS_ROW][BAND_LEVELS_ROW]; /* dB at a centre by 1 dB of another band */
    Simd a1[BAND_LEVELS_ROW], a2[BAND_LEVELS_ROW], g2[BAND_LEVELS_ROW]; /* the same in all lanes */
    float k[BAND_LEVELS_ROW];
    Simd spread[BAND_LEVELS_ROW][BAND_MENDER_PARTS]; /* of a band's cut, what all lose by it, dB */
    BandMenderShares ahead;                          /* where the last hop ended; no history */
    Simd direct[BAND_MENDER_PARTS];                  /* a2, a band in each lane */
    Simd low_g, low_a1[2], low_a2[2], low_a3[2];     /* of the low-pass */
    struct {
        Simd ic1[BAND_LEVELS_ROW], ic2[BAND_LEVELS_ROW]; /* a channel in each lane */
        Simd low1[2], low2[2];
        bool awake;
        float wide_from, wide_step;   /* w at the hop's start; a frame */
        Simd from[BAND_MENDER_PARTS]; /* k c likewise, a band in each lane */
        Simd step[BAND_MENDER_PARTS];
    } state;
} BandMender;

void band_mender_reset(BandMender *mender);
/* The bands of `levels`; where cuts overlap, no more than most_db >= 0 is taken away, or the
 * largest of them where all bands may go down together. Keeps the history. Computes in
 * double. */
void band_mender_set(BandMender *mender, const BandLevels *levels, float most_db);
/* The hop that begins: cut_db[0] at its start, cut_db[1] at its end, dB >= 0 for each band,
 * and in the place of the band below, BAND_LEVELS_LOW, the most that may be taken from all
 * together. awake: whether the filters run, as they must while anything is cut. */
void band_mender_hop(BandMender *mender, const float cut_db[2][BAND_LEVELS_ROW], size_t hop,
                     bool awake);
/* n frames, the first of them `at` frames into the hop; channels 1 or 2. */
void band_mender_process(BandMender *mender, const float *const *in, float *const *out,
                         unsigned channels, size_t at, size_t n);

#endif
