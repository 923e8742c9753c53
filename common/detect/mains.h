/* SPDX-License-Identifier: ISC */
/* mains.h: hum of the mains as it is heard in the gaps: 50 or 60 Hz, how much off, which harmonics.
 *
 * The audio is brought down to about 2.7 kHz (two second-order Butterworth low-passes at 900 Hz,
 * then every M-th frame). Every 256 of these, some 95 ms, the last 1024 are transformed under a
 * Hann window, the work spread over the 95 ms after. At each harmonic f, A_j being the bin nearest
 * to it,
 *     P(f) = |A_{j-1}|^2 + |A_j|^2 + |A_{j+1}|^2
 * and beside it the mean of P at f +- 10 Hz. Only windows that the caller says were room all along
 * count, by their mean, of the last 30 at most: a harmonic is there when P is over 4 + 72 / n times
 * what is beside it, and until it is under twice; n is what the windows are worth, their number
 * times (mean of sqrt P)^2 / mean of P beside it, a quarter of it at least, since those before a
 * room became louder say next to nothing. So single windows of noise, whose ratio is distributed as
 * F with 4 and 8 degrees of freedom and over 40 once in 4e4, are no hum. One of the first three
 * must be there, and of two series the one with more power is the mains (300 Hz belongs to both).
 * The frequency follows from how far the harmonics' phases turned between two windows one hop apart
 * (as in a phase vocoder; Flanagan and Golden, Bell Syst. Tech. J. 45, 1966), the mean of all that
 * are there. Each window counts by what it is worth against what is known,
 *     worth = sum of k^2 sure P / beside,  known = worth + max(0.7 known, 2000)
 *     f += off worth / known
 * so that hum deep in noise moves the frequency little, plain hum at once, and noise where no
 * harmonic is not at all; within 0.5 Hz of the nominal one.
 *
 * Hum sounds all the time, so that no harmonic of it is stronger than what any window holds at f,
 * of words or room. The least P of the last 6 to 12 s bounds it, windows that silence is cut into
 * left out. Where noise is as strong as the tone that may dip by chance, so the mean of the room's
 * windows counts, too; and hum may have begun since, so does that of the last four. A note beside
 * it may take off as much as it adds: with 3 dB of room a quarter of 19 takes kept half of their
 * hum, with 10 dB none did.
 *
 * After two windows, 0.5 s of room in all. Valid for 8..192 kHz. Latency: a window is judged a hop
 * after its end. Cost: two filters and some 40 operations a frame; 3000 at the end of a hop. */
#ifndef SISKIN_DETECT_MAINS_H
#define SISKIN_DETECT_MAINS_H

#include "basic/arena.h"
#include "basic/spread_fft.h"
#include "filter/svf.h"

#include <stdbool.h>
#include <stddef.h>

enum { MAINS_HARMONICS = 12, MAINS_SERIES = 2, MAINS_WINDOW = 1024, MAINS_HOP = 256 };

typedef struct {
    double hz;
    double known;                /* what hz is worth: see `known` above */
    bool is[MAINS_HARMONICS];    /* [k] is harmonic k + 1 */
    float sure[MAINS_HARMONICS]; /* how surely, 0..1: not 0 where it is there */
    float tone[MAINS_HARMONICS], beside[MAINS_HARMONICS];
    float root[MAINS_HARMONICS];     /* mean of the root of `beside` */
    float latest[MAINS_HARMONICS];   /* mean P of the last 4 windows of room or so */
    float least[2][MAINS_HARMONICS]; /* least P of these windows so far, and of as many before */
} MainsSeries;

/* What one window says of one series. */
typedef struct {
    size_t bin[MAINS_HARMONICS];                    /* j */
    float re[MAINS_HARMONICS], im[MAINS_HARMONICS]; /* A_j */
    float tone[MAINS_HARMONICS], beside[MAINS_HARMONICS];
} MainsWindow;

typedef struct {
    size_t decimation; /* frames a decimated one */
    double low_rate_hz;
    SpreadFft fft;
    float *ring, *hann; /* [MAINS_WINDOW] decimated frames */
    Spectrum data[2];
    size_t needed;   /* frames of room on end before a window is judged to be room */
    Svf low_pass[2]; /* history too */
    struct {
        size_t skipped, at;  /* frames; decimated ones of this hop */
        size_t oldest;       /* in the ring */
        size_t windows;      /* counted, as far as matters */
        size_t sounding;     /* frames since the last cut, as far as matters */
        size_t zeros;        /* frames of 0 on end */
        size_t whole;        /* windows that count for `least` now */
        bool room, in_a_row; /* the window being transformed is room; the one before it was, too */
        bool no_cut;         /* no silence is cut into the window being transformed */
        MainsWindow now[MAINS_SERIES], before[MAINS_SERIES];
        MainsSeries series[MAINS_SERIES];
    } state;
} Mains;

/* late: how many frames ago, at most, what mains_process is told as `quiet` ended; a twentieth of a
 * window or so, since there the window has next to no weight. false: the arena is full. */
bool mains_prepare(Mains *mains, double rate_hz, size_t late, Arena *arena);
void mains_reset(Mains *mains);
/* n frames; quiet: frames of room on end, up to `late` ago. */
void mains_process(Mains *mains, const float *in, size_t n, size_t quiet);
/* Whether enough was heard, four windows, to tell that there is no hum. */
bool mains_judged(const Mains *mains);
/* How surely harmonic k + 1 is there and the mains': at most as surely as any of the first
 * three. */
float mains_sure(const MainsSeries *series, size_t k);
/* The mean square that harmonic k + 1 of a series at hz, 50 or 60 or near, may have: 10 dB more
 * than was heard. INFINITY as long as nothing is known of it. */
float mains_most(const Mains *mains, double hz, size_t k);
/* nominal_hz: 50, 60, or 0 for whichever there is. NULL: no hum is known. */
const MainsSeries *mains_found(const Mains *mains, double nominal_hz);

#endif
