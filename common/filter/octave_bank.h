/* SPDX-License-Identifier: ISC */
/* octave_bank.h: power in octave bands, and the low part of the spectrum at a low rate.
 *
 * A tree of half-bands (half_band.h): each stage keeps its high half as a band of one octave and
 * hands its low half on at half the rate, so that the whole tree costs twice its first stage
 * (tree-structured banks: Vaidyanathan, Multirate Systems and Filter Banks, 1993, chapter 5).
 * It works on whole groups of `group` frames, a power of two: the lowest band gets one sample.
 *
 * The tree's own edges are rate / 2^k. So that a band means the same at every rate, powers are
 * given in bands with the edges 359 Hz * 2^k, k = 0..5 (halfway between those of 44.1 and of 48
 * kHz). Tree edges within a tenth of these are used as they are; at other rates powers are cut
 * anew, as if flat within each band of the tree. The lowest edge is always one of the tree's,
 * 240..480 Hz, so that hum and rumble stay out of the bands above it. What lies above half the rate
 * has no power. Neighbouring bands share about a third of an octave, as the half-bands do. Valid
 * for 8..192 kHz. Latency: what is not yet a whole group, 1 to 2.1 ms, and a delay of up to 2 ms in
 * the lower bands. Cost about 10 multiplications a frame. */
#ifndef SISKIN_FILTER_OCTAVE_BANK_H
#define SISKIN_FILTER_OCTAVE_BANK_H

#include "filter/half_band.h"

#include <stddef.h>

enum {
    OCTAVE_BANK_BANDS = 7, /* 0..359, ..718, ..1436, ..2873, ..5745, ..11490 Hz, and above */
    OCTAVE_BANK_MAX_STAGES = 8,
    OCTAVE_BANK_MAX_GROUP = 256, /* frames */
    OCTAVE_BANK_MAX_LOW = 16,    /* frames of `low` a group */
};

typedef struct {
    unsigned stages, low_stages; /* halvings in all, and down to `low` */
    size_t group;                /* frames: 2^stages */
    size_t low_frames;           /* frames of `low` a group: 8 or 16 */
    double low_rate_hz;          /* 5.4..10.8 kHz */
    /* What of the power of each of the tree's bands, lowest first, goes to each band. */
    float cut[OCTAVE_BANK_BANDS][OCTAVE_BANK_MAX_STAGES + 1];
    HalfBand stage[OCTAVE_BANK_MAX_STAGES];
} OctaveBank;

void octave_bank_prepare(OctaveBank *bank, double rate_hz);
void octave_bank_reset(OctaveBank *bank);

/* One group. power[b]: mean square of band b, 0.5 for a sine of amplitude 1. low[low_frames]: the
 * audio below half of low_rate_hz. */
void octave_bank_group(OctaveBank *bank, const float *in, float power[OCTAVE_BANK_BANDS],
                       float *low);

#endif
