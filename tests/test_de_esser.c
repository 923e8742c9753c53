/* SPDX-License-Identifier: ISC */
/* The whole of de-esser: each control against its effect in numbers. A tone with harmonics is the
 * vowel, bands of noise are the sibilants. */
/* NOLINTNEXTLINE(bugprone-suspicious-include): to reach its tables. */
#include "../plugins/de-esser/de-esser_plugin.c"

#include "plugin_run.h"
#include "run_tcase.h"
#include "signals.h"

#include <stdio.h>

enum { RATE = 48000, LENGTH = 5 * RATE };
/* Vowels until 2 s and from 2.3 s; the sibilant between them, or, alone, from 4.0 to 4.4 s, which
 * then goes on 14 dB quieter, under the threshold. */
static const double AT = 2.0, TO = 2.3, ALONE_AT = 4.0, ALONE_TO = 4.4;

static float audio[LENGTH];
static PluginUnderTest esser;

/* Partials of random phase, evenly apart: noise without skirts. Its ends are faded over 2 ms. */
static void lay_noise(double from_s, double to_s, double low_hz, double high_hz, double db) {
    enum { PARTIALS = 40 };
    size_t from = (size_t)(from_s * RATE), n = (size_t)((to_s - from_s) * RATE);
    float *noise = plugin_run_memory(n, sizeof *noise);
    Random random = random_seeded(11);
    for (size_t k = 0; k < PARTIALS; k++)
        signals_sine_add(noise, n, RATE, low_hz + (high_hz - low_hz) * (double)k / PARTIALS,
                         sqrt(2.0 / PARTIALS) * pow(10.0, db / 20.0),
                         random_range(&random, 0.0, 6.28));
    signals_fade_ends(noise, n, RATE / 500);
    signals_add(audio + from, noise, n);
    free(noise);
}

/* A vowel of -20 dBFS without anything over 3 kHz, and two sibilants of so much. */
static void lay(double low_hz, double high_hz, double db) {
    static float vowel[LENGTH];
    signals_silence(audio, LENGTH);
    signals_harmonics(vowel, LENGTH, RATE, 200.0, 3000.0, -12.0, 1.0);
    signals_scale(vowel, LENGTH, 0.1 / signals_rms(vowel, LENGTH));
    size_t at = (size_t)(AT * RATE), to = (size_t)(TO * RATE), end = (size_t)(3.5 * RATE);
    memcpy(audio, vowel, at * sizeof *audio);
    memcpy(audio + to, vowel + to, (end - to) * sizeof *audio);
    lay_noise(AT, TO, low_hz, high_hz, db);
    lay_noise(ALONE_AT, ALONE_TO, low_hz, high_hz, db);
    lay_noise(ALONE_TO, 4.9, low_hz, high_hz, db - 14.0);
}

/* The largest reduction of the sibilant between vowels, with one control at a value. */
static double most_with(int control, float value) {
    float before = esser.control[control];
    esser.control[control] = value;
    PluginRun made = plugin_run(&esser, audio, LENGTH);
    double most = plugin_run_most(&esser, &made, AT, TO);
    esser.control[control] = before;
    plugin_run_free(&made);
    return most;
}

static void begin(void) {
    esser = plugin_new(RATE);
    esser.control[RANGE] = 24.0f;
    lay(5000.0, 9000.0, -24.0);
}

static void end(void) {
    plugin_free(&esser);
}

/* The law is linear in strength, and so is the smoothing. */
START_TEST(strength_is_the_share_that_is_taken) {
    double all = most_with(STRENGTH, 100.0f);
    ck_assert_double_ge(all, 6.0);
    ck_assert_double_eq_tol(most_with(STRENGTH, 50.0f) / all, 0.5, 0.01);
    ck_assert_double_eq_tol(most_with(STRENGTH, 80.0f) / all, 0.8, 0.01);
    ck_assert_double_eq(most_with(STRENGTH, 0.0f), 0.0);
}
END_TEST

