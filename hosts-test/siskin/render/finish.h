/* SPDX-License-Identifier: ISC */
/* finish.h: handing a render over at a loudness and a true peak, by one gain for all of it.
 *
 * The render is heard once without being written. Its integrated loudness is that of ITU-R
 * BS.1770-4, Annex 1: blocks of 400 ms every 100 ms, gated at -70 LUFS and at 10 LU under the mean
 * of those that pass. A gain moves blocks over the first gate, so the loudness does not always go
 * up by as many dB as the gain; the powers of all blocks are kept, 160 bytes a second, and the
 * gates are asked anew for each gain that is tried. The true peak (Annex 2, true_peak.h) goes with
 * the gain.
 *
 * One gain reaches both only when the take is dense enough. Else the peak is kept, the loudness is
 * missed, and by how much is told, and how far a limiter must be driven: as if it held down each
 * 100 ms by as much as their highest peak is over the ceiling, which is more than it does. */
#ifndef SISKIN_RENDER_FINISH_H
#define SISKIN_RENDER_FINISH_H

#include "filter/k_weight.h"
#include "measure/true_peak.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* The most that EBU R 128 allows of a programme, and what is kept when no peak is asked for. */
#define FINISH_PEAK_DB (-1.0)

typedef struct {
    bool by_loudness, by_peak; /* neither: nothing is to be done */
    double loudness_lufs, peak_db;
} FinishAim;

typedef struct {
    double gain_db;       /* 0 where nothing can be said */
    double loudness_lufs; /* of the render with that gain; NAN: too soft or too short to tell */
    double peak_db;       /* true peak, the same; -INFINITY: silence */
    double short_lu;      /* what the loudness lacks since the peak is kept; else 0 */
    double drive_db;      /* of a limiter in front of the gain that makes up for it; else 0 */
} Finish;

/* K-weighted mean square, summed over channels, and true peak of 100 ms. */
typedef struct {
    double power, peak;
} FinishStep;

typedef struct {
    double rate_hz;
    unsigned channels;
    KWeight weight[TRUE_PEAK_CHANNELS];
    TruePeak peak;
    FinishStep *steps;
    size_t n_steps;
    uint64_t frame;
    double sum, most; /* of the step under way; peak of all */
} FinishEar;

/* channels 1..TRUE_PEAK_CHANNELS. */
void finish_ear_begin(FinishEar *ear, double rate_hz, unsigned channels);
void finish_ear_hear(FinishEar *ear, const float *const *channel, size_t n);
/* After all of it, once. */
void finish_ear_end(FinishEar *ear);
void finish_ear_free(FinishEar *ear); /* fine on a zeroed one */

/* Of what was heard, with this gain: LUFS, NAN when nothing passes the gates. */
double finish_loudness(const FinishEar *ear, double gain_db);

bool finish_is_asked(const FinishAim *aim);
Finish finish_of(const FinishEar *ear, const FinishAim *aim);

#endif
