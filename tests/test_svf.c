/* SPDX-License-Identifier: ISC */
#include "basic/maths.h"
#include "filter/svf.h"
#include "run_tcase.h"
#include "signals.h"

#include <check.h>
#include <complex.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { LENGTH = 1 << 15 };
static const double RATE = 48000.0;
static float in[LENGTH], out[LENGTH], other[LENGTH];

static Svf designed(SvfKind kind, double hz, double q, double gain_db) {
    Svf svf = {0};
    svf_set(&svf, RATE,
            &(SvfParams){
                .kind = kind, .frequency_hz = (float)hz, .q = (float)q, .gain_db = (float)gain_db});
    return svf;
}

START_TEST(coefficients_are_those_of_the_published_form) {
    /* Zavalishin's and Simper's form evaluated at 48 kHz. */
    Svf svf = designed(SVF_LOW_PASS, 1000.0, sqrt(0.5), 0.0);
    ck_assert_double_eq_tol((double)svf.a1, 0.911586668013, 1e-7);
    ck_assert_double_eq_tol((double)svf.a2, 0.059748546878, 1e-8);
    ck_assert_double_eq_tol((double)svf.a3, 0.003916126661, 1e-9);
    svf = designed(SVF_BAND_PASS, 6000.0, 1.0, 0.0);
    ck_assert_double_eq_tol((double)svf.a1, 0.630601937482, 1e-7);
    ck_assert_double_eq_tol((double)svf.a2, 0.261203874964, 1e-7);
    ck_assert_double_eq_tol((double)svf.a3, 0.108194187554, 1e-8);
}
END_TEST

typedef struct {
    SvfKind kind;
    double hz, q, gain_db;
    double b[3], a[2];
} Cookbook;

/* Audio EQ Cookbook (Bristow-Johnson; W3C Note, 2021), evaluated at 48 kHz, a0 = 1. */
static const Cookbook COOKBOOK[] = {
    {SVF_LOW_PASS,
     1000.0,
     0.70710678118654752,
     0.0,
     {.003916126661, .007832253321, .003916126661},
     {-1.815341082705, .831005589347}},
    {SVF_HIGH_PASS,
     80.0,
     0.70710678118654752,
     0.0,
     {.992622542756, -1.985245085512, .992622542756},
     {-1.985190657896, .985299513128}},
    {SVF_BAND_PASS,
     6000.0,
     1.0,
     0.0,
     {.261203874964, 0.0, -.261203874964},
     {-1.044815499855, .477592250073}},
    {SVF_BELL,
     1000.0,
     1.0,
     6.0,
     {1.04395308699, -1.895320723937, .86772228476},
     {-1.895320723937, .91167537175}},
    {SVF_HIGH_SHELF,
     6000.0,
     0.70710678118654752,
     -6.0,
     {.601844118737, -.470436751427, .169555581017},
     {-1.088413262034, .389376210361}},
};

START_TEST(impulse_responses_are_the_cookbook_ones) {
    for (size_t k = 0; k < sizeof COOKBOOK / sizeof *COOKBOOK; k++) {
        const Cookbook *c = &COOKBOOK[k];
        memset(in, 0, sizeof in);
        in[0] = 1.0f;
        Svf svf = designed(c->kind, c->hz, c->q, c->gain_db);
        svf_process(&svf, in, out, LENGTH);
        double x1 = 0.0, x2 = 0.0, y1 = 0.0, y2 = 0.0;
        for (size_t i = 0; i < LENGTH; i++) {
            double x = (double)in[i];
            double y = c->b[0] * x + c->b[1] * x1 + c->b[2] * x2 - c->a[0] * y1 - c->a[1] * y2;
            x2 = x1, x1 = x, y2 = y1, y1 = y;
            /* Ten roundings of 2^-24 a frame, states near 1 that forget in 1/(1-r) < 140 frames. */
            ck_assert_double_eq_tol((double)out[i], y, 10.0 * 140.0 * 0x1p-24);
        }
    }
}
END_TEST

/* The transfer function at `hz` by the Fourier sum of the impulse response. */
static double complex response(const Svf *designed_svf, double hz) {
    Svf svf = *designed_svf;
    double complex sum = 0.0;
    for (size_t i = 0; i < LENGTH; i++) {
        float y = svf_step(&svf, i == 0 ? 1.0f : 0.0f);
        sum += (double)y * cexp(-2.0 * I * PI * hz / RATE * (double)i);
    }
    return sum;
}

/* The analogue prototype under the bilinear transform: s = j tan(pi f/fs) / tan(pi fc/fs). */
static double complex prototype(SvfKind kind, double hz, double fc, double q, double gain_db) {
    double complex s = I * tan(PI * hz / RATE) / tan(PI * fc / RATE);
    double a = pow(10.0, gain_db / 40.0);
    double complex d = s * s + s / q + 1.0;
    switch (kind) {
    case SVF_LOW_PASS:
        return 1.0 / d;
    case SVF_BAND_PASS:
        return s / q / d;
    case SVF_HIGH_PASS:
        return s * s / d;
    case SVF_NOTCH:
        return (s * s + 1.0) / d;
    case SVF_ALL_PASS:
        return (s * s - s / q + 1.0) / d;
    case SVF_BELL:
        return (s * s + s * a / q + 1.0) / (s * s + s / (a * q) + 1.0);
    case SVF_LOW_SHELF:
        return a * (s * s + sqrt(a) / q * s + a) / (a * s * s + sqrt(a) / q * s + 1.0);
    default:
        return a * (a * s * s + sqrt(a) / q * s + 1.0) / (s * s + sqrt(a) / q * s + a);
    }
}

