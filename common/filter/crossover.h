/* SPDX-License-Identifier: ISC */
/* crossover.h: splits one or two channels into four bands that sum to an all-pass.
 *
 * Linkwitz-Riley of fourth order: each way two Butterworth filters of second order in a row, -6.02
 * dB at the split, low and high in phase everywhere, their sum an all-pass of second order
 * (Linkwitz, "Active crossover networks for noncoincident drivers", JAES 24(1), 1976). As a tree:
 *     x -> split 2 -> low  -> all-pass 3 -> split 1 -> bands 1, 2
 *                  -> high -> all-pass 1 -> split 3 -> bands 3, 4
 * Each half passes the all-pass of the split that it does not meet, so that the sum of all is that
 * of the three splits in a row, flat at every frequency (Lipshitz and Vanderkooy, JAES 34(4),
 * 1986). Sections are state-variable filters as in svf.h; the four lanes hold two channels of both
 * halves. A split that is set anew is reached over CROSSOVER_GLIDE_MS.
 *
 * Delay of the sum for 180, 1100, 5500 Hz: 3.5 ms at 100 Hz, 0.6 at 1 kHz, 0.1 at 5 kHz: below what
 * is heard (Blauert and Laws, JASA 63, 1978). A split is kept under 0.45 of the rate.
 * Latency 0. Cost for both channels as for one: six sections of 12 operations a frame; a division
 * each more while a split moves. */
#ifndef SISKIN_FILTER_CROSSOVER_H
#define SISKIN_FILTER_CROSSOVER_H

#include "basic/simd.h"

#include <stdbool.h>
#include <stddef.h>

#define CROSSOVER_GLIDE_MS 20.0

enum { CROSSOVER_BANDS = 4, CROSSOVER_CHANNELS = 2, CROSSOVER_SECTIONS = 6 };

typedef struct {
    float split_hz[CROSSOVER_BANDS - 1]; /* rising */
} CrossoverParams;

typedef struct {
    double rate_hz;
    unsigned channels;
    float pole;
    float goal[CROSSOVER_BANDS - 1]; /* tan(pi split / rate) */
    struct {
        bool fresh;
        float g[CROSSOVER_BANDS - 1];
        Simd ic1[CROSSOVER_SECTIONS], ic2[CROSSOVER_SECTIONS];
    } state;
} Crossover;

/* channels 1..CROSSOVER_CHANNELS */
void crossover_prepare(Crossover *crossover, double rate_hz, unsigned channels);
/* The splits set next are met at once. */
void crossover_reset(Crossover *crossover);
void crossover_set(Crossover *crossover, const CrossoverParams *params);
/* n frames of every channel into band[b][c]; none may be an input. */
void crossover_process(Crossover *crossover, const float *const *in,
                       float *band[CROSSOVER_BANDS][CROSSOVER_CHANNELS], size_t n);

#endif
