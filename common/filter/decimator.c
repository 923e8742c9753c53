/* SPDX-License-Identifier: ISC */
#include "filter/decimator.h"

#include "basic/maths.h"

#include <math.h>
#include <string.h>

enum { TAPS_PER_FRAME = 16 };
static const double BETA = 0.1102 * (120.0 - 8.7);

/* The modified Bessel function of order 0, by its series (Abramowitz and Stegun 1964, 9.6.12). */
static double bessel_i0(double x) {
    double term = 1.0, sum = 1.0;
    for (int k = 1; k < 40; k++) {
        term *= 0.25 * x * x / ((double)k * k);
        sum += term;
    }
    return sum;
}

static double tap(double frames, double half) {
    double x = PI * frames, across = frames / half;
    double sinc = fabs(x) < 1e-9 ? 1.0 : sin(x) / x;
    return sinc * bessel_i0(BETA * sqrt(fmax(0.0, 1.0 - across * across)));
}

static void design(Decimator *decimator) {
    double middle = 0.5 * (double)(decimator->n_taps - 1), sum = 0.0;
    double per_frame = 1.0 / (double)decimator->factor;
    for (size_t i = 0; i < decimator->n_taps; i++)
        sum += tap(((double)i - middle) * per_frame, middle * per_frame);
    for (size_t i = 0; i < decimator->n_taps; i++)
        decimator->taps[i] =
            (float)(tap(((double)i - middle) * per_frame, middle * per_frame) / sum);
}

bool decimator_prepare(Decimator *decimator, size_t factor, Arena *arena) {
    decimator->factor = factor;
    decimator->n_taps = TAPS_PER_FRAME * factor;
    decimator->taps = arena_take(arena, decimator->n_taps, sizeof(float));
    decimator->line = arena_take(arena, decimator->n_taps + factor, sizeof(float));
    if (!decimator->taps || !decimator->line)
        return false;
    design(decimator);
    decimator_reset(decimator);
    return true;
}

void decimator_reset(Decimator *decimator) {
    memset(decimator->line, 0, (decimator->n_taps + decimator->factor) * sizeof(float));
    decimator->state.taken = 0;
}

bool decimator_step(Decimator *decimator, float in, float *out) {
    decimator->line[decimator->n_taps + decimator->state.taken++] = in;
    if (decimator->state.taken < decimator->factor)
        return false;
    decimator->state.taken = 0;
    memmove(decimator->line, decimator->line + decimator->factor,
            decimator->n_taps * sizeof *decimator->line);
    *out = maths_dot(decimator->line, decimator->taps, decimator->n_taps);
    return true;
}
