/* SPDX-License-Identifier: ISC */
#include "basic/spread_fft.h"
#include "run_tcase.h"
#include "signals.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

static const double pi = 3.14159265358979323846;

enum { LARGEST = 4096, MEMORY = 1 << 17 };
static unsigned char memory[MEMORY];
static float store[2][2][LARGEST], was[2][LARGEST], other[2][LARGEST];
static const Spectrum data[2] = {{store[0][0], store[0][1]}, {store[1][0], store[1][1]}};

static SpreadFft make(size_t size) {
    SpreadFft fft;
    Arena arena = arena_over(memory, MEMORY);
    ck_assert(spread_fft_prepare(&fft, size, &arena));
    return fft;
}

static void fill(size_t size, unsigned long long seed) {
    Random random = random_seeded(seed);
    printf("seed %llu\n", seed);
    for (int part = 0; part < 2; part++) {
        signals_noise(was[part], size, 1.0, &random);
        memcpy(store[0][part], was[part], size * sizeof(float));
    }
}

/* The definition, in double. Each of log2 N levels rounds a few times, 2^-24 each, and the errors
 * add as noise does: 3e-7 log2 N of the largest amplitude is far above that. */
START_TEST(it_is_the_transform_of_the_definition) {
    for (size_t size = 16; size <= 1024; size *= 2) {
        SpreadFft fft = make(size);
        fill(size, size);
        spread_fft_run(&fft, data, 0, spread_fft_steps(&fft));
        const Spectrum *result = &data[spread_fft_result(&fft)];
        double largest = 4.0 * sqrt(2.0 * (double)size); /* no bin of this noise has more */
        for (size_t k = 0; k < size; k++) {
            double re = 0.0, im = 0.0;
            for (size_t t = 0; t < size; t++) {
                double angle = -2.0 * pi * (double)(k * t % size) / (double)size;
                double c = cos(angle), s = sin(angle);
                re += (double)was[0][t] * c - (double)was[1][t] * s;
                im += (double)was[0][t] * s + (double)was[1][t] * c;
            }
            double bound = 3e-7 * log2((double)size) * largest;
            ck_assert_double_eq_tol((double)result->re[k], re, bound);
            ck_assert_double_eq_tol((double)result->im[k], im, bound);
        }
    }
}
END_TEST

START_TEST(where_the_work_is_cut_changes_no_bit) {
    for (size_t size = 16; size <= LARGEST; size *= 2) {
        SpreadFft fft = make(size);
        size_t steps = spread_fft_steps(&fft);
        fill(size, 100 + size);
        spread_fft_run(&fft, data, 0, steps);
        const Spectrum *result = &data[spread_fft_result(&fft)];
        memcpy(other[0], result->re, size * sizeof(float));
        memcpy(other[1], result->im, size * sizeof(float));
        fill(size, 100 + size);
        Random random = random_seeded(7);
        for (size_t at = 0; at < steps;) {
            size_t n = random_below(&random, 90);
            n = n < steps - at ? n : steps - at;
            spread_fft_run(&fft, data, at, n);
            at += n;
        }
        ck_assert(signals_same_bits(result->re, other[0], size));
        ck_assert(signals_same_bits(result->im, other[1], size));
    }
}
END_TEST

/* Forwards, then with the parts exchanged: N times what it was, which dividing by a power of two
 * makes exact but for the rounding of both transforms. */
START_TEST(exchanging_the_parts_inverts_it) {
    for (size_t size = 16; size <= LARGEST; size *= 2) {
        SpreadFft fft = make(size);
        fill(size, 200 + size);
        spread_fft_run(&fft, data, 0, spread_fft_steps(&fft));
        size_t at = spread_fft_result(&fft);
        const Spectrum back[2] = {{data[at].im, data[at].re}, {data[1 - at].im, data[1 - at].re}};
        spread_fft_run(&fft, back, 0, spread_fft_steps(&fft));
        const Spectrum *result = &back[spread_fft_result(&fft)];
        for (size_t t = 0; t < size; t++) {
            ck_assert_double_eq_tol((double)result->im[t] / (double)size, (double)was[0][t], 5e-6);
            ck_assert_double_eq_tol((double)result->re[t] / (double)size, (double)was[1][t], 5e-6);
        }
    }
}
END_TEST

START_TEST(memory_is_asked_for_before_it_is_used) {
    SpreadFft fft;
    Arena arena = arena_over(memory, 64);
    ck_assert(!spread_fft_prepare(&fft, 1024, &arena));
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("spread_fft");
    tcase_add_test(tcase, it_is_the_transform_of_the_definition);
    tcase_add_test(tcase, where_the_work_is_cut_changes_no_bit);
    tcase_add_test(tcase, exchanging_the_parts_inverts_it);
    tcase_add_test(tcase, memory_is_asked_for_before_it_is_used);
    tcase_set_timeout(tcase, 60);
    return run_tcase(tcase, "spread_fft");
}
