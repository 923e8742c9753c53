/* SPDX-License-Identifier: ISC */
/* peak_change.h: by how much a processor has changed peaks lately, for a meter.
 *
 * The largest absolute value of what came in and of what went out, each falling with a time
 * constant of PEAK_CHANGE_MS; the distance of the two in dB, 0 while both are under -100 dBFS.
 * The time constant is applied once a block, so that the reading depends on blocks a little.
 * Cost a comparison a frame. */
#ifndef SISKIN_GAIN_PEAK_CHANGE_H
#define SISKIN_GAIN_PEAK_CHANGE_H

#include <stddef.h>

#define PEAK_CHANGE_MS 100.0

typedef struct {
    double rate_hz;
    unsigned channels;
    struct {
        float in, out;
    } state;
} PeakChange;

void peak_change_prepare(PeakChange *change, double rate_hz, unsigned channels);
void peak_change_reset(PeakChange *change);
/* n frames of both, aligned. Returns the change in dB, negative: it has fallen. */
float peak_change_process(PeakChange *change, const float *const *in, const float *const *out,
                          size_t n);

#endif
