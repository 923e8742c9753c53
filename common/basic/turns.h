/* SPDX-License-Identifier: ISC */
/* turns.h: cosine and sine of an angle in turns, by multiplying and adding alone.
 *
 * For units that follow a frequency while audio runs: the maths library's last place differs
 * between systems. The angle is brought to an eighth of a turn (exactly: whole and half turns are
 * binary fractions), where Taylor's series (Abramowitz and Stegun 1964, 4.3.65 and 4.3.66) as far
 * as x^15 errs by less than (pi/4)^16 / 16! = 1e-15. */
#ifndef SISKIN_BASIC_TURNS_H
#define SISKIN_BASIC_TURNS_H

#include <math.h>

typedef struct {
    double re, im; /* cos and sin */
} Turned;

static inline Turned turned_by(double turns) {
    double quarter = floor(4.0 * turns + 0.5);
    double x = 6.283185307179586477 * (turns - 0.25 * quarter), x2 = x * x;
    double c = 1.0, s = 1.0;
    for (int n = 14; n > 0; n -= 2) {
        c = 1.0 - x2 / (double)(n * (n - 1)) * c;
        s = 1.0 - x2 / (double)(n * (n + 1)) * s;
    }
    s *= x;
    switch ((int)(quarter - 4.0 * floor(0.25 * quarter))) {
    case 0:
        return (Turned){c, s};
    case 1:
        return (Turned){-s, c};
    case 2:
        return (Turned){-c, -s};
    default:
        return (Turned){s, -c};
    }
}

#endif
