/* SPDX-License-Identifier: ISC */
#include "gain/ballistics.h"
#include "run_tcase.h"
#include "signals.h"

#include <check.h>
#include <math.h>
#include <stdlib.h>

enum { LENGTH = 1 << 20 };
static float wanted[LENGTH], got[LENGTH], other[LENGTH];

static const double RATES[] = {8000.0, 44100.0, 48000.0, 192000.0};
enum { N_RATES = 4 };

static Ballistics designed(double rate, double attack_ms, double release_ms) {
    Ballistics b;
    ballistics_prepare(&b, rate);
    ballistics_set(&b, &(BallisticsParams){(float)attack_ms, (float)release_ms});
    return b;
}

/* `before` for `at` frames and `after` to the end. */
static void step(float before, float after, size_t at, size_t n) {
    for (size_t i = 0; i < n; i++)
        wanted[i] = i < at ? before : after;
}

START_TEST(the_attack_given_is_the_first_moment_of_the_whole_response) {
    const double attacks[] = {1.0, 2.0, 10.0, 200.0};
    for (int r = 0; r < N_RATES; r++)
        for (int a = 0; a < 4; a++) {
            Ballistics b = designed(RATES[r], attacks[a], 1000.0);
            size_t n = (size_t)(20.0 * attacks[a] * 1e-3 * RATES[r]);
            step(0.0f, 10.0f, 0, n);
            ballistics_process(&b, wanted, got, n);
            double moment = 0.0;
            for (size_t i = 0; i < n; i++)
                moment += 1.0 - (double)got[i] / 10.0;
            /* A sampled pole's moment is a / (1 - a) frames, tau fs - 1/2 + O(1 / tau fs): three of
             * them are 1.5 frames early, within a frame even where 1/3 ms is 2.7 frames. */
            ck_assert_double_eq_tol(moment, attacks[a] * 1e-3 * RATES[r] - 1.5, 1.0);
        }
}
END_TEST

START_TEST(the_release_is_exponential_in_db_with_the_time_given) {
    const double releases[] = {10.0, 100.0, 400.0, 5000.0};
    for (int r = 0; r < N_RATES; r++)
        for (int k = 0; k < 4; k++)
            for (int attack_step = 0; attack_step < 3; attack_step++) {
                double attack = 0.1 * pow(44.0, attack_step);
                Ballistics b = designed(RATES[r], attack, releases[k]);
                b.state.y = b.state.z1 = b.state.z2 = 30.0;
                size_t tau = (size_t)lrint(releases[k] * 1e-3 * RATES[r]);
                if (tau > LENGTH - 10)
                    tau = LENGTH - 10; /* 5 s at 192 kHz: a span of its own length */
                size_t n = tau + (size_t)(0.004 * RATES[r]);
                n = n < LENGTH ? n : LENGTH;
                step(0.0f, 0.0f, 0, n);
                ballistics_process(&b, wanted, got, n);
                /* From 4 ms on, 12 time constants of the smoothing, only the release is left. */
                size_t from = n - tau;
                double span = (double)(n - 1 - from) / RATES[r] * 1e3;
                double tau_ms = span / log((double)got[from] / (double)got[n - 1]);
                /* Over 10 ms the smoothing's rest, 13 exp(-12) beside exp(-0.4), still tells. */
                ck_assert_double_eq_tol(tau_ms / releases[k], 1.0, 1e-3);
            }
}
END_TEST

START_TEST(the_release_follows_its_closed_form_from_the_start) {
    /* Poles R, s, s from rest at G: with q = R / (R - s),
     * z/G = q^2 exp(-t/R) - (q^2 - 1 + (q - 1) t/s) exp(-t/s). (Partial fractions.) */
    const double rate = 48000.0, tau = 100.0, s = BALLISTICS_SMOOTH_MS, q = tau / (tau - s);
    Ballistics b = designed(rate, 5.0, tau);
    b.state.y = b.state.z1 = b.state.z2 = 10.0;
    step(0.0f, 0.0f, 0, 24000);
    ballistics_process(&b, wanted, got, 24000);
    for (size_t i = 0; i < 24000; i++) {
        double t = (double)(i + 1) / rate * 1e3;
        double form = q * q * exp(-t / tau) - (q * q - 1.0 + (q - 1.0) * t / s) * exp(-t / s);
        /* Sampled poles are up to half a frame off each: 1.5 frames of the steepest 0.1 dB a ms. */
        ck_assert_double_eq_tol((double)got[i], 10.0 * form, 1.5 * 0.1 * 1e3 / rate);
    }
}
END_TEST

START_TEST(no_attack_is_steeper_than_the_bound) {
    for (int r = 0; r < N_RATES; r++)
        for (int attack_step = 0; attack_step < 7; attack_step++) {
            double attack = 0.1 + 0.3 * attack_step;
            Ballistics b = designed(RATES[r], attack, 10.0);
            size_t n = (size_t)(0.1 * RATES[r]);
            step(0.0f, 60.0f, 100, n / 2);
            step(0.0f, 60.0f, 100, n);
            for (size_t i = n / 2; i < n; i++)
                wanted[i] = 0.0f;
            ballistics_process(&b, wanted, got, n);
            double per_ms = RATES[r] * 1e-3, bound = 60.0 / (exp(1.0) * BALLISTICS_SMOOTH_MS);
            for (size_t i = 1; i < n; i++)
                ck_assert_double_le(fabs((double)got[i] - (double)got[i - 1]) * per_ms, bound);
        }
}
END_TEST

