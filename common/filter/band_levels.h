/* SPDX-License-Identifier: ISC */
/* band_levels.h: levels of up to seven adjoining bands, of all channels together, every half
 * millisecond.
 *
 * The chosen range is cut into bands of equal ratio, as near to 0.43 octaves as goes: about the
 * width of a critical band at 2 kHz (Zwicker, JASA 33, 248, 1961, from memory), and as long in its
 * response, some 0.7 ms there, as a click is short. Dividing a voice by its level in each band
 * makes it white: what is left is how far a moment stands out.
 *     h = x through two high-passes (Butterworth, 4th order) at 0.9 of the range's lower end
 *     v_b = h through a band-pass of 2nd order;  P_b = mean over the hop and the channels of v_b^2
 * all by the trapezoidal rule: the high-passes as in edge_filter.h, a band-pass in the direct form
 *     y_b[t] = h[t] - h[t-2] + c1 y_b[t-1] - c2 y_b[t-2];  v_b = k g a1 y_b
 *     c1 = 2 (1 - g^2) a1, c2 = (1 - k g + g^2) a1, a1 = 1 / (1 + k g + g^2), g = tan(pi f / rate),
 * k being the width over the centre f: all have the zeros in common, and the gain goes into the
 * mean, so that a band is two products. One more band, 90..1200 Hz by one broad band-pass without
 * the high-pass, tells what the voice does underneath.
 * Valid for 8..192 kHz; the range ends at 0.45 of the rate and spans a third of an octave at least.
 * Latency: the hop, and under 1 ms in the bands. Cost about 20 vector operations a frame for each
 * channel. */
#ifndef SISKIN_FILTER_BAND_LEVELS_H
#define SISKIN_FILTER_BAND_LEVELS_H

#include "basic/simd.h"

#include <stdbool.h>
#include <stddef.h>

enum {
    BAND_LEVELS_BANDS = 7, /* at most */
    BAND_LEVELS_LOW = 7,   /* index of the band below: 90..1200 Hz */
    BAND_LEVELS_ROW = 8,
    BAND_LEVELS_HALVES = 4, /* of the rows of both channels */
};

typedef struct {
    float low_hz, high_hz; /* the range, 20 Hz.. */
} BandLevelsParams;

/* Both high-passes of both channels: left 1, right 1, left 2, right 2. */
typedef struct {
    Simd p, q, r, d, e;
} BandLevelsCut;

typedef struct {
    double rate_hz;
    unsigned channels;
    size_t hop;   /* frames */
    size_t bands; /* 1..7 */
    float edge_hz[BAND_LEVELS_BANDS + 1];
    float gain[BAND_LEVELS_ROW];  /* of v_b over y_b */
    float scale[BAND_LEVELS_ROW]; /* from the sum of squares to mean power */
    BandLevelsCut cut;
    struct {
        Simd c1, c2;
    } band[2]; /* bands 0..3, 4..7 */
    struct {
        Simd ic1, ic2, cut_out;
        Simd before[2];              /* the last two frames: above, and whole */
        Simd y1[BAND_LEVELS_HALVES]; /* left 0..3, left 4..7, right 0..3, right 4..7 */
        Simd y2[BAND_LEVELS_HALVES];
        Simd sum[BAND_LEVELS_HALVES];
        size_t filled; /* frames in this hop */
    } state;
} BandLevels;

/* channels 1 or 2. Call with a zeroed struct, then band_levels_set. */
void band_levels_prepare(BandLevels *levels, double rate_hz, unsigned channels);
void band_levels_reset(BandLevels *levels);
/* Designs the bands; keeps the history. Computes in double. Any finite values: they are clamped. */
void band_levels_set(BandLevels *levels, const BandLevelsParams *params);

/* The history of another of the same rate and channels, with bands of its own. */
void band_levels_take_over(BandLevels *levels, const BandLevels *from);

/* Frames until the hop is full, 1..hop. */
static inline size_t band_levels_room(const BandLevels *levels) {
    return levels->hop - levels->state.filled;
}

/* Frames in[channel][at .. at + n), n <= room. true: the hop is full and power_out holds the mean
 * power of each band, 0 for those not in use. */
bool band_levels_process(BandLevels *levels, const float *const *in, size_t at, size_t n,
                         float power_out[BAND_LEVELS_ROW]);

#endif
