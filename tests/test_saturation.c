/* SPDX-License-Identifier: ISC */
#include "run_tcase.h"
#include "signals.h"
#include "sound/saturation.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { LENGTH = 1 << 15, BLOCK = OVERSAMPLE_BLOCK };
static float in[LENGTH], out[LENGTH], other[LENGTH];
static float lift[BLOCK], bend[BLOCK], shift[BLOCK];

static void settings(float a, float k, float b) {
    for (size_t i = 0; i < BLOCK; i++)
        lift[i] = a, bend[i] = k, shift[i] = b;
}

/* `in`, as `phases` interleaved ones, through the curve into `to`. */
static void run(Saturation *s, float *to, size_t from, size_t n) {
    for (size_t at = from; at < from + n; at += (size_t)BLOCK * s->phases) {
        OversampleTop top;
        size_t now = (from + n - at) / s->phases;
        now = now < BLOCK ? now : BLOCK;
        for (size_t i = 0; i < now * s->phases; i++)
            top[i % s->phases][i / s->phases] = in[at + i];
        saturation_process(s, top, lift, bend, shift, now);
        for (size_t i = 0; i < now * s->phases; i++)
            to[at + i] = top[i % s->phases][i / s->phases];
    }
}

static void run_new(unsigned phases, float *to) {
    Saturation s;
    saturation_prepare(&s, phases);
    run(&s, to, 0, LENGTH);
}

static double curve(double x, double a, double k) {
    return a * x / sqrt(1.0 + k * x * x);
}

START_TEST(steady_input_gives_the_curve) {
    settings(1.7f, 2.3f, 0.0f);
    for (double x = -5.0; x <= 5.0; x += 0.1) {
        for (size_t i = 0; i < LENGTH; i++)
            in[i] = (float)x;
        run_new(4, out);
        ck_assert_double_eq_tol((double)out[100],
                                curve((double)(float)x, (double)1.7f, (double)2.3f), 1e-6);
    }
}
END_TEST

START_TEST(each_frame_is_the_mean_of_the_curve_over_the_line_between_two) {
    /* The integral by Simpson's rule in 200 parts, error under 1e-7 for these steps (Abramowitz and
     * Stegun, 25.4.6). */
    Random random = random_seeded(8);
    settings(1.2f, 4.0f, 0.0f);
    for (size_t i = 0; i < LENGTH; i++)
        in[i] = (float)random_range(&random, -1.5, 1.5);
    for (size_t i = 0; i < LENGTH; i += 7) /* and hardly a step at all */
        in[i] = i > 0 ? in[i - 1] * 1.0000001f : 0.0f;
    run_new(8, out);
    for (size_t t = 1; t < 2000; t++) {
        double a = (double)in[t - 1], b = (double)in[t], sum = 0.0;
        for (int k = 0; k <= 200; k++)
            sum += (k == 0 || k == 200 ? 1.0
                    : k % 2            ? 4.0
                                       : 2.0) *
                   curve(a + (b - a) * k / 200.0, (double)1.2f, 4.0);
        ck_assert_double_eq_tol((double)out[t], sum / 600.0, 1e-6);
    }
}
END_TEST

START_TEST(harmonics_of_small_sines_are_those_of_the_cubic) {
    /* f(x) = x - bend x^3 / 2 + ...: with y = x - c x^3, H3 / H1 = (c A^3 / 4) / (A - 3 c A^3 / 4).
     * The next term, 3/8 bend^2 x^5, adds to H3 a part of 5/8 (A^2 bend) / ... under 2 % here. */
    for (double a = 0.05; a <= 0.2; a += 0.05) {
        settings(1.0f, 1.0f, 0.0f);
        signals_sine(in, LENGTH, 1.0, 0.01, a, 0.0);
        run_new(8, out);
        double h1 = signals_tone_amplitude(out, LENGTH, 1.0, 0.01);
        double h3 = signals_tone_amplitude(out, LENGTH, 1.0, 0.03);
        double expected = (a * a / 8.0) / (1.0 - 3.0 * a * a / 8.0);
        ck_assert_double_eq_tol(h3 / h1 / expected, 1.0, 0.05);
        ck_assert_double_le(signals_tone_amplitude(out, LENGTH, 1.0, 0.02), 1e-6);
    }
}
END_TEST

START_TEST(a_shift_brings_even_harmonics_and_the_other_way_the_mirror_image) {
    signals_sine(in, LENGTH, 1.0, 0.01, 0.1, 0.0);
    settings(1.0f, 1.0f, 0.3f);
    run_new(4, out);
    /* second term of the series about the shift: f''(b) A^2 / 4, f'' = -3 b (1 + b^2)^(-5/2) */
    double h2 = signals_tone_amplitude(out, LENGTH, 1.0, 0.02);
    ck_assert_double_eq_tol(h2, 3.0 * 0.3 * pow(1.09, -2.5) * 0.01 / 4.0, 0.03 * h2);
    for (size_t i = 0; i < LENGTH; i++)
        in[i] = -in[i];
    settings(1.0f, 1.0f, -0.3f);
    run_new(4, other);
    for (size_t i = 0; i < LENGTH; i++)
        ck_assert(other[i] == -out[i]);
}
END_TEST

