/* SPDX-License-Identifier: ISC */
/* pitch.h: the fundamental of a voice, by its difference function.
 *
 *     d(tau)  = sum over j >= 0 of w^j (x[t-2j] - x[t-2j-tau])^2
 *     d'(tau) = d(tau) tau / sum over k = 1..tau of d(k)
 *
 * Source: YIN, de Cheveigne and Kawahara, JASA 111(4), 2002, 1917-1930: the difference function,
 * its cumulative mean normalisation (step 3), the parabolic interpolation (step 5).
 * Three things differ:
 *
 * - The window is exponential, PITCH_WINDOW_MS, instead of rectangular. So d is kept up to date
 *   by d <- w d + (x[t] - x[t-tau])^2, the same work every frame, where a fresh window at every
 *   hop would cost more and in bursts.
 * - Every other frame counts in the sum. At the period each term is 0, counted or not;
 *   elsewhere 60 or so terms in the window are enough for the mean.
 * - The period is the smallest lag at a local minimum of d' of at most PITCH_TIE + 1.5 least,
 *   least being the smallest d' in the range (both between lags, by the parabola), where step 4
 *   takes the first one below a constant of 0.1. The authors say in their guide to the program
 *   that singing may need as little as 0.001, when a formant lifts a harmonic: d'(T/2) is then
 *   about twice the share of the odd partials in the power, however clean the voice. A bound
 *   relative to the best lag goes as low as the voice allows: of a clean one, an octave too high
 *   is taken only when the odd partials, the fundamental among them, hold less than
 *   PITCH_TIE / 2 = 1 % of the power. The 1.5 is for noise: it lifts d' at T, 2T, 3T alike but
 *   for chance, and the double must not win by chance.
 *
 * Before that the input is decimated to 9 kHz or somewhat more (windowed-sinc low-pass at a
 * quarter of that rate, Hamming window, 53 dB), since the period is in the lowest partials, and
 * what lies under the lowest fundamental is cut by 24 dB an octave.
 *
 * Valid for rates of 8 to 192 kHz. Within 5 cents on steady harmonic tones from 62 to 500 Hz, 15
 * cents to 1050 Hz. Readings come every PITCH_HOP_MS on the unit's own count of frames, and stand
 * for the sound of PITCH_WINDOW_MS ago. Passes no audio. Cost a second (2 GHz core): 0.35 ms at
 * 48 kHz, 0.6 ms at 192; at once, at the end of a hop, 0.7 us. */
#ifndef SISKIN_VOICE_PITCH_H
#define SISKIN_VOICE_PITCH_H

#include "basic/arena.h"
#include "filter/svf.h"

#include <stdbool.h>
#include <stddef.h>

#define PITCH_WINDOW_MS 12.0 /* time constant: 24 ms count as much as a window of 24 ms */
#define PITCH_HOP_MS 5.0
#define PITCH_TIE 0.02f

typedef struct {
    double lowest_hz; /* >= 40: what lies below is not looked for */
    double highest_hz;
} PitchRange;

typedef struct {
    float hz;           /* the best candidate, always in the range; 0 before there is any signal */
    float aperiodicity; /* d' there: 0 periodic, near 1 noise; YIN calls less than 0.1 voiced */
    float power; /* of the low band that was looked at, over the window; 1 is full scale DC */
} PitchReading;

typedef struct {
    size_t decimation; /* frames a decimated one */
    size_t n_taps;
    size_t hop;                 /* decimated frames */
    size_t lags;                /* d is kept for lags 1..lags, a multiple of 8 */
    size_t first_lag, last_lag; /* of the range */
    double low_rate_hz;
    float forget;  /* w */
    float *taps;   /* [n_taps] */
    float *line;   /* [n_taps + a hop] the last frames before the hop, and those taken since */
    float *past;   /* [hop + lags] the low band of the hop, the newest first, and before it */
    float *d;      /* [lags] d[i] is for lag i + 1 */
    float *normal; /* [lags] d' of the last hop, likewise */
    float *bottom; /* [lags] d' at the local minimum there, if there is one */
    struct {
        Svf low_cut[2];
        size_t taken; /* frames since the last hop */
        float energy; /* sum of w^j x^2 */
        PitchReading reading;
    } state;
} Pitch;

/* false: the arena is full or the range is empty. */
bool pitch_prepare(Pitch *pitch, double rate_hz, const PitchRange *range, Arena *arena);
void pitch_reset(Pitch *pitch);
/* Frames until the next reading, >= 1. */
size_t pitch_until(const Pitch *pitch);
/* Takes n <= pitch_until() frames. true: there is a new reading, as of the last of them. */
bool pitch_process(Pitch *pitch, const float *in, size_t n);
/* The decimated frames so far, the newest first: at least as many as there are lags. */
const float *pitch_low_band(const Pitch *pitch);
/* The last reading. */
PitchReading pitch_reading(const Pitch *pitch);

#endif