START_TEST(a_ratio_3_db_higher_takes_3_db_less) {
    esser.control[STRENGTH] = 100.0f;
    double usual = most_with(RATIO, DEFAULT_RATIO_DB);
    ck_assert_double_eq_tol(usual - most_with(RATIO, DEFAULT_RATIO_DB + 3.0f), 3.0, 0.3);
    ck_assert_double_eq_tol(usual - most_with(RATIO, DEFAULT_RATIO_DB - 3.0f), -3.0, 0.3);
    ck_assert_double_eq(most_with(RATIO, 24.0f), 0.0);
}
END_TEST

START_TEST(range_is_the_most_that_is_ever_cut) {
    esser.control[STRENGTH] = 100.0f;
    ck_assert_double_eq_tol(most_with(RANGE, 4.0f), 4.0, 1e-3);
    ck_assert_double_eq_tol(most_with(RANGE, 2.0f), 2.0, 1e-3);
    ck_assert_double_eq(most_with(RANGE, 0.0f), 0.0);
}
END_TEST

/* In the middle of the sibilant, where attack is over. */
START_TEST(the_band_falls_by_what_the_meter_says) {
    PluginRun made = plugin_run(&esser, audio, LENGTH);
    size_t from = (size_t)(2.1 * RATE), n = RATE / 10, steps = n / PLUGIN_RUN_STEP;
    double fell = signals_rms_db(audio + from, n) - signals_rms_db(made.out + from, n), mean = 0.0;
    for (size_t i = 0; i < steps; i++)
        mean += (double)made.reduction_db[from / PLUGIN_RUN_STEP + i] / (double)steps;
    printf("fell by %.2f dB, reduction %.2f dB\n", fell, mean);
    ck_assert_double_ge(mean, 4.0);
    ck_assert_double_eq_tol(fell, mean,
                            1.5); /* what lies at the edges of the noise falls by less */
    plugin_run_free(&made);
}
END_TEST

START_TEST(vowels_pass_bit_for_bit) {
    PluginRun made = plugin_run(&esser, audio, LENGTH);
    size_t before = (size_t)(1.95 * RATE), after = (size_t)(2.5 * RATE);
    ck_assert(signals_same_bits(made.out, audio, before));
    ck_assert(signals_same_bits(made.out + after, audio + after, (size_t)RATE));
    plugin_run_free(&made);
}
END_TEST

/* r = R (1 - exp(-t / attack)): 63 % after one time constant. What else takes time is the same for
 * both. */
static double attack_time(float attack_ms) {
    esser.control[ATTACK] = attack_ms;
    PluginRun made = plugin_run(&esser, audio, LENGTH);
    double most = plugin_run_most(&esser, &made, AT, TO);
    double at = plugin_run_time(&esser, &made, AT - 0.05, true, 0.632 * most);
    plugin_run_free(&made);
    return at;
}

START_TEST(attack_is_a_time_constant) {
    double fast = attack_time(1.0f);
    for (float ms = 5.0f; ms <= 20.0f; ms *= 2.0f) {
        double later = 1e3 * (attack_time(ms) - fast);
        printf("attack %g ms: %.2f ms after 1 ms\n", (double)ms, later);
        ck_assert_double_eq_tol(later, (double)ms - 1.0, 0.35 * (double)ms + 1.0);
    }
}
END_TEST

/* Where it dies away: down to 37 % of what it was within one time constant. */
START_TEST(release_is_a_time_constant) {
    for (float ms = 30.0f; ms <= 240.0f; ms *= 2.0f) {
        esser.control[RELEASE] = ms;
        PluginRun made = plugin_run(&esser, audio, LENGTH);
        double most = plugin_run_most(&esser, &made, ALONE_TO - 0.05, ALONE_TO + 0.02);
        double from = plugin_run_time(&esser, &made, ALONE_TO, false, 0.9 * most);
        double took =
            1e3 * (plugin_run_time(&esser, &made, from, false, 0.9 * 0.368 * most) - from);
        printf("release %g ms: %.1f ms\n", (double)ms, took);
        ck_assert_double_ge(most, 3.0);
        ck_assert_double_eq_tol(took, (double)ms, 0.25 * (double)ms);
        plugin_run_free(&made);
    }
}
END_TEST

