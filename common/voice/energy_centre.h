/* SPDX-License-Identifier: ISC */
/* energy_centre.h: where in a period of a voice the energy of its slope lies.
 *
 *     e[t] = (x[t+1] - x[t-1])^2,   w(u) = (1 + cos(pi u)) / 2
 *     Z = sum over |j| < P of e[a+j] w(j / P) exp(-i 2 pi j / P),   E = sum over |j| < P of e[a+j] w(j / P)
 *     the centre lies P arg(Z*) / 2 pi after a;   depth = |Z| / E, 0 where e is even over the period, 1 for a pulse
 *
 * Z is the first harmonic of e, and no other: w is 0 at the other multiples of 1 / P, its mean
 * among them. It says how much a grain holds: one cut a place o after the centre, under the window
 * w over two periods (grains.h), has of e
 *     3/8 + depth cos(2 pi o / P) / 8
 * (w^2 has the frequencies 0, 1 / 2P and 1 / P, and e the first and the last of these): up to 3 dB
 * more at the centre than half a period off. The centre is a sum over two periods, so that a little
 * noise moves it a little, where the highest sample of a period leaps from one peak to another.
 *
 * The slope, and not x: what rings longest is the lowest formant, and the energy of x is centred a
 * millisecond or two after the glottis closed. About that place the partials below the formant are
 * half a turn apart, and a grain moved by a fifth, which takes its fundamental from two of them,
 * loses it. The slope has more of what is over quickly. Own derivation.
 *
 * arg by atan x = x (pi / 4 + 0.273 (1 - x)), x of 0..1, of Rajan, Wang, Inkol, Joyal, "Efficient
 * approximations for the arctangent function", IEEE Signal Processing Magazine 23(3), 2006: within
 * 0.0038 rad, 0.06 % of a period, and the same bits everywhere. Windows are tabled at
 * ENERGY_CENTRE_STEPS places a period. Valid for P >= 4. Cost: 16 P operations. */
#ifndef SISKIN_VOICE_ENERGY_CENTRE_H
#define SISKIN_VOICE_ENERGY_CENTRE_H

#include "basic/arena.h"

#include <stdbool.h>

enum { ENERGY_CENTRE_STEPS = 256 };

typedef struct {
    float *all, *even, *odd; /* [ENERGY_CENTRE_STEPS + 1]: w, w cos, w sin, for u of 0..1 */
} EnergyWindows;

typedef struct {
    double after; /* of a period, -0.5..0.5: how far after the place that was asked about */
    double depth; /* 0..1 */
} EnergyCentre;

/* false: the arena is full. */
bool energy_windows_prepare(EnergyWindows *windows, Arena *arena);
/* About the place x + fraction, 0 <= fraction < 1; what is less than a period and two values away
 * must be there. */
EnergyCentre energy_centre(const EnergyWindows *windows, const float *x, double fraction,
                           double period);

#endif
