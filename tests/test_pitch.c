/* SPDX-License-Identifier: ISC */
#include "basic/maths.h"
#include "run_tcase.h"
#include "signals.h"
#include "voice/pitch.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { LENGTH = 192000 };
static const PitchRange RANGE = {60.0, 1100.0};
static unsigned char memory[1 << 16];
static float in[LENGTH], other[LENGTH];
static PitchReading readings[LENGTH / 30], again[LENGTH / 30];

static const double RATES[] = {8000.0, 44100.0, 48000.0, 192000.0};
enum { N_RATES = 4 };

static Pitch prepared(double rate) {
    Pitch pitch;
    Arena arena = arena_over(memory, sizeof memory);
    ck_assert(pitch_prepare(&pitch, rate, &RANGE, &arena));
    pitch_reset(&pitch);
    return pitch;
}

/* All readings of in[0..n), taken by at most `most` frames at a time. */
static size_t track(Pitch *pitch, const float *audio, size_t n, size_t most, PitchReading *out) {
    size_t count = 0;
    for (size_t at = 0; at < n;) {
        size_t now = pitch_until(pitch);
        now = now < n - at ? now : n - at;
        now = now < most ? now : most;
        if (pitch_process(pitch, audio + at, now))
            out[count++] = pitch_reading(pitch);
        at += now;
    }
    return count;
}

static double cents(double hz, double of) {
    return 1200.0 * log2(hz / of);
}

START_TEST(steady_tones_are_read_within_a_few_cents) {
    for (int r = 0; r < N_RATES; r++)
        for (int hz_step = 0; hz_step < 49; hz_step++) { /* by semitones */
            double hz = 62.0 * pow(1.0594631, hz_step);
            size_t n = (size_t)(0.3 * RATES[r]);
            double top = fmin(0.45 * RATES[r], 8000.0);
            signals_harmonics(in, n, RATES[r], hz, top, -9.0, 0.1);
            Pitch pitch = prepared(RATES[r]);
            size_t count = track(&pitch, in, n, n, readings);
            /* After 0.2 s, 8 time constants of the low cut at 54 Hz with its Q of 1.3. */
            for (size_t i = count * 2 / 3; i < count; i++) {
                double error = cents((double)readings[i].hz, hz);
                ck_assert_double_lt(fabs(error), hz < 500.0 ? 5.0 : 15.0);
                ck_assert_float_lt(readings[i].aperiodicity, 0.03f);
            }
        }
}
END_TEST

START_TEST(the_difference_function_has_its_closed_form) {
    /* Mean of (x[t] - x[t-tau])^2 for partials a_k at k f: sum of a_k^2 (1 - cos(2 pi k f tau)). At
     * 8 kHz nothing is decimated and 100 Hz has a period of 80 lags. */
    const double a1 = 0.2, a2 = 0.1, a3 = 0.05;
    signals_sine(in, 8000, 8000.0, 100.0, a1, 0.0);
    signals_sine_add(in, 8000, 8000.0, 200.0, a2, 1.0);
    signals_sine_add(in, 8000, 8000.0, 300.0, a3, 2.0);
    Pitch pitch = prepared(8000.0);
    track(&pitch, in, 8000, 8000, readings);
    double scale = 1.0 / (1.0 - (double)pitch.forget);
    /* The low cut at 54 Hz by the bilinear transform, a fourth-order Butterworth. */
    double g[4];
    for (int k = 1; k <= 3; k++)
        g[k] = 1.0 / (1.0 + pow(tan(PI * 54.0 / 8000.0) / tan(PI * 100.0 * k / 8000.0), 8.0));
    for (size_t lag = 10; lag <= 130; lag += 10) {
        double w = 2.0 * PI * (double)lag / 80.0;
        double want = g[1] * a1 * a1 * (1.0 - cos(w)) + g[2] * a2 * a2 * (1.0 - cos(2.0 * w)) +
                      g[3] * a3 * a3 * (1.0 - cos(3.0 * w));
        /* The exponential window lets a ripple at 2 f through: 1 / sqrt(1 + (2 pi 200 0.012)^2)
         * = 6.6 % of the largest partial's share, and less of the others. The decimating low-pass
         * takes 0.2 % at 300 Hz. */
        ck_assert_double_eq_tol((double)pitch.d[lag - 1] / scale, want,
                                0.1 * (a1 * a1 + a2 * a2 + a3 * a3) * 2.0);
    }
    ck_assert_double_lt((double)pitch.d[79] / scale, 1e-6);
}
END_TEST