START_TEST(every_kind_has_the_response_of_its_prototype) {
    /* Prototypes: Audio EQ Cookbook, the H(s) given there for each kind. */
    const double corners[] = {200.0, 3000.0, 15000.0};
    const double qs[] = {0.5, 0.70710678, 4.0};
    for (SvfKind kind = SVF_LOW_PASS; kind <= SVF_HIGH_SHELF; kind++)
        for (int c = 0; c < 3; c++)
            for (int q = 0; q < 3; q++) {
                double gain_db = q == 1 ? -9.0 : 7.0;
                Svf svf = designed(kind, corners[c], qs[q], gain_db);
                for (int hz_step = 0; hz_step < 9; hz_step++) {
                    double hz = 50.0 * pow(2.1, hz_step);
                    double complex want = prototype(kind, hz, corners[c], qs[q], gain_db);
                    ck_assert_double_lt(cabs(response(&svf, hz) - want), 2e-4);
                }
            }
}
END_TEST

START_TEST(low_plus_high_of_two_butterworths_in_series_is_an_allpass) {
    /* Linkwitz 1976: the branches of a fourth-order crossover add up to gain 1, -6.02 dB each at
     * the corner. */
    Svf low = designed(SVF_LOW_PASS, 1000.0, sqrt(0.5), 0.0);
    Svf high = designed(SVF_HIGH_PASS, 1000.0, sqrt(0.5), 0.0);
    for (int hz_step = 0; hz_step < 13; hz_step++) {
        double hz = 30.0 * pow(1.7, hz_step);
        double complex l = response(&low, hz), h = response(&high, hz);
        ck_assert_double_eq_tol(cabs(l * l + h * h), 1.0, 1e-4);
    }
    ck_assert_double_eq_tol(
        20.0 * log10(cabs(response(&low, 1000.0)) * cabs(response(&low, 1000.0))), -6.0206, 2e-3);
}
END_TEST

START_TEST(opposite_bells_cancel) {
    Random random = random_seeded(31);
    signals_noise(in, LENGTH, 0.2, &random);
    Svf up = designed(SVF_BELL, 2500.0, 1.3, 9.0), down = designed(SVF_BELL, 2500.0, 1.3, -9.0);
    svf_process(&up, in, out, LENGTH);
    svf_process(&down, out, out, LENGTH);
    ck_assert_double_lt(signals_difference_db(in, out, LENGTH), -120.0);
}
END_TEST

START_TEST(raw_setting_equals_the_designed_one) {
    const float k = 1.0f / 0.9f;
    const float g = (float)tan(PI * 700.0 / RATE);
    Svf a = designed(SVF_HIGH_PASS, 700.0, (double)0.9f, 0.0), b = {0};
    svf_set_raw(&b, g, k, 1.0f, -k, -1.0f);
    Random random = random_seeded(32);
    signals_noise(in, LENGTH, 0.2, &random);
    svf_process(&a, in, out, LENGTH);
    svf_process(&b, in, other, LENGTH);
    ck_assert_double_lt(signals_difference_db(out, other, LENGTH), -120.0);
}
END_TEST

START_TEST(cutting_the_block_changes_no_bit) {
    Random random = random_seeded(33);
    signals_noise(in, LENGTH, 0.2, &random);
    Svf a = designed(SVF_LOW_SHELF, 300.0, 0.8, 5.0), b = a;
    svf_process(&a, in, out, LENGTH);
    for (size_t at = 0; at < LENGTH;) {
        size_t n = random_below(&random, 500);
        n = n < LENGTH - at ? n : LENGTH - at;
        svf_process(&b, in + at, other + at, n);
        at += n;
    }
    ck_assert(signals_same_bits(out, other, LENGTH));
    svf_reset(&a);
    svf_process(&a, in, in, LENGTH); /* in place, and as new after a reset */
    ck_assert(signals_same_bits(out, in, LENGTH));
}
END_TEST

START_TEST(corners_beyond_the_band_are_clamped_and_stable) {
    const float corners[] = {0.0f, 1e-3f, 23999.0f, 24000.0f, 1e6f};
    for (int i = 0; i < 5; i++) {
        Svf svf = designed(SVF_LOW_PASS, (double)corners[i], 20.0, 0.0);
        memset(in, 0, sizeof in);
        in[0] = 1.0f;
        svf_process(&svf, in, out, LENGTH);
        ck_assert(signals_all_finite(out, LENGTH));
        ck_assert_double_lt(signals_peak(out, LENGTH), 2.0);
    }
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("svf");
    tcase_add_test(tcase, coefficients_are_those_of_the_published_form);
    tcase_add_test(tcase, impulse_responses_are_the_cookbook_ones);
    tcase_add_test(tcase, every_kind_has_the_response_of_its_prototype);
    tcase_add_test(tcase, low_plus_high_of_two_butterworths_in_series_is_an_allpass);
    tcase_add_test(tcase, opposite_bells_cancel);
    tcase_add_test(tcase, raw_setting_equals_the_designed_one);
    tcase_add_test(tcase, cutting_the_block_changes_no_bit);
    tcase_add_test(tcase, corners_beyond_the_band_are_clamped_and_stable);
    return run_tcase(tcase, "svf");
}
