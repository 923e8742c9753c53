/* SPDX-License-Identifier: ISC */
/* rate.h: a sound at another rate, for coders that know only some.
 *
 *     y(t) = sum over k of x[k] h(t - k),   h(u) = c sinc(c u) w(c u / RATE_HALF),
 * c = RATE_SHARE times min(1, new / old), w the Kaiser window of beta RATE_BETA (Kaiser and
 * Schafer, "On the use of the I0-sinh window for spectrum analysis", IEEE Trans. ASSP 28(1), 1980;
 * rates at a ratio of whole numbers: Crochiere and Rabiner, Multirate Digital Signal Processing,
 * 1983, section 2.4). Rates are whole numbers of Hz, so new frames fall on few phases between old
 * ones; h is kept for each. Beta 8 leaves images some 80 dB down, and what lies below 0.87 of the
 * lower half rate as it was. Frame 0 of both rates is the same moment: no latency. Cost 2 RATE_HALF
 * / c multiplications a frame made. */
#ifndef SISKIN_PAGE_RATE_H
#define SISKIN_PAGE_RATE_H

#include <stddef.h>
#include <stdint.h>

enum { RATE_HALF = 32, RATE_LANES = 8 };
#define RATE_SHARE 0.95
#define RATE_BETA 8.0

typedef struct {
    uint64_t from, to; /* their ratio in lowest terms */
    double cut;        /* c */
    size_t reach;      /* old frames to either side that a new one depends on */
    size_t taps;       /* a multiple of RATE_LANES */
    float *table;      /* [to][taps] from the frame `reach` before */
} Rate;

/* Whole numbers of Hz. */
void rate_open(Rate *rate, uint64_t from_hz, uint64_t to_hz);
void rate_close(Rate *rate); /* fine on a zeroed one */

/* New frames first..first + n - 1 from x, whose element 0 is old frame `begin`; what lies outside
 * of its `count` frames is silence. */
void rate_make(const Rate *rate, const float *x, uint64_t begin, size_t count, uint64_t first,
               float *y, size_t n);

#endif
