/* SPDX-License-Identifier: ISC */
/* ballistics.h: how fast a reduction in dB comes and goes.
 *
 *     y[n] = x + a (y[n-1] - x),   a = aA when x > y[n-1], else aR        (smooth branching)
 *     z = y through two one-poles of BALLISTICS_SMOOTH_MS
 *
 * Source of the first line: Giannoulis, Massberg, Reiss, JAES 60(6), 2012, eq. 17, working on the
 * gain computer's reduction in dB as they recommend: no lag below the threshold, and a release that
 * is exponential in dB. Of their two smooth detectors the branching one is used since its release
 * is tauR exactly, whatever the attack; the decoupled one's is near tauR + tauA.
 *
 * The second line is what keeps a fast attack from clicking. The first alone starts with a corner,
 * G/tauA dB a second for a step of G dB: at 0.1 ms that is a step, and even at 10 ms the corner
 * scatters energy over the whole band, falling by no more than 12 dB an octave. Behind the two
 * poles a step of G falls by 24 dB an octave above 1/(2 pi BALLISTICS_SMOOTH_MS) = 480 Hz, and the
 * slope is bounded: their impulse response t/s^2 exp(-t/s) is at most 1/(e s), and y never moves by
 * more than G, so that |dz/dt| <= G / (e s) = 1.1 G a ms. (With the attack's own pole at its
 * shortest, s too: 2 exp(-2) / s = 0.81 G a ms.)
 *
 * The attack time given is that of the whole chain: the first moment of its step response, which
 * for poles in series is the sum of their time constants (Elmore, J. Appl. Phys. 19, 1948). So the
 * pole takes attack - 2 s, but no less than s: no attack is shorter than 3 s = 1 ms.
 * After the input falls, z - x falls by 1/e in each release_ms once the attack's poles are over.
 *
 * All in double: in float, time constants of seconds at 192 kHz would be 3 % off and stop short of
 * their goal (one_pole.h). Latency 0. Cost about 12 operations a frame. */
#ifndef SISKIN_GAIN_BALLISTICS_H
#define SISKIN_GAIN_BALLISTICS_H

#include <stddef.h>

/* s: a third of the shortest attack. 1 ms is the length of fade that hides a cut in a steady tone
 * (common practice); the click test in tests/test_ballistics.c has the figures. */
#define BALLISTICS_SMOOTH_MS (1.0 / 3.0)

typedef struct {
    float attack_ms;
    float release_ms;
} BallisticsParams;

typedef struct {
    double rate_hz;
    BallisticsParams params;
    double attack, release, smooth; /* poles */
    struct {
        double y, z1, z2; /* dB */
    } state;
} Ballistics;

void ballistics_prepare(Ballistics *ballistics, double rate_hz);
/* To 0 dB. */
void ballistics_reset(Ballistics *ballistics);
void ballistics_set(Ballistics *ballistics, const BallisticsParams *params);
/* Wanted reduction in dB, >= 0 -> reduction now; exactly 0 once it is below 1e-7 dB, where a gain
 * in float is 1 anyway. n frames; the arrays may be the same. */
void ballistics_process(Ballistics *ballistics, const float *wanted_db, float *reduction_db,
                        size_t n);

#endif
