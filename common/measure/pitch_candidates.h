/* SPDX-License-Identifier: ISC */
/* pitch_candidates.h: what the pitch of a voice may be, a few candidates every 5 ms.
 *
 * The autocorrelation of a windowed stretch of three of the longest periods, over that of the
 * window:
 *     r(tau) = r_xw(tau) / r_xw(0) / (r_w(tau) / r_w(0))
 * is 1 at the period of a periodic sound, and S / (S + N) at that of one in noise, however long the
 * lag. Source: Boersma, "Accurate short-term analysis of the fundamental frequency and the
 * harmonics-to-noise ratio of a sampled sound", Proc. IFA Amsterdam 17, 1993, 97-110, with a Hann
 * window. The largest maxima of r are candidates; where one lies between two lags is told by a
 * parabola through r there, brought to a quarter of a lag by a windowed sinc. Which of them it was,
 * or none, pitch_path.h decides once the whole take is known: so breathy, creaky and noisy voices
 * are followed where pitch.h, which must decide at once, says nothing.
 *
 * Before that the sound is decimated to 12 kHz or somewhat more (what counts lies under 3 kHz), and
 * what lies under the lowest pitch is cut by 24 dB an octave.
 * Valid for 8..192 kHz; within 5 cents on steady tones from 60 Hz to 1.1 kHz. Passes no audio.
 * Cost a second: some 20 million multiplications. */
#ifndef SISKIN_MEASURE_PITCH_CANDIDATES_H
#define SISKIN_MEASURE_PITCH_CANDIDATES_H

#include "basic/arena.h"
#include "filter/decimator.h"
#include "filter/svf.h"

#include <stdbool.h>
#include <stddef.h>

#define PITCH_CANDIDATES_LOWEST_HZ 60.0
#define PITCH_CANDIDATES_HIGHEST_HZ 1100.0
#define PITCH_CANDIDATES_HOP_S 0.005

enum { PITCH_CANDIDATES = 6 };

typedef struct {
    float hz[PITCH_CANDIDATES];       /* 0: there are no more */
    float strength[PITCH_CANDIDATES]; /* r there, 0..1 */
    float level;                      /* RMS of the stretch under its window */
} PitchMoment;

typedef struct {
    double rate_hz, low_rate_hz;
    size_t window;          /* decimated frames, a multiple of 8 */
    size_t first_lag, lags; /* a candidate lies between these */
    float *taper;           /* [window] */
    float *over;            /* [lags + 2 + side] 1 over the window's own autocorrelation */
    float *past;            /* [window] the decimated frames before now */
    float *tapered;         /* [2 window] the stretch under its window, and as much silence */
    float *r;               /* [lags + 2 + side] */
    Decimator decimator;
    double hop; /* frames */
    struct {
        Svf low_cut[2];
        double until; /* the next moment, in frames from the last one */
        PitchMoment moment;
    } state;
} PitchCandidates;

/* false: the arena is full. */
bool pitch_candidates_prepare(PitchCandidates *pitch, double rate_hz, Arena *arena);
void pitch_candidates_reset(PitchCandidates *pitch);
/* One frame in. true: there is a new moment, in state.moment. */
bool pitch_candidates_step(PitchCandidates *pitch, float in);
/* Seconds of the middle of what moment k, counted from 0, tells of. */
double pitch_candidates_s(const PitchCandidates *pitch, size_t k);

#endif
