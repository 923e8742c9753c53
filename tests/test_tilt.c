/* SPDX-License-Identifier: ISC */
#include "basic/maths.h"
#include "filter/tilt.h"
#include "run_tcase.h"
#include "signals.h"

#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { LENGTH = 1 << 15 };
static const double RATES[] = {8000.0, 44100.0, 48000.0, 192000.0};
static float in[LENGTH], out[LENGTH], other[LENGTH], gain[LENGTH];

static void set_gain(double db) {
    for (size_t i = 0; i < LENGTH; i++)
        gain[i] = (float)pow(10.0, db / 20.0);
}

START_TEST(it_is_the_analogue_tilt_under_the_bilinear_warp) {
    /* |H|^2 = (1 + g^2 w^2) / (g^2 + w^2), w = tan(pi f / rate) / tan(pi 1000 / rate) */
    for (int r = 0; r < 4; r++)
        for (double db = -6.0; db <= 6.0; db += 3.0) {
            double g = pow(10.0, db / 20.0);
            set_gain(db);
            for (double hz = 60.0; hz < 0.4 * RATES[r]; hz *= 1.9) {
                Tilt tilt;
                double w = tan(PI * hz / RATES[r]) / tan(PI * 1000.0 / RATES[r]);
                double expected = 10.0 * log10((1.0 + g * g * w * w) / (g * g + w * w));
                tilt_prepare(&tilt, RATES[r]);
                signals_sine(in, LENGTH, RATES[r], hz, 0.5, 0.0);
                tilt_process(&tilt, gain, in, out, LENGTH);
                size_t skip = LENGTH / 4;
                double is =
                    20.0 *
                    log10(signals_tone_amplitude(out + skip, LENGTH - skip, RATES[r], hz) / 0.5);
                ck_assert_double_eq_tol(is, expected, 0.01);
            }
        }
}
END_TEST

START_TEST(no_tilt_is_the_input_to_the_bit) {
    Random random = random_seeded(61);
    signals_noise(in, LENGTH, 0.3, &random);
    set_gain(0.0);
    Tilt tilt;
    tilt_prepare(&tilt, 48000.0);
    tilt_process(&tilt, gain, in, out, LENGTH);
    ck_assert(signals_same_bits(in, out, LENGTH));
}
END_TEST

START_TEST(a_tilt_and_its_opposite_cancel) {
    /* Poles of the one are zeros of the other; what is left are roundings. */
    Random random = random_seeded(62);
    signals_noise(in, LENGTH, 0.3, &random);
    for (double db = 1.0; db <= 6.0; db += 1.0) {
        Tilt one, back;
        tilt_prepare(&one, 48000.0);
        tilt_prepare(&back, 48000.0);
        set_gain(db);
        tilt_process(&one, gain, in, out, LENGTH);
        set_gain(-db);
        tilt_process(&back, gain, out, out, LENGTH);
        ck_assert_double_le(signals_largest_difference(in, out, LENGTH), 1e-5);
    }
}
END_TEST

START_TEST(cutting_changes_no_bit_and_a_reset_forgets) {
    Random random = random_seeded(63);
    signals_noise(in, LENGTH, 0.3, &random);
    for (size_t i = 0; i < LENGTH; i++)
        gain[i] = (float)random_range(&random, 0.5, 2.0);
    Tilt tilt;
    tilt_prepare(&tilt, 48000.0);
    tilt_process(&tilt, gain, in, out, LENGTH);
    tilt_reset(&tilt);
    for (size_t at = 0; at < LENGTH;) {
        size_t n = random_below(&random, 300);
        n = n < LENGTH - at ? n : LENGTH - at;
        tilt_process(&tilt, gain + at, in + at, other + at, n);
        at += n;
    }
    ck_assert(signals_same_bits(out, other, LENGTH));
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("tilt");
    tcase_add_test(tcase, it_is_the_analogue_tilt_under_the_bilinear_warp);
    tcase_add_test(tcase, no_tilt_is_the_input_to_the_bit);
    tcase_add_test(tcase, a_tilt_and_its_opposite_cancel);
    tcase_add_test(tcase, cutting_changes_no_bit_and_a_reset_forgets);
    return run_tcase(tcase, "tilt");
}
