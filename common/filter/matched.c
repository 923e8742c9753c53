/* SPDX-License-Identifier: ISC */
#include "filter/matched.h"

#include "basic/decibel.h"

#include <math.h>

static const double PI = 3.14159265358979323846;

/* B0, B1, B2 of the header: |polynomial|^2 at 0, at half the rate, and the bend between them. */
typedef struct {
    double at_zero, at_half, bend;
} Magnitude;

static Magnitude magnitude_of(double c1, double c2) {
    double low = 1.0 + c1 + c2, high = 1.0 - c1 + c2;
    return (Magnitude){low * low, high * high, -4.0 * c2};
}

static double sine_squared(double w) {
    double s = sin(0.5 * w);
    return s * s;
}

static double magnitude_at(const Magnitude *m, double phi1) {
    double phi0 = 1.0 - phi1;
    return m->at_zero * phi0 + m->at_half * phi1 + 4.0 * m->bend * phi0 * phi1;
}

/* a1, a2 of the poles at angular frequency w a sample with damping `damping` (1: critical). */
static void place_poles(Matched *f, double w, double damping) {
    double along = sqrt(fabs(1.0 - damping * damping)) * w;
    f->a1 = -2.0 * exp(-damping * w) * (damping <= 1.0 ? cos(along) : cosh(along));
    f->a2 = exp(-2.0 * damping * w);
}

/* The minimum-phase b of that magnitude. fmax: rounding may leave the root of 0 below 0. */
static void take_zeros(Matched *f, const Magnitude *m) {
    double low = sqrt(fmax(m->at_zero, 0.0)), high = sqrt(fmax(m->at_half, 0.0));
    double middle = 0.5 * (low + high);
    f->b0 = 0.5 * (middle + sqrt(fmax(middle * middle + m->bend, 0.0)));
    f->b1 = 0.5 * (low - high);
    f->b2 = -0.25 * m->bend / f->b0;
}

static Matched inverse(const Matched *f) {
    return (Matched){1.0 / f->b0, f->a1 / f->b0, f->a2 / f->b0, f->b1 / f->b0, f->b2 / f->b0};
}

double matched_q(double octaves) {
    return 0.5 / sinh(0.5 * log(2.0) * octaves);
}

Matched matched_bell(double rate_hz, double hz, double q, double gain_db) {
    Matched f = {.b0 = 0.0};
    double w = 2.0 * PI * hz / rate_hz, gain = decibel_to_gain(fabs(gain_db));
    place_poles(&f, w, 0.5 / (sqrt(gain) * q));
    Magnitude a = magnitude_of(f.a1, f.a2);
    double phi1 = sine_squared(w), phi0 = 1.0 - phi1, apart = phi0 - phi1;
    /* |H|^2 = gain^2 at w, and its slope there 0. */
    double value = magnitude_at(&a, phi1) * gain * gain;
    double slope = (a.at_half - a.at_zero + 4.0 * apart * a.bend) * gain * gain;
    Magnitude b = {.at_zero = a.at_zero,
                   .bend = (value - slope * phi1 - a.at_zero) / (4.0 * phi1 * phi1)};
    b.at_half = slope + a.at_zero - 4.0 * apart * b.bend;
    take_zeros(&f, &b);
    return gain_db < 0.0 ? inverse(&f) : f;
}

/* |H|^2 of the analogue shelf; x = f / f0. */
static double shelf_power(double x, double a) {
    double x2 = x * x, middle = 2.0 * a * x2;
    double above = a * x2 - 1.0, below = x2 - a;
    return a * a * (above * above + middle) / (below * below + middle);
}

Matched matched_high_shelf(double rate_hz, double hz, double gain_db) {
    static const double QUARTER = 0.25, NEAR_HALF = 0.45;
    Matched f = {.b0 = 0.0};
    double a = pow(10.0, -fabs(gain_db) / 40.0), share = hz / rate_hz;
    place_poles(&f, 2.0 * PI * share * sqrt(a), sqrt(0.5));
    Magnitude poles = magnitude_of(f.a1, f.a2);
    double at[2] = {fmin(share, QUARTER), NEAR_HALF}, phi1[2], left[2];
    for (int i = 0; i < 2; i++) {
        phi1[i] = sine_squared(2.0 * PI * at[i]);
        double power = shelf_power(at[i] / share, a) * magnitude_at(&poles, phi1[i]);
        /* What B1 phi1 + 4 B2 phi0 phi1 must make, over phi1. */
        left[i] = (power - poles.at_zero * (1.0 - phi1[i])) / phi1[i];
    }
    Magnitude b = {.at_zero = poles.at_zero,
                   .bend = (left[0] - left[1]) / (4.0 * (phi1[1] - phi1[0]))};
    b.at_half = left[0] - 4.0 * b.bend * (1.0 - phi1[0]);
    take_zeros(&f, &b);
    return gain_db > 0.0 ? inverse(&f) : f;
}
