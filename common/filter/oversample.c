/* SPDX-License-Identifier: ISC */
#include "filter/oversample.h"

#include <math.h>
#include <stdbool.h>
#include <string.h>

static const double PI = 3.14159265358979323846;

/* M of each stage, and the beta of Kaiser's window, with which the worst stage
 * stops by 86 and by 60 dB. */
static const unsigned REACH[2][OVERSAMPLE_STAGES] = {{31, 9, 7}, {95, 9, 7}};
static const double BETA[2] = {9.6, 5.65};

/* A sequence of `count` interleaved phases: frame count i + p of it is of[p][i]; i may go back by
 * the past that was put in front. */
typedef struct {
    unsigned count;
    const float *of[OVERSAMPLE_PHASES];
} Phases;

/* ---- design ---- */

/* Modified Bessel function of the first kind, order 0, by its power series. */
static double bessel_i0(double x) {
    double sum = 1.0, term = 1.0;
    for (int k = 1; k < 40; k++) {
        term *= (x / (2.0 * k)) * (x / (2.0 * k));
        sum += term;
    }
    return sum;
}

/* Twice the tap `from` places off the middle, from odd, reach M. */
static double side_tap(unsigned from, unsigned reach, double beta) {
    double d = (double)from, at = d / ((double)reach + 1.0);
    double window = bessel_i0(beta * sqrt(1.0 - at * at)) / bessel_i0(beta);
    return 2.0 * sin(PI * d / 2.0) / (PI * d) * window;
}

void oversample_prepare(Oversample *over, unsigned stages, OversampleUse use) {
    memset(over, 0, sizeof *over);
    over->stages = stages;
    unsigned around = 0; /* frames of the high rate, up and down */
    for (unsigned s = 0; s < stages; s++) {
        unsigned reach = REACH[use][s], pairs = (reach + 1) / 2;
        double sum = 0.0;
        for (unsigned l = 0; l < pairs; l++)
            sum += 2.0 * side_tap(reach - 2 * l, reach, BETA[use]);
        for (unsigned l = 0; l < pairs; l++)
            over->stage[s].tap[l] = (float)(side_tap(reach - 2 * l, reach, BETA[use]) / sum);
        over->stage[s].reach = reach;
        over->stage[s].past = s == 0 ? reach + 1 : OVERSAMPLE_PAST_TOP;
        around += 2 * (reach << (stages - 1 - s));
    }
    for (unsigned s = 0; s < stages; s++)
        over->stage[s].early = (around >> (stages - 1 - s)) & 1;
}

void oversample_reset(Oversample *over) {
    memset(&over->state, 0, sizeof over->state);
}

size_t oversample_rise(const Oversample *over) {
    size_t frames = 0;
    for (unsigned s = 0; s < over->stages; s++)
        frames += (size_t)over->stage[s].reach << (over->stages - 1 - s);
    return frames;
}

size_t oversample_delay(const Oversample *over) {
    return 2 * oversample_rise(over) >> over->stages;
}

/* ---- frames ---- */

/* Frame i of the sequence `back` frames before phase q, as a pointer for i = 0. */
static inline const float *back_from(const Phases *x, unsigned q, unsigned back) {
    unsigned ahead = x->count * (1 + back / x->count) + q - back; /* > 0, whole rounds added */
    size_t rounds = 1 + back / x->count - ahead / x->count;
    return x->of[ahead % x->count] - rounds;
}

/* y[i] = sum over l of tap[l] x[j - l], j = count i + q; four pairs of taps at a time. */
static void filter(const Phases *x, unsigned q, unsigned reach, const float *tap, float *y,
                   size_t n) {
    unsigned pairs = (reach + 1) / 2, l = 0;
    memset(y, 0, n * sizeof *y);
    for (; l + 4 <= pairs; l += 4) {
        const float *a0 = back_from(x, q, l), *b0 = back_from(x, q, reach - l);
        const float *a1 = back_from(x, q, l + 1), *b1 = back_from(x, q, reach - l - 1);
        const float *a2 = back_from(x, q, l + 2), *b2 = back_from(x, q, reach - l - 2);
        const float *a3 = back_from(x, q, l + 3), *b3 = back_from(x, q, reach - l - 3);
        const float t0 = tap[l], t1 = tap[l + 1], t2 = tap[l + 2], t3 = tap[l + 3];
        for (size_t i = 0; i < n; i++)
            y[i] += (t0 * (a0[i] + b0[i]) + t1 * (a1[i] + b1[i])) +
                    (t2 * (a2[i] + b2[i]) + t3 * (a3[i] + b3[i]));
    }
    for (; l < pairs; l++) {
        const float *a = back_from(x, q, l), *b = back_from(x, q, reach - l);
        const float t = tap[l];
        for (size_t i = 0; i < n; i++)
            y[i] += t * (a[i] + b[i]);
    }
}

