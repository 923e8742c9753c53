/* SPDX-License-Identifier: ISC */
#include "siskin/page/rate.h"

#include "siskin/text.h"

#include <math.h>
#include <stdbool.h>
#include <stdlib.h>

static const double PI = 3.14159265358979323846;

/* The modified Bessel function of order 0, by its series. */
static double bessel(double x) {
    double sum = 1.0, term = 1.0;
    for (int k = 1; k < 60; k++) {
        term *= 0.25 * x * x / ((double)k * (double)k);
        sum += term;
    }
    return sum;
}

static double windowed_sinc(double u) {
    double share = u / RATE_HALF;
    double window =
        share < 1.0 ? bessel(RATE_BETA * sqrt(1.0 - share * share)) / bessel(RATE_BETA) : 0.0;
    return window * (u == 0.0 ? 1.0 : sin(PI * u) / (PI * u));
}

static uint64_t common_divisor(uint64_t a, uint64_t b) {
    while (b) {
        uint64_t rest = a % b;
        a = b;
        b = rest;
    }
    return a;
}

/* The weights of a frame that lies `part` of an old frame after the middle one. */
static void make_phase(const Rate *rate, double part, float *table) {
    for (size_t k = 0; k < rate->taps; k++) {
        double away = fabs((double)k - (double)rate->reach - part);
        table[k] = (float)(rate->cut * windowed_sinc(rate->cut * away));
    }
}

void rate_open(Rate *rate, uint64_t from_hz, uint64_t to_hz) {
    uint64_t common = common_divisor(from_hz, to_hz);
    *rate = (Rate){.from = from_hz / common, .to = to_hz / common};
    rate->cut = RATE_SHARE * fmin(1.0, (double)to_hz / (double)from_hz);
    rate->reach = (size_t)ceil(RATE_HALF / rate->cut);
    rate->taps = (2 * rate->reach + 2 + RATE_LANES - 1) / RATE_LANES * RATE_LANES;
    rate->table = text_take((size_t)rate->to * rate->taps, sizeof *rate->table);
    for (uint64_t phase = 0; phase < rate->to; phase++)
        make_phase(rate, (double)phase / (double)rate->to, rate->table + phase * rate->taps);
}

void rate_close(Rate *rate) {
    free(rate->table);
    *rate = (Rate){0};
}

static float product(const float *x, const float *h, size_t taps) {
    float lane[RATE_LANES] = {0.0f};
    for (size_t k = 0; k < taps; k += RATE_LANES)
        for (size_t j = 0; j < RATE_LANES; j++)
            lane[j] += x[k + j] * h[k + j];
    for (size_t half = RATE_LANES / 2; half; half /= 2)
        for (size_t j = 0; j < half; j++)
            lane[j] += lane[j + half];
    return lane[0];
}

/* As product, where some of the frames lie outside. */
static float product_at_edge(const float *x, int64_t from, size_t count, const float *h,
                             size_t taps) {
    float sum = 0.0f;
    for (size_t k = 0; k < taps; k++) {
        int64_t at = from + (int64_t)k;
        if (at >= 0 && at < (int64_t)count)
            sum += x[at] * h[k];
    }
    return sum;
}

void rate_make(const Rate *rate, const float *x, uint64_t begin, size_t count, uint64_t first,
               float *y, size_t n) {
    for (size_t i = 0; i < n; i++) {
        uint64_t at = (first + i) * rate->from;
        const float *h = rate->table + at % rate->to * rate->taps;
        int64_t from = (int64_t)(at / rate->to) - (int64_t)rate->reach - (int64_t)begin;
        bool inside = from >= 0 && from + (int64_t)rate->taps <= (int64_t)count;
        y[i] = inside ? product(x + from, h, rate->taps)
                      : product_at_edge(x, from, count, h, rate->taps);
    }
}