enum {
    CYCLE = 1 << 14,
    TURNS = 425
}; /* a sine with so many periods in so many frames: no window */

/* Power of everything but the harmonics below half the rate, over theirs. */
static double aliases_db(void) {
    const float *y = out + LENGTH - CYCLE;
    double all = pow(signals_rms(y, CYCLE), 2.0), harmonic = 0.0;
    for (int h = 1; h * TURNS < CYCLE / 2; h++) {
        double re = 0.0, im = 0.0;
        for (int t = 0; t < CYCLE; t++) {
            double angle = 2.0 * 3.14159265358979323846 * h * TURNS / CYCLE * t;
            re += (double)y[t] * cos(angle), im += (double)y[t] * sin(angle);
        }
        harmonic += 2.0 * (re * re + im * im) / ((double)CYCLE * CYCLE);
    }
    return 10.0 * log10(fabs(all - harmonic) / harmonic);
}

START_TEST(aliases_are_fewer_than_those_of_the_bare_curve) {
    /* A mean over a frame takes 20 log10(f / rate) off what folds to f: some 6 dB of all that folds
     * at the rate itself, more at higher ones (Parker and others 2016). */
    double hz = (double)TURNS / CYCLE;
    settings(1.0f, 256.0f, 0.0f);
    signals_sine(in, LENGTH, 1.0, hz, 1.0, 0.0);
    run_new(1, out);
    double with = aliases_db();
    printf("aliases %.1f dB", with);
    for (size_t i = 0; i < LENGTH; i++)
        out[i] = (float)curve((double)in[i], 1.0, 256.0);
    printf(", of the bare curve %.1f dB\n", aliases_db());
    ck_assert_double_le(with, aliases_db() - 6.0);
}
END_TEST

START_TEST(silence_stays_silence_while_everything_moves) {
    memset(in, 0, sizeof in);
    Random random = random_seeded(9);
    for (size_t i = 0; i < BLOCK; i++) {
        lift[i] = (float)random_range(&random, 0.0, 20.0);
        bend[i] = (float)random_range(&random, 0.0, 1e6);
        shift[i] = (float)random_range(&random, -1.0, 1.0);
    }
    run_new(8, out);
    for (size_t i = 0; i < LENGTH; i++)
        ck_assert(out[i] == 0.0f);
}
END_TEST

START_TEST(nothing_is_beyond_its_bounds) {
    Random random = random_seeded(10);
    for (double k = 1e-3; k < 1e8; k *= 10.0) {
        settings(3.0f, (float)k, 0.0f);
        for (size_t i = 0; i < LENGTH; i++)
            in[i] =
                (float)(random_range(&random, -1.0, 1.0) * pow(10.0, random_range(&random, -9, 9)));
        run_new(2, out);
        ck_assert(signals_all_finite(out, LENGTH));
        ck_assert_double_le(signals_peak(out, LENGTH), 1.00001 * 3.0 / sqrt((double)(float)k));
    }
    settings(1.0f, 0.0f, 0.0f); /* no bend: the mean of two frames */
    run_new(1, out);
    for (size_t i = 1; i < LENGTH; i++)
        ck_assert(out[i] == 0.5f * (in[i] + in[i - 1]));
}
END_TEST

START_TEST(cutting_changes_no_bit) {
    Random random = random_seeded(11);
    signals_noise(in, LENGTH, 0.5, &random);
    settings(2.0f, 3.0f, 0.2f);
    run_new(4, out);
    Saturation s;
    saturation_prepare(&s, 4);
    for (size_t at = 0; at < LENGTH;) {
        size_t n = 4 * random_below(&random, 100);
        n = n < LENGTH - at ? n : LENGTH - at;
        run(&s, other, at, n);
        at += n;
    }
    ck_assert(signals_same_bits(out, other, LENGTH));
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("saturation");
    tcase_add_test(tcase, steady_input_gives_the_curve);
    tcase_add_test(tcase, each_frame_is_the_mean_of_the_curve_over_the_line_between_two);
    tcase_add_test(tcase, harmonics_of_small_sines_are_those_of_the_cubic);
    tcase_add_test(tcase, a_shift_brings_even_harmonics_and_the_other_way_the_mirror_image);
    tcase_add_test(tcase, aliases_are_fewer_than_those_of_the_bare_curve);
    tcase_add_test(tcase, silence_stays_silence_while_everything_moves);
    tcase_add_test(tcase, nothing_is_beyond_its_bounds);
    tcase_add_test(tcase, cutting_changes_no_bit);
    tcase_set_timeout(tcase, 60);
    return run_tcase(tcase, "saturation");
}
