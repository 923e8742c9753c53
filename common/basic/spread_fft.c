/* SPDX-License-Identifier: ISC */
#include "basic/spread_fft.h"

#include "basic/simd_math.h"

#include <math.h>

static const double PI = 3.14159265358979323846;

bool spread_fft_prepare(SpreadFft *fft, size_t size, Arena *arena) {
    size_t quarter = size / 4;
    fft->size = size;
    fft->passes = 0;
    for (size_t left = size; left > 1; left = left >= 4 ? left / 4 : 1)
        fft->passes++;
    fft->turn_re = arena_take(arena, 3 * quarter, sizeof(float));
    fft->turn_im = arena_take(arena, 3 * quarter, sizeof(float));
    if (!fft->turn_re || !fft->turn_im)
        return false;
    for (size_t r = 0; r < 3; r++)
        for (size_t j = 0; j < quarter; j++) {
            double angle = -2.0 * PI * (double)((r + 1) * j) / (double)size;
            fft->turn_re[r * quarter + j] = (float)cos(angle);
            fft->turn_im[r * quarter + j] = (float)sin(angle);
        }
    return true;
}

/* A butterfly is written once, for one value and for SIMD_WIDTH of them side by side, which are
 * then computed as each would be alone. */
#define BUTTERFLY(Name, Value, load, store, spread)                                                \
    static inline void Name(const SpreadFft *fft, const Spectrum *x, const Spectrum *y, size_t at, \
                            size_t to, size_t l, size_t turn) {                                    \
        size_t q = fft->size / 4;                                                                  \
        const float *re = fft->turn_re + turn, *im = fft->turn_im + turn;                          \
        Value ar = load(x->re + at), ai = load(x->im + at);                                        \
        Value br = load(x->re + at + q), bi = load(x->im + at + q);                                \
        Value cr = load(x->re + at + 2 * q), ci = load(x->im + at + 2 * q);                        \
        Value dr = load(x->re + at + 3 * q), di = load(x->im + at + 3 * q);                        \
        Value acr = ar + cr, aci = ai + ci, amr = ar - cr, ami = ai - ci;                          \
        Value bdr = br + dr, bdi = bi + di, bmr = br - dr, bmi = bi - di;                          \
        Value er = amr + bmi, ei = ami - bmr, fr = acr - bdr, fi = aci - bdi;                      \
        Value gr = amr - bmi, gi = ami + bmr;                                                      \
        Value ur = spread(re), ui = spread(im), vr = spread(re + q), vi = spread(im + q);          \
        Value wr = spread(re + 2 * q), wi = spread(im + 2 * q);                                    \
        store(y->re, to, l, 0, acr + bdr);                                                         \
        store(y->im, to, l, 0, aci + bdi);                                                         \
        store(y->re, to, l, 1, er *ur - ei * ui);                                                  \
        store(y->im, to, l, 1, er *ui + ei * ur);                                                  \
        store(y->re, to, l, 2, fr *vr - fi * vi);                                                  \
        store(y->im, to, l, 2, fr *vi + fi * vr);                                                  \
        store(y->re, to, l, 3, gr *wr - gi * wi);                                                  \
        store(y->im, to, l, 3, gr *wi + gi * wr);                                                  \
    }

static inline float load_one(const float *from) {
    return *from;
}

static inline Simd same_all(const float *from) {
    return simd_all(*from);
}

static inline void store_one(float *y, size_t to, size_t l, size_t r, float value) {
    y[to + r * l] = value;
}

static inline void store_all(float *y, size_t to, size_t l, size_t r, Simd value) {
    simd_store(y + to + r * l, value);
}

/* l = 1: four butterflies on end write four values each, side by side. */
static inline void store_apart(float *y, size_t to, size_t l, size_t r, Simd value) {
    (void)l;
    for (size_t i = 0; i < SIMD_WIDTH; i++)
        y[to + 4 * i + r] = value[i];
}

BUTTERFLY(one, float, load_one, store_one, load_one)
BUTTERFLY(four, Simd, simd_load, store_all, same_all)
BUTTERFLY(first_four, Simd, simd_load, store_apart, simd_load)

static void first_pass(const SpreadFft *fft, const Spectrum *x, const Spectrum *y, size_t from,
                       size_t end) {
    size_t i = from;
    for (; i + SIMD_WIDTH <= end; i += SIMD_WIDTH)
        first_four(fft, x, y, i, 4 * i, 1, i);
    for (; i < end; i++)
        one(fft, x, y, i, 4 * i, 1, i);
}

/* Steps from..end of the pass before which l points each were done. */
static void radix4(const SpreadFft *fft, const Spectrum *x, const Spectrum *y, size_t l,
                   size_t from, size_t end) {
    for (size_t i = from; i < end;) {
        size_t j = i / l, next = (j + 1) * l < end ? (j + 1) * l : end;
        size_t shift = 3 * j * l; /* 4 l j + k - (l j + k) */
        for (; i + SIMD_WIDTH <= next; i += SIMD_WIDTH)
            four(fft, x, y, i, i + shift, l, j * l);
        for (; i < next; i++)
            one(fft, x, y, i, i + shift, l, j * l);
    }
}

/* The last pass when N is no power of 4: all twiddles are 1. Two butterflies a step. */
static void radix2(const SpreadFft *fft, const Spectrum *x, const Spectrum *y, size_t from,
                   size_t end) {
    size_t half = fft->size / 2;
    const float *in[2] = {x->re, x->im};
    float *out[2] = {y->re, y->im};
    for (int part = 0; part < 2; part++)
        for (size_t i = 2 * from; i < 2 * end; i++) {
            float a = in[part][i], b = in[part][i + half];
            out[part][i] = a + b;
            out[part][i + half] = a - b;
        }
}

void spread_fft_run(const SpreadFft *fft, const Spectrum data[2], size_t from, size_t count) {
    size_t quarter = fft->size / 4, end = from + count;
    while (from < end) {
        size_t pass = from / quarter, begin = pass * quarter;
        size_t stop = begin + quarter < end ? begin + quarter : end;
        size_t l = (size_t)1 << (2 * pass);
        const Spectrum *x = &data[pass % 2], *y = &data[1 - pass % 2];
        if (l == 1)
            first_pass(fft, x, y, from - begin, stop - begin);
        else if (4 * l <= fft->size)
            radix4(fft, x, y, l, from - begin, stop - begin);
        else
            radix2(fft, x, y, from - begin, stop - begin);
        from = stop;
    }
}