START_TEST(a_weak_or_missing_fundamental_is_still_the_pitch) {
    for (int r = 0; r < N_RATES; r++)
        for (int hz_step = 0; hz_step < 7; hz_step++) {
            double hz = 80.0 * pow(1.3, hz_step);
            size_t n = (size_t)(0.3 * RATES[r]);
            Pitch pitch = prepared(RATES[r]);
            /* A formant on the second partial, 14 dB over its neighbours: 7 % in the odd ones. */
            for (int k = 1; k <= 4; k++)
                (k == 1 ? signals_sine : signals_sine_add)(in, n, RATES[r], hz * k,
                                                           k == 2 ? 0.2 : 0.04, k * 1.7);
            size_t count = track(&pitch, in, n, n, readings);
            ck_assert_double_eq_tol(cents((double)readings[count - 1].hz, hz), 0.0, 15.0);
            /* Partials 2 to 5 only. */
            for (int k = 2; k <= 5; k++)
                (k == 2 ? signals_sine : signals_sine_add)(in, n, RATES[r], hz * k, 0.1, k * 0.9);
            pitch_reset(&pitch);
            count = track(&pitch, in, n, n, readings);
            ck_assert_double_eq_tol(cents((double)readings[count - 1].hz, hz), 0.0, 15.0);
        }
}
END_TEST

START_TEST(vibrato_is_followed) {
    /* 6 Hz, 70 cents either side of A3. */
    const double rate = 48000.0;
    double phase = 0.0;
    size_t n = 96000;
    for (size_t i = 0; i < n; i++) {
        double hz = 220.0 * exp2(70.0 / 1200.0 * sin(2.0 * PI * 6.0 * (double)i / rate));
        phase += 2.0 * PI * hz / rate;
        in[i] = (float)(0.1 * sin(phase) + 0.05 * sin(2.0 * phase + 1.0) + 0.02 * sin(3.0 * phase));
    }
    Pitch pitch = prepared(rate);
    size_t count = track(&pitch, in, n, n, readings), hop = pitch.hop * pitch.decimation;
    for (size_t i = 40; i < count; i++) {
        /* A reading stands for what the window saw: half a period of lag and most of 12 ms ago. */
        double t = (double)((i + 1) * hop) / rate - 0.012;
        double want = 220.0 * exp2(70.0 / 1200.0 * sin(2.0 * PI * 6.0 * t));
        /* In 5 ms the pitch moves 5e-3 * 70 * 2 pi 6 = 13 cents. */
        ck_assert_double_eq_tol(cents((double)readings[i].hz, want), 0.0, 13.0);
        ck_assert_float_lt(readings[i].aperiodicity, 0.1f);
    }
}
END_TEST

static size_t gross_errors(size_t count, size_t from, double hz) {
    size_t errors = 0;
    for (size_t i = from; i < count; i++) /* over 20 %: gross, as YIN's Table I counts */
        errors += fabs((double)readings[i].hz / hz - 1.0) > 0.2;
    return errors;
}

START_TEST(noise_and_rumble_do_not_take_the_pitch_away) {
    const double rate = 48000.0;
    Random random = random_seeded(91);
    size_t n = 96000;
    for (int hz_step = 0; hz_step < 6; hz_step++) {
        double hz = 80.0 * pow(1.5, hz_step);
        signals_harmonics(in, n, rate, hz, 8000.0, -9.0, 0.1);
        signals_band_noise(other, n, rate, 0.0, 4000.0, 0.0316, &random); /* 10 dB below */
        signals_add(in, other, n);
        signals_sine_add(in, n, rate, 28.0, 0.1414, 0.0); /* as loud as the voice */
        Pitch pitch = prepared(rate);
        size_t count = track(&pitch, in, n, n, readings);
        ck_assert_uint_le(gross_errors(count, 40, hz), count / 100);
    }
}
END_TEST

