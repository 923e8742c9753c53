/* SPDX-License-Identifier: ISC */
/* lanes.h: four floats that are computed together, for filters whose channels wait for each other.
 *
 * A recursive filter cannot be vectorised along time, and compilers do not find the channels by
 * themselves. With a channel in each lane a stereo filter costs what a mono one does. Each lane is
 * computed as a lone float would be: the result is the same, bit for bit.
 * GNU C vectors (gcc and clang, on every processor: split up where there are no such registers). */
#ifndef SISKIN_LANES_H
#define SISKIN_LANES_H

enum { LANES = 4 };

typedef float Lanes __attribute__((vector_size(16)));

/* The same value in every lane. */
static inline Lanes lanes_all(float x) {
    return (Lanes){x, x, x, x};
}

#endif
