/* SPDX-License-Identifier: ISC */
/* The moving cut, held against the magnitude of the shelf it is made from. */
#include "basic/maths.h"
#include "filter/band_cut.h"
#include "run_tcase.h"
#include "signals.h"

#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { LENGTH = 20000, HOP = 24 };
static float left[LENGTH], right[LENGTH], out_left[LENGTH], out_right[LENGTH];
static float other_left[LENGTH], other_right[LENGTH];

static float tangent(double rate_hz, double hz) {
    return (float)tan(PI * hz / rate_hz);
}

static void process(BandCut *c, size_t at, size_t n) {
    const float *const in[] = {left + at, right + at};
    float *const out[] = {out_left + at, out_right + at};
    band_cut_process(c, in, out, n);
}

/* Steady edges and depth over the whole length, the line to the depth being one frame long. */
static void steady(double rate_hz, double low_hz, double high_hz, float reduction_db) {
    BandCut c;
    memset(&c, 0, sizeof c);
    for (size_t at = 0; at < LENGTH; at += HOP) {
        size_t n = LENGTH - at < HOP ? LENGTH - at : HOP;
        band_cut_aim(&c, tangent(rate_hz, low_hz), tangent(rate_hz, high_hz), reduction_db, HOP);
        process(&c, at, n);
    }
}

/* |H|^2 = (a^4 + P^4) / (1 + P^4), dB (Orfanidis, JAES 53(11), 2005, order two). */
static double expected_db(double rate_hz, double low_hz, double high_hz, double reduction_db,
                          double hz) {
    double low = tan(PI * low_hz / rate_hz), high = tan(PI * high_hz / rate_hz);
    double w = tan(PI * hz / rate_hz), p = fabs(w - low * high / w) / (high - low);
    double a4 = pow(10.0, -reduction_db / 10.0);
    return 10.0 * log10((a4 + pow(p, 4.0)) / (1.0 + pow(p, 4.0)));
}

START_TEST(the_magnitude_is_that_of_the_shelf_carried_to_the_band) {
    const double rates[] = {16000.0, 44100.0, 48000.0, 192000.0};
    const double edges[][2] = {{4000.0, 7000.0}, {3000.0, 7500.0}, {5500.0, 6500.0}};
    for (int r = 0; r < 4; r++)
        for (int e = 0; e < 3; e++)
            for (float db = 1.0f; db <= 24.0f; db += 11.5f)
                for (double hz = 500.0; hz < 7900.0; hz += 700.0) {
                    signals_sine(left, LENGTH, rates[r], hz, 0.5, 0.4);
                    memcpy(right, left, sizeof right);
                    steady(rates[r], edges[e][0], edges[e][1], db);
                    double gain =
                        2.0 * signals_tone_amplitude(out_left + 4000, LENGTH - 4000, rates[r], hz);
                    double expected =
                        expected_db(rates[r], edges[e][0], edges[e][1], (double)db, hz);
                    /* Float coefficients and the fast exponential: 1e-4; the measure: 0.1 %. */
                    ck_assert_double_eq_tol(20.0 * log10(gain), expected, 0.02);
                }
}
END_TEST

START_TEST(the_depth_at_the_centre_is_what_was_asked_for) {
    double centre =
        atan(sqrt(tan(PI * 5000.0 / 48000.0) * tan(PI * 10000.0 / 48000.0))) * 48000.0 / PI;
    for (float db = 0.5f; db <= 24.0f; db *= 2.0f) {
        signals_sine(left, LENGTH, 48000.0, centre, 0.5, 0.0);
        memcpy(right, left, sizeof right);
        steady(48000.0, 5000.0, 10000.0, db);
        double gain =
            2.0 * signals_tone_amplitude(out_right + 4000, LENGTH - 4000, 48000.0, centre);
        ck_assert_double_eq_tol(20.0 * log10(gain), -(double)db, 0.01);
    }
}
END_TEST

static void noise(unsigned seed) {
    Random random = random_seeded(seed);
    signals_noise(left, LENGTH, 0.2, &random);
    signals_noise(right, LENGTH, 0.2, &random);
}

