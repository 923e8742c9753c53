/* SPDX-License-Identifier: ISC */
/* aliases.h: what a processor makes of a sine that is none of its harmonics. */
#ifndef SISKIN_TESTS_ALIASES_H
#define SISKIN_TESTS_ALIASES_H

#include "basic/fft.h"

#include <math.h>
#include <stdlib.h>

enum { ALIASES_FRAMES = 1 << 16 };

/* Power from 20 Hz to 20 kHz of what is no harmonic of hz, over what is, dB, in ALIASES_FRAMES of
 * audio made of a sine of hz. Under the window of Blackman and Harris, four terms, whose main lobe
 * is 4 lines to either side and whose others are 92 dB down (Harris, Proc. IEEE 66(1), 1978); up to
 * 12 lines count as the harmonic's. Floats leave -120 dB. hz: such that no alias falls there. */
static inline double aliases_db(const float *audio, double rate_hz, double hz) {
    const double pi = 3.14159265358979323846;
    const size_t n = ALIASES_FRAMES, room = (size_t)1 << 21;
    void *memory = malloc(room);
    float *x = malloc(n * sizeof *x), *power = malloc((n / 2 + 1) * sizeof *power);
    Arena arena = arena_over(memory, room);
    Fft fft;
    if (!memory || !x || !power || !fft_prepare(&fft, n, &arena))
        exit(EXIT_FAILURE);
    for (size_t t = 0; t < n; t++) {
        double a = 2.0 * pi * (double)t / (double)n;
        x[t] = (float)((double)audio[t] * (0.35875 - 0.48829 * cos(a) + 0.14128 * cos(2.0 * a) -
                                           0.01168 * cos(3.0 * a)));
    }
    fft_power(&fft, x, power);
    double line = rate_hz / (double)n, harmonic = 0.0, alias = 0.0;
    for (size_t k = (size_t)(20.0 / line); (double)k * line < 20000.0; k++) {
        double off = fabs(remainder((double)k * line, hz)) / line;
        *(off <= 12.0 ? &harmonic : &alias) += (double)power[k];
    }
    free(power);
    free(x);
    free(memory);
    return 10.0 * log10(alias / harmonic);
}

#endif
