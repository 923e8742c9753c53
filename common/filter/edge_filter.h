/* SPDX-License-Identifier: ISC */
/* edge_filter.h: Butterworth high-pass and low-pass at the two ends of a band, for up to two
 * channels, whose corners and slope may move at any time without being heard.
 *
 * A Butterworth filter of order 2n is n second-order sections of one corner with
 * Q_i = 1 / (2 cos(pi (2i + 1) / 4n)), i = 0..n-1 (S. Butterworth, "On the theory of filter
 * amplifiers", Experimental Wireless 7, 1930): |H|^2 = 1 / (1 + (fc/f)^(4n)) high, (f/fc)^(4n) low.
 * Sections are state-variable filters (svf.h) with the same warp, tan(pi f / rate), in terms of
 * their states alone: with v1 and v2 put into the other lines, out = m0 x + m1 v1 + m2 v2 becomes
 *     v = x - ic2;  out = m ic2 + e ic1 + d v;  ic1 <- p ic1 + q v;  ic2 <- ic2 + q ic1 + r v
 *     p = 2 a1 - 1, q = 2 a2, r = 2 a3, d = m0 + m1 a2 + m2 a3, e = m1 a1 + m2 a2, m = m0 + m2
 * which is the same filter, but a frame waits for the one before it through three operations
 * instead of five, and that is what the time of a cascade hangs on.
 *
 * Whatever is set is a goal, and is approached by two one-poles in series, so that it starts and
 * arrives without a corner: of EDGE_FALL_MS each for the low corner, EDGE_BLEND_MS for the rest.
 * The low corner rises by no more than an octave in EDGE_RISE_MS. Coefficients are designed every
 * EDGE_TICK_MS on the unit's own count of frames, and run in a straight line in between. At rest
 * nothing changes, to the bit.
 * A section that comes or goes is blended in, out = x + weight (filtered - x), while the Qs move
 * to those of the new order.
 *
 * Moving a corner turns the phase of what is near it, which is a shift in frequency while it
 * lasts: by at most 2 Q a section and neper of corner, 3.7 rad for order 4 at the corner itself.
 * Rising by ln 2 nepers in 0.5 s shifts by 3.7 ln 2 / (0.5 2 pi) = 0.8 Hz at the most, half of
 * that where the voice is. Falling is quicker, since a voice is waiting to be let through.
 *
 * Turning the phase also raises peaks, of a voice whose wave is lopsided most. At rest and whatever
 * comes in, no more than the sum of the impulse response's magnitudes: 7.7, 10.1, 11.6, 12.7 dB for
 * 12, 24, 36, 48 dB an octave, 1.2 dB more with the low-pass. Of voices 24 dB an octave raises the
 * peak of a phrase by some 1 to 3 dB (`make quality`). The loss of rumble is not counted.
 *
 * Valid for low_hz 10..0.1 rate; high_hz is off at 0 or above 0.49 rate. Latency 0. Cost at rest
 * some 13 operations a frame and section for two channels as for one; half as many again while it
 * moves. */
#ifndef SISKIN_FILTER_EDGE_FILTER_H
#define SISKIN_FILTER_EDGE_FILTER_H

#include "basic/simd.h"

#include <stdbool.h>
#include <stddef.h>

#define EDGE_FALL_MS 20.0
#define EDGE_RISE_MS 500.0 /* an octave */
#define EDGE_BLEND_MS 10.0
#define EDGE_TICK_MS 1.0

enum {
    EDGE_CHANNELS = 2,
    EDGE_LOW_PASS = 2,  /* sections of the low-pass, which come first: 24 dB an octave */
    EDGE_HIGH_PASS = 4, /* most sections of the high-pass */
    EDGE_SECTIONS = EDGE_LOW_PASS + EDGE_HIGH_PASS,
};

typedef struct {
    double low_hz;  /* corner of the high-pass */
    unsigned pairs; /* its order / 2: 1..4 for 12..48 dB an octave */
    double high_hz; /* corner of the low-pass; 0: none */
} EdgeFilterParams;

/* A value on its way to its goal, by two one-poles. */
typedef struct {
    double goal, first, value;
} EdgeGlide;

/* Coefficients of a section: p, q, r, d, e, m. */
enum { EDGE_COEFFICIENTS = 6 };
typedef struct {
    Simd of[EDGE_COEFFICIENTS]; /* in lanes 0 and 1, a channel each */
} EdgeSection;

typedef struct {
    double rate_hz;
    unsigned channels;
    size_t tick;          /* frames */
    double follow, blend; /* poles, a tick */
    double steepest;      /* rise of the low corner, a factor a tick */
    EdgeFilterParams params;
    struct {
        bool fresh; /* nothing has run yet: goals are met at once */
        size_t at;  /* frames since the last tick */
        bool low_pass_moves;
        bool moves;            /* coefficients run during this tick */
        bool settled;          /* every goal was met at the last tick, and none was set since */
        unsigned first, count; /* sections at work: a run of them, since the low-pass comes first */
        EdgeGlide low, high;
        double warped_low, warped_high;   /* tan(pi f / rate) of where these are */
        EdgeGlide damping[EDGE_SECTIONS]; /* 1/Q */
        EdgeGlide weight[EDGE_SECTIONS];
        EdgeSection now[EDGE_SECTIONS], step[EDGE_SECTIONS], next[EDGE_SECTIONS];
        Simd ic1[EDGE_SECTIONS], ic2[EDGE_SECTIONS];
    } state;
} EdgeFilter;

void edge_filter_prepare(EdgeFilter *filter, double rate_hz, unsigned channels);
/* History := silence; the next frame starts at the goals then set. */
void edge_filter_reset(EdgeFilter *filter);
void edge_filter_set(EdgeFilter *filter, const EdgeFilterParams *params);
/* The low corner now, in Hz. */
double edge_filter_low_hz(const EdgeFilter *filter);
/* n frames of every channel; in may equal out. */
void edge_filter_process(EdgeFilter *filter, const float *const *in, float *const *out, size_t n);

#endif
