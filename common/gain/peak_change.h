/* SPDX-License-Identifier: ISC */
/* peak_change.h: by how much a processor has changed peaks lately, for a meter.
 *
 * The largest absolute value of what came in and of what went out, each falling with a time
 * constant of PEAK_CHANGE_MS; the distance of the two in dB, 0 while both are under -100 dBFS. Read
 * every PEAK_CHANGE_STRETCH frames, so that it does not depend on how blocks are cut.
 * Cost a comparison a frame. */
#ifndef SISKIN_GAIN_PEAK_CHANGE_H
#define SISKIN_GAIN_PEAK_CHANGE_H

#include <stddef.h>

#define PEAK_CHANGE_MS 100.0
enum { PEAK_CHANGE_STRETCH = 256 }; /* frames */

typedef struct {
    unsigned channels;
    float keep; /* a stretch */
    struct {
        float in, out;         /* peaks, falling */
        float in_now, out_now; /* of this stretch */
        size_t at;             /* frames of it */
        float db;              /* as last read */
    } state;
} PeakChange;

/* The furthest that peaks were moved, dB >= 0. */
typedef struct {
    float down_db, up_db;
} PeakMoved;

void peak_change_prepare(PeakChange *change, double rate_hz, unsigned channels);
void peak_change_reset(PeakChange *change);
/* n frames of both, aligned: of the readings that held within them. */
PeakMoved peak_change_process(PeakChange *change, const float *const *in, const float *const *out,
                              size_t n);

#endif