/* The loudest that a step of `db` makes above hz, on a full-scale tone of 200 Hz, over its phases.
 */
static double splatter_db(double attack_ms, double db, double hz) {
    const double rate = 48000.0;
    enum { N = 9600 };
    double worst = 0.0;
    step(0.0f, (float)db, 4800, N);
    for (int phase = 0; phase < 8; phase++) {
        Ballistics b = designed(rate, attack_ms, 100.0);
        ballistics_process(&b, wanted, got, N);
        signals_sine(other, N, rate, 200.0, 1.0, phase * 3.14159265 / 8.0);
        for (size_t i = 0; i < N; i++)
            other[i] *= powf(10.0f, -got[i] / 20.0f);
        signals_band_filter(other, other, N, rate, hz, rate);
        double peak = signals_peak(other + 4000, N - 4000);
        worst = peak > worst ? peak : worst;
    }
    return 20.0 * log10(worst);
}

START_TEST(the_fastest_attack_splatters_no_more_than_a_fade_of_a_millisecond) {
    /* A raised-cosine fade of 1 ms, the usual length that hides a cut (common practice), from 1 to
     * the gain of -12 or -60 dB leaves -42.6 and -40.0 dB above 2 kHz, -57.0 and -54.5 above 4 kHz,
     * measured likewise; an exponential attack of 0.1 ms with its corner -15.8, -5.7, -18.8, -8.8.
     * In dB a fall of 60 is steeper than one of 12 since most of it is inaudibly deep. */
    ck_assert_double_lt(splatter_db(0.1, 12.0, 2000.0), -42.6);
    ck_assert_double_lt(splatter_db(0.1, 12.0, 4000.0), -57.0);
    ck_assert_double_lt(splatter_db(0.1, 60.0, 4000.0), -45.0);
    /* At the ducker's default, 10 ms, the bare exponential would leave -56.9 dB above 4 kHz. */
    ck_assert_double_lt(splatter_db(10.0, 12.0, 4000.0), -85.0);
}
END_TEST

START_TEST(it_rests_exactly_at_its_goal_and_at_zero) {
    for (int r = 0; r < N_RATES; r++) {
        Ballistics b = designed(RATES[r], 0.1, 10.0);
        size_t n = (size_t)(0.5 * RATES[r]);
        step(7.3f, 0.0f, n / 2, n);
        ballistics_process(&b, wanted, got, n);
        ck_assert_float_eq(got[n / 2 - 1], 7.3f);
        ck_assert_float_eq(got[n - 1], 0.0f); /* 250 ms are 25 releases: 7.3 dB exp(-25) < 1e-7 */
    }
}
END_TEST

START_TEST(it_stays_between_the_smallest_and_the_largest_goal) {
    Ballistics b = designed(48000.0, 1.0, 20.0);
    Random random = random_seeded(61);
    for (size_t i = 0; i < 48000; i++)
        wanted[i] = (float)random_range(&random, 3.0, 11.0);
    b.state.y = b.state.z1 = b.state.z2 = 3.0;
    ballistics_process(&b, wanted, got, 48000);
    for (size_t i = 0; i < 48000; i++)
        ck_assert(got[i] >= 3.0f && got[i] <= 11.0f);
}
END_TEST

START_TEST(cutting_the_block_changes_no_bit) {
    Random random = random_seeded(62);
    for (size_t i = 0; i < 20000; i++)
        wanted[i] = random_unit(&random) < 0.001 ? 20.0f : i > 0 ? wanted[i - 1] * 0.99f : 0.0f;
    Ballistics b = designed(48000.0, 3.0, 50.0);
    ballistics_process(&b, wanted, got, 20000);
    ballistics_reset(&b);
    for (size_t at = 0; at < 20000;) {
        size_t n = random_below(&random, 300);
        n = n < 20000 - at ? n : 20000 - at;
        ballistics_process(&b, wanted + at, other + at, n);
        at += n;
    }
    ck_assert(signals_same_bits(got, other, 20000));
    ballistics_reset(&b);
    ballistics_process(&b, wanted, wanted, 20000);
    ck_assert(signals_same_bits(got, wanted, 20000));
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("ballistics");
    tcase_add_test(tcase, the_attack_given_is_the_first_moment_of_the_whole_response);
    tcase_add_test(tcase, the_release_is_exponential_in_db_with_the_time_given);
    tcase_add_test(tcase, the_release_follows_its_closed_form_from_the_start);
    tcase_add_test(tcase, no_attack_is_steeper_than_the_bound);
    tcase_add_test(tcase, the_fastest_attack_splatters_no_more_than_a_fade_of_a_millisecond);
    tcase_add_test(tcase, it_rests_exactly_at_its_goal_and_at_zero);
    tcase_add_test(tcase, it_stays_between_the_smallest_and_the_largest_goal);
    tcase_add_test(tcase, cutting_the_block_changes_no_bit);
    return run_tcase(tcase, "ballistics");
}