enum { ROOM = OVERSAMPLE_PAST + OVERSAMPLE_BLOCK };

/* Puts the past in front of each phase, and keeps the end of it for next time. */
static void join(float *past, size_t length, float line[][ROOM], size_t lines, size_t n) {
    for (size_t p = 0; p < lines; p++) {
        memcpy(line[p] + OVERSAMPLE_PAST - length, past + p * length, length * sizeof *past);
        memcpy(past + p * length, line[p] + OVERSAMPLE_PAST - length + n, length * sizeof *past);
    }
}

void oversample_up(Oversample *over, const float *in, OversampleTop top, size_t n) {
    float line[OVERSAMPLE_STAGES][OVERSAMPLE_PHASES / 2][ROOM];
    float *past = over->state.up;
    memcpy(line[0][0] + OVERSAMPLE_PAST, in, n * sizeof *in);
    for (unsigned s = 0; s < over->stages; s++) {
        Phases x = {.count = 1u << s};
        join(past, over->stage[s].past, line[s], x.count, n);
        past += (size_t)x.count * over->stage[s].past;
        for (unsigned p = 0; p < x.count; p++)
            x.of[p] = line[s][p] + OVERSAMPLE_PAST;
        unsigned reach = over->stage[s].reach;
        for (unsigned q = 0; q < x.count; q++) {
            bool last = s + 1 == over->stages;
            size_t even_phase = (size_t)2 * q;
            float *even = last ? top[even_phase] : line[s + 1][even_phase] + OVERSAMPLE_PAST;
            float *odd = last ? top[even_phase + 1] : line[s + 1][even_phase + 1] + OVERSAMPLE_PAST;
            filter(&x, q, reach, over->stage[s].tap, even, n);
            memcpy(odd, back_from(&x, q, (reach - 1) / 2), n * sizeof *odd);
        }
    }
}

/* One stage down: x[2 count][..] -> y[count][..]. */
static void down_stage(Oversample *over, unsigned s, float *past, float x[][ROOM], float y[][ROOM],
                       size_t n) {
    unsigned count = 1u << s, reach = over->stage[s].reach, early = over->stage[s].early;
    join(past, over->stage[s].past, x, (size_t)2 * count, n);
    Phases side = {.count = count}, middle = {.count = count};
    for (unsigned q = 0; q < count; q++) {
        size_t even_phase = (size_t)2 * q;
        side.of[q] = x[even_phase + early] + OVERSAMPLE_PAST;
        middle.of[q] = x[even_phase + 1 - early] + OVERSAMPLE_PAST;
    }
    for (unsigned q = 0; q < count; q++) {
        float *out = y[q] + OVERSAMPLE_PAST;
        filter(&side, q, reach, over->stage[s].tap, out, n);
        const float *centre = back_from(&middle, q, (reach + 1) / 2 - early);
        for (size_t i = 0; i < n; i++)
            out[i] = 0.5f * (out[i] + centre[i]);
    }
}

void oversample_down(Oversample *over, OversampleTop top, float *out, size_t n) {
    float line[2][OVERSAMPLE_PHASES][ROOM];
    unsigned from = 0;
    for (unsigned p = 0; p < 1u << over->stages; p++)
        memcpy(line[from][p] + OVERSAMPLE_PAST, top[p], n * sizeof *out);
    float *past = over->state.down;
    for (unsigned s = over->stages; s-- > 0; from = 1 - from) {
        down_stage(over, s, past, line[from], line[1 - from], n);
        past += (size_t)(2u << s) * over->stage[s].past;
    }
    memcpy(out, line[from][0] + OVERSAMPLE_PAST, n * sizeof *out);
}