START_TEST(noise_and_silence_are_aperiodic) {
    const double rate = 48000.0;
    Random random = random_seeded(92);
    signals_noise(in, LENGTH, 0.1, &random);
    Pitch pitch = prepared(rate);
    size_t count = track(&pitch, in, LENGTH, LENGTH, readings);
    size_t periodic = 0;
    for (size_t i = 0; i < count; i++)
        periodic += readings[i].aperiodicity < 0.1f;
    ck_assert_uint_le(periodic, count / 100);
    signals_silence(in, LENGTH);
    pitch_reset(&pitch);
    count = track(&pitch, in, 48000, 48000, readings);
    for (size_t i = 0; i < count; i++)
        ck_assert_float_ge(readings[i].aperiodicity, 0.9f);
}
END_TEST

START_TEST(power_is_that_of_the_low_band) {
    signals_sine(in, 48000, 48000.0, 500.0, 0.2, 0.0);
    Pitch pitch = prepared(48000.0);
    size_t count = track(&pitch, in, 48000, 48000, readings);
    /* 0.2^2 / 2; the window's ripple at 1 kHz is 1.3 %, and the low-pass loses little. */
    ck_assert_double_eq_tol((double)readings[count - 1].power, 0.02, 0.0006);
    signals_sine(in, 48000, 48000.0, 9000.0, 0.2, 0.0);
    pitch_reset(&pitch);
    count = track(&pitch, in, 48000, 48000, readings);
    /* The decimating filter: 53 dB for a Hamming window. */
    ck_assert_double_lt((double)readings[count - 1].power, 0.02 * 1e-5);
}
END_TEST

START_TEST(loudness_does_not_matter) {
    Random random = random_seeded(93);
    signals_harmonics(in, 48000, 48000.0, 143.0, 6000.0, -6.0, 0.1);
    signals_noise(other, 48000, 0.003, &random);
    signals_add(in, other, 48000);
    Pitch pitch = prepared(48000.0);
    size_t count = track(&pitch, in, 48000, 48000, readings);
    signals_scale(in, 48000, 0x1p-10); /* -60 dB */
    pitch_reset(&pitch);
    track(&pitch, in, 48000, 48000, again);
    for (size_t i = 20; i < count; i++) {
        ck_assert_double_eq_tol(cents((double)again[i].hz, (double)readings[i].hz), 0.0, 0.1);
        ck_assert_float_eq_tol(again[i].aperiodicity, readings[i].aperiodicity, 1e-3f);
    }
}
END_TEST

START_TEST(cutting_the_block_changes_no_bit) {
    Random random = random_seeded(94);
    signals_harmonics(in, 60000, 44100.0, 201.0, 6000.0, -6.0, 0.1);
    signals_noise(other, 60000, 0.03, &random);
    signals_add(in, other, 60000);
    Pitch pitch = prepared(44100.0);
    size_t count = track(&pitch, in, 60000, 60000, readings);
    const size_t most[] = {1, 3, 64, 255};
    for (int k = 0; k < 4; k++) {
        pitch_reset(&pitch);
        ck_assert_uint_eq(track(&pitch, in, 60000, most[k], again), count);
        ck_assert_mem_eq(again, readings, count * sizeof *readings);
    }
}
END_TEST

START_TEST(impossible_settings_are_refused) {
    Pitch pitch;
    Arena arena = arena_over(memory, sizeof memory);
    ck_assert(!pitch_prepare(&pitch, 48000.0, &(PitchRange){20.0, 500.0}, &arena));
    ck_assert(!pitch_prepare(&pitch, 48000.0, &(PitchRange){900.0, 100.0}, &arena));
    arena = arena_over(memory, 1000);
    ck_assert(!pitch_prepare(&pitch, 48000.0, &RANGE, &arena));
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("pitch");
    tcase_set_timeout(tcase, 60.0);
    tcase_add_test(tcase, steady_tones_are_read_within_a_few_cents);
    tcase_add_test(tcase, the_difference_function_has_its_closed_form);
    tcase_add_test(tcase, a_weak_or_missing_fundamental_is_still_the_pitch);
    tcase_add_test(tcase, vibrato_is_followed);
    tcase_add_test(tcase, noise_and_rumble_do_not_take_the_pitch_away);
    tcase_add_test(tcase, noise_and_silence_are_aperiodic);
    tcase_add_test(tcase, power_is_that_of_the_low_band);
    tcase_add_test(tcase, loudness_does_not_matter);
    tcase_add_test(tcase, cutting_the_block_changes_no_bit);
    tcase_add_test(tcase, impossible_settings_are_refused);
    return run_tcase(tcase, "pitch");
}
