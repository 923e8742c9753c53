/* SPDX-License-Identifier: ISC */
#include "filter/spectral_centre.h"

#include "basic/maths.h"
#include "basic/one_pole.h"

#include <math.h>
#include <string.h>

static const double MEMORY_MS = 30.0;
static const float SILENCE = 1e-30f; /* mean square below which there is no spectrum to speak of */
static const float NARROWEST = 0.1f; /* spread over centre: a whistled /s/ must not make a notch */
static const float LOWEST_EDGE = 0.4f;   /* of the centre */
static const double HIGHEST_EDGE = 0.48; /* of the rate */
static const float WIDEST_OFFSET = 1.0f; /* radians: as far as the series for tan holds */

void spectral_centre_prepare(SpectralCentre *c, double steps_per_second) {
    memset(c, 0, sizeof *c);
    c->memory = (float)one_pole_coefficient(MEMORY_MS, steps_per_second);
}

void spectral_centre_reset(SpectralCentre *c) {
    memset(&c->state, 0, sizeof c->state);
}

void spectral_centre_set(SpectralCentre *c, double rate_hz, float low_hz, float high_hz) {
    c->low = (float)tan(PI * low_hz / rate_hz);
    c->high = (float)tan(PI * high_hz / rate_hz);
    c->top = (float)tan(PI * HIGHEST_EDGE);
}

CentreAndSpread spectral_centre_step(SpectralCentre *c, float power, float slope, float curve) {
    float p = c->state.power = one_pole_step(c->state.power, power, c->memory);
    float s = c->state.slope = one_pole_step(c->state.slope, slope, c->memory);
    float v = c->state.curve = one_pole_step(c->state.curve, curve, c->memory);
    if (p < SILENCE)
        return (CentreAndSpread){.g = sqrtf(c->low * c->high), .spread = 0.0f};
    /* u within (0, 1) whatever rounding did. */
    float u = fminf(fmaxf(0.25f * s / p, 1e-6f), 0.999f);
    float variance = fmaxf(0.0625f * v / p - u * u, 0.0f);
    float g = sqrtf(u / (1.0f - u));
    float spread = 0.5f * sqrtf(variance / (u * (1.0f - u)));
    return (CentreAndSpread){.g = fminf(fmaxf(g, c->low), c->high), .spread = spread};
}

/* tan x for |x| <= 1: Taylor to x^9, within 1 % there and 1e-4 below 0.5. */
static float small_tan(float x) {
    float x2 = x * x;
    return x * (1.0f + x2 * (0.333333333f +
                             x2 * (0.133333333f + x2 * (0.0539682540f + x2 * 0.0218694885f))));
}

void spectral_centre_edges(const SpectralCentre *c, CentreAndSpread now, float below, float above,
                           float *low, float *high) {
    float g = now.g;
    /* A relative deviation e of the frequency is, near g, an angle of e g / (1 + g^2) at least. */
    float spread = fmaxf(now.spread, NARROWEST * g / (1.0f + g * g));
    float down = small_tan(fminf(below * spread, WIDEST_OFFSET));
    float up = small_tan(fminf(above * spread, WIDEST_OFFSET));
    *low = fmaxf((g - down) / (1.0f + g * down), LOWEST_EDGE * g);
    /* tan(a + b); past a right angle it would come back negative. */
    float rest = 1.0f - g * up;
    *high = rest * c->top > g + up ? (g + up) / rest : c->top;
}

float spectral_centre_hz(double rate_hz, float g) {
    return (float)(rate_hz / PI * atan((double)g));
}
