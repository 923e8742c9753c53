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
 * c is given at the boundaries of hops and runs straight between them. The filters run on when
 * nothing is cut, until they are told to rest. When they begin again, from silence, they need 4 ms
 * to settle before the first cut. Latency 0. Cost 10 operations for each band and channel, none
 * while resting. */
#ifndef SISKIN_GAIN_BAND_MENDER_H
#define SISKIN_GAIN_BAND_MENDER_H

#include "basic/simd.h"
#include "filter/band_levels.h"

#include <stdbool.h>
#include <stddef.h>

typedef struct {
    size_t bands;
    float most_db;
    float overlap[BAND_LEVELS_ROW][BAND_LEVELS_ROW]; /* dB at a centre by 1 dB of another band */
    float a1[BAND_LEVELS_ROW], a2[BAND_LEVELS_ROW], g2[BAND_LEVELS_ROW], k[BAND_LEVELS_ROW];
    struct {
        Simd ic1[BAND_LEVELS_ROW], ic2[BAND_LEVELS_ROW]; /* a channel in each lane */
        bool awake;
        float from[BAND_LEVELS_ROW], step[BAND_LEVELS_ROW]; /* k c at the hop's start; a frame */
    } state;
} BandMender;

void band_mender_reset(BandMender *mender);
/* The bands of `levels`; at most most_db >= 0 is ever taken away. Keeps the history. Computes in
 * double. */
void band_mender_set(BandMender *mender, const BandLevels *levels, float most_db);
/* The hop that begins: cut_db[0] at its start, cut_db[1] at its end, dB >= 0 for each band.
 * awake: whether the filters run, as they must while anything is cut. */
void band_mender_hop(BandMender *mender, const float cut_db[2][BAND_LEVELS_ROW], size_t hop,
                     bool awake);
/* n frames, the first of them `at` frames into the hop; channels 1 or 2. */
void band_mender_process(BandMender *mender, const float *const *in, float *const *out,
                         unsigned channels, size_t at, size_t n);

#endif