START_TEST(no_cut_is_the_input_bit_for_bit) {
    noise(71);
    left[100] = -0.0f;
    right[101] = 0.0f;
    BandCut c;
    memset(&c, 0, sizeof c);
    for (size_t at = 0; at + HOP <= LENGTH; at += HOP) {
        band_cut_aim(&c, 0.3f + 1e-5f * (float)at, 0.9f, 0.0f, HOP);
        process(&c, at, HOP);
    }
    size_t n = (size_t)(LENGTH / HOP) * HOP;
    ck_assert(signals_same_bits(left, out_left, n));
    ck_assert(signals_same_bits(right, out_right, n));
}
END_TEST

/* A cut that goes everywhere; `most` frames a call. */
static void wander(size_t most) {
    BandCut c;
    memset(&c, 0, sizeof c);
    for (size_t at = 0; at + HOP <= LENGTH; at += HOP) {
        double t = (double)at / LENGTH;
        float low = tangent(48000.0, 4000.0 + 2000.0 * sin(40.0 * t));
        float high = tangent(48000.0, 9000.0 + 2000.0 * cos(33.0 * t));
        float db = (float)fmax(0.0, 12.0 * sin(25.0 * t));
        band_cut_aim(&c, low, high, db, HOP);
        for (size_t i = 0; i < HOP; i += most)
            process(&c, at + i, HOP - i < most ? HOP - i : most);
    }
}

START_TEST(calls_may_be_cut_anywhere) {
    noise(72);
    wander(HOP);
    memcpy(other_left, out_left, sizeof out_left);
    memcpy(other_right, out_right, sizeof out_right);
    for (size_t most = 1; most < HOP; most += 5) {
        wander(most);
        ck_assert(signals_same_bits(other_left, out_left, LENGTH));
        ck_assert(signals_same_bits(other_right, out_right, LENGTH));
    }
}
END_TEST

START_TEST(channels_get_the_same_cut_and_do_not_mix) {
    noise(73);
    wander(HOP);
    memcpy(other_left, out_left, sizeof out_left);
    memcpy(right, left, sizeof right);
    wander(HOP);
    ck_assert(signals_same_bits(other_left, out_left, LENGTH));
    ck_assert(signals_same_bits(out_left, out_right, LENGTH));
}
END_TEST

START_TEST(moving_makes_no_jump) {
    /* A tone of 500 Hz, under the band: the cut changes up to a tenth of it. The edges move by some
     * 100 Hz of 5000 a hop, so each hop may begin with a step of 0.1 * 0.02 of the tone, -54 dB.
     * Such steps every 24 frames (-14 dB), of whose power 1 / (2 sin(w/2))^2 a sixth lies over
     * 12 kHz (-8 dB), leave -76 dB; a jump in the states would leave a hundred times more. */
    signals_sine(left, LENGTH, 48000.0, 500.0, 0.5, 0.0);
    memcpy(right, left, sizeof right);
    wander(HOP);
    double above = signals_band_db(out_left + 480, LENGTH / HOP * HOP - 480, 48000.0, 12000.0, 1e9);
    ck_assert_double_lt(above, signals_rms_db(left, LENGTH) - 70.0);
}
END_TEST

START_TEST(reset_is_as_new) {
    noise(74);
    BandCut c, fresh;
    memset(&fresh, 0, sizeof fresh);
    c = fresh;
    band_cut_aim(&c, 0.3f, 0.9f, 10.0f, HOP);
    process(&c, 0, HOP);
    band_cut_reset(&c);
    /* Every byte counts here: reset must leave nothing behind.
     * NOLINTNEXTLINE(bugprone-suspicious-memory-comparison,cert-exp42-c,cert-flp37-c) */
    ck_assert_int_eq(memcmp(&c, &fresh, sizeof c), 0);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("band_cut");
    tcase_set_timeout(tcase, 60);
    tcase_add_test(tcase, the_magnitude_is_that_of_the_shelf_carried_to_the_band);
    tcase_add_test(tcase, the_depth_at_the_centre_is_what_was_asked_for);
    tcase_add_test(tcase, no_cut_is_the_input_bit_for_bit);
    tcase_add_test(tcase, calls_may_be_cut_anywhere);
    tcase_add_test(tcase, channels_get_the_same_cut_and_do_not_mix);
    tcase_add_test(tcase, moving_makes_no_jump);
    tcase_add_test(tcase, reset_is_as_new);
    return run_tcase(tcase, "band_cut");
}