/* The band's edges fall by 12 dB an octave, so that what lies beyond counts for less, and at
 * strength 80 is cut by less. */
START_TEST(only_what_lies_in_the_band_is_taken) {
    lay(2100.0, 2400.0, -27.0);
    double beyond = most_with(BAND_LOW, 4500.0f), within = most_with(BAND_LOW, 2000.0f);
    printf("2100 to 2400 Hz: %.2f dB with a band from 4500 Hz, %.2f dB from 2000 Hz\n", beyond,
           within);
    ck_assert_double_le(beyond, 1.0);
    ck_assert_double_ge(within, 4.0);
    lay(17500.0, 19000.0, -27.0);
    beyond = most_with(BAND_HIGH, 10000.0f), within = most_with(BAND_HIGH, 20000.0f);
    printf("17.5 to 19 kHz: %.2f dB with a band to 10 kHz, %.2f dB to 20 kHz\n", beyond, within);
    ck_assert_double_le(beyond, within - 3.0);
    ck_assert_double_ge(within, 4.0);
}
END_TEST

/* A louder sibilant reads higher by as much, and a gain in front changes nothing. */
static double sibilance(double gain) {
    signals_scale(audio, LENGTH, gain);
    PluginRun made = plugin_run(&esser, audio, LENGTH);
    double most = -100.0;
    for (size_t i = (size_t)(AT * RATE) / PLUGIN_RUN_STEP;
         i < (size_t)(TO * RATE) / PLUGIN_RUN_STEP; i++)
        most = fmax(most, (double)made.meter[i][SIBILANCE]);
    plugin_run_free(&made);
    return most;
}

START_TEST(the_meter_sibilance_reads_the_excess_over_the_vowels) {
    double usual = sibilance(1.0);
    ck_assert_double_eq_tol(sibilance(0.25), usual, 0.05);
    lay(5000.0, 9000.0, -18.0);
    ck_assert_double_eq_tol(sibilance(1.0), usual + 6.0, 0.5);
    /* -24 dB under a vowel of -20 dB, by power in the band */
    ck_assert_double_eq_tol(usual, -4.0, 2.5);
}
END_TEST

START_TEST(the_meter_centre_reads_where_it_lies_and_rests_at_its_minimum) {
    static const double centres[] = {6000.0, 7000.0, 9000.0};
    for (size_t k = 0; k < 3; k++) {
        lay(centres[k] - 500.0, centres[k] + 500.0, -24.0);
        PluginRun made = plugin_run(&esser, audio, LENGTH);
        size_t middle = (size_t)(2.2 * RATE) / PLUGIN_RUN_STEP,
               vowel = (size_t)(1.0 * RATE) / PLUGIN_RUN_STEP;
        ck_assert_double_eq_tol((double)made.meter[middle][CENTRE], centres[k], 600.0);
        ck_assert_float_eq(made.meter[vowel][CENTRE], METERS[CENTRE].minimum);
        plugin_run_free(&made);
    }
}
END_TEST

int main(void) {
    TCase *tc = tcase_create("de_esser");
    tcase_add_checked_fixture(tc, begin, end);
    tcase_set_timeout(tc, 120.0);
    tcase_add_test(tc, strength_is_the_share_that_is_taken);
    tcase_add_test(tc, a_ratio_3_db_higher_takes_3_db_less);
    tcase_add_test(tc, range_is_the_most_that_is_ever_cut);
    tcase_add_test(tc, the_band_falls_by_what_the_meter_says);
    tcase_add_test(tc, vowels_pass_bit_for_bit);
    tcase_add_test(tc, attack_is_a_time_constant);
    tcase_add_test(tc, release_is_a_time_constant);
    tcase_add_test(tc, only_what_lies_in_the_band_is_taken);
    tcase_add_test(tc, the_meter_sibilance_reads_the_excess_over_the_vowels);
    tcase_add_test(tc, the_meter_centre_reads_where_it_lies_and_rests_at_its_minimum);
    return run_tcase(tc, "de_esser");
}
