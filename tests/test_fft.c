/* SPDX-License-Identifier: ISC */
#include "basic/fft.h"
#include "run_tcase.h"
#include "signals.h"

#include <check.h>
#include <math.h>
#include <stdlib.h>

static const double pi = 3.14159265358979323846;

enum { LARGEST = 4096, MEMORY = 1 << 17 };
static unsigned char memory[MEMORY];
static float audio[LARGEST], power[LARGEST / 2 + 1];

static Fft make(size_t size) {
    Fft fft;
    Arena arena = arena_over(memory, MEMORY);
    ck_assert(fft_prepare(&fft, size, &arena));
    return fft;
}

/* The definition, in double. Errors of the float transform: 3e-7 log2 N of the largest amplitude.
 */
START_TEST(powers_are_those_of_the_definition) {
    for (size_t size = 16; size <= 1024; size *= 2) {
        Random random = random_seeded(size);
        Fft fft = make(size);
        signals_noise(audio, size, 1.0, &random);
        fft_power(&fft, audio, power);
        for (size_t k = 0; k <= size / 2; k++) {
            double re = 0.0, im = 0.0;
            for (size_t t = 0; t < size; t++) {
                re += (double)audio[t] * cos(2.0 * pi * (double)(k * t % size) / (double)size);
                im -= (double)audio[t] * sin(2.0 * pi * (double)(k * t % size) / (double)size);
            }
            double largest = 4.0 * sqrt((double)size); /* no bin of this noise has more */
            ck_assert_double_eq_tol(sqrt((double)power[k]), hypot(re, im),
                                    3e-7 * log2((double)size) * largest);
        }
    }
}
END_TEST

/* Parseval: the mean square of the frames is that of the spectrum. */
START_TEST(power_is_kept) {
    Random random = random_seeded(9);
    Fft fft = make(LARGEST);
    signals_noise(audio, LARGEST, 0.3, &random);
    fft_power(&fft, audio, power);
    double sum = 0.0;
    for (size_t k = 0; k <= LARGEST / 2; k++)
        sum += (double)power[k] * (k == 0 || k == LARGEST / 2 ? 1.0 : 2.0);
    double rms = signals_rms(audio, LARGEST);
    ck_assert_double_eq_tol(sum / ((double)LARGEST * LARGEST) / (rms * rms), 1.0, 1e-5);
}
END_TEST

START_TEST(a_sine_of_whole_periods_is_one_bin) {
    Fft fft = make(LARGEST);
    signals_sine(audio, LARGEST, 1.0, 100.0 / LARGEST, 0.5, 0.3);
    fft_power(&fft, audio, power);
    ck_assert_double_eq_tol(sqrt((double)power[100]) / (0.25 * LARGEST), 1.0, 1e-5);
    for (size_t k = 0; k <= LARGEST / 2; k++)
        if (k != 100)
            ck_assert_double_le(sqrt((double)power[k]) / (0.25 * LARGEST), 1e-5);
}
END_TEST

START_TEST(memory_is_asked_for_before_it_is_used) {
    Fft fft;
    Arena arena = arena_over(memory, 64);
    ck_assert(!fft_prepare(&fft, 1024, &arena));
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("fft");
    tcase_add_test(tcase, powers_are_those_of_the_definition);
    tcase_add_test(tcase, power_is_kept);
    tcase_add_test(tcase, a_sine_of_whole_periods_is_one_bin);
    tcase_add_test(tcase, memory_is_asked_for_before_it_is_used);
    tcase_set_timeout(tcase, 60);
    return run_tcase(tcase, "fft");
}
