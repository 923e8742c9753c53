/* SPDX-License-Identifier: ISC */
/* gain_computer.h: the static law of a compressor: level in dB -> reduction in dB.
 *
 * Below the knee nothing, above it (1 - 1/R) dB for each dB over the threshold T, between them a
 * parabola that meets both without a corner:
 *
 *     over = x - T,  t = clamp(over + W/2, 0, W)
 *     reduction = (1 - 1/R) (t^2 / 2W + max(over - W/2, 0)),  at most `range`
 *
 * Source: Giannoulis, Massberg, Reiss, "Digital Dynamic Range Compressor Design - A Tutorial and
 * Analysis", JAES 60(6), 2012, eq. 4: this is x - y of that law, its three cases written as one so
 * that compilers vectorise it. Valid for R >= 1, W >= 0 (0 is a hard knee), range >= 0.
 * No history. Latency 0. Cost about 8 operations a frame. */
#ifndef SISKIN_GAIN_GAIN_COMPUTER_H
#define SISKIN_GAIN_GAIN_COMPUTER_H

#include <stddef.h>

typedef struct {
    float threshold_db; /* T */
    float ratio;        /* R, >= 1 */
    float knee_db;      /* W, the whole width */
    float range_db;     /* the largest reduction */
} GainComputerParams;

typedef struct {
    float knee_start_db; /* T - W/2 */
    float knee_db;
    float slope;        /* 1 - 1/R */
    float per_two_knee; /* 1 / 2W; 0 for a hard knee */
    float range_db;
} GainComputer;

void gain_computer_set(GainComputer *computer, const GainComputerParams *params);

/* Level in dB -> reduction in dB, 0..range. */
static inline float gain_computer_reduction(const GainComputer *computer, float level_db) {
    float into = level_db - computer->knee_start_db;
    into = into > 0.0f ? into : 0.0f;
    float t = into < computer->knee_db ? into : computer->knee_db;
    float reduction = computer->slope * (t * t * computer->per_two_knee + (into - t));
    return reduction < computer->range_db ? reduction : computer->range_db;
}

/* n frames; the arrays may be the same. */
void gain_computer_process(const GainComputer *computer, const float *level_db, float *reduction_db,
                           size_t n);

#endif
