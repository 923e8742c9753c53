/* SPDX-License-Identifier: ISC */
#include "run_tcase.h"
#include "signals.h"
#include "voice/voice_sense.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { LENGTH = 1 << 18, MOST_HOPS = LENGTH / 16 };
static const double RATES[] = {8000.0, 11025.0, 16000.0, 44100.0, 48000.0, 96000.0, 192000.0};
enum { N_RATES = sizeof RATES / sizeof *RATES };
static VoiceSense sense;
static float in[LENGTH];
static VoiceFrame frames[MOST_HOPS];

static size_t sensed(double rate_hz, size_t n) {
    voice_sense_prepare(&sense, rate_hz);
    size_t hops = 0, group = sense.bank.group;
    for (size_t at = 0; at + group <= n; at += group)
        hops += voice_sense_group(&sense, in + at, &frames[hops]);
    return hops;
}

static double all_power(const VoiceFrame *frame) {
    double sum = 0.0;
    for (int b = 0; b < OCTAVE_BANK_BANDS; b++)
        sum += (double)frame->power[b];
    return sum;
}

START_TEST(a_hop_is_as_near_to_5_33_ms_as_groups_allow) {
    for (double rate = 8000.0; rate <= 192000.0; rate *= 1.05) {
        voice_sense_prepare(&sense, rate);
        double ms = 1000.0 * (double)sense.hop / rate;
        ck_assert_double_ge(ms, 4.6);
        ck_assert_double_le(ms, 6.3);
        ck_assert_uint_eq(sense.hop, sense.groups * sense.bank.group);
        ck_assert_uint_le(sense.periodicity.hop, PERIODICITY_MAX_HOP);
        ck_assert_uint_le(sense.periodicity.longest, PERIODICITY_MAX_LAG);
    }
}
END_TEST

START_TEST(a_frame_belongs_to_the_middle_of_its_hop) {
    /* The centre of gravity, over the frames, of a short burst of noise is where the burst is,
     * within half a hop. */
    Random random = random_seeded(151);
    printf("seed 151\n");
    for (int r = 0; r < N_RATES; r++)
        for (int trial = 0; trial < 20; trial++) {
            size_t n = (size_t)(0.3 * RATES[r]), length = (size_t)(0.004 * RATES[r]);
            size_t at = (size_t)(random_range(&random, 0.1, 0.2) * RATES[r]);
            signals_silence(in, n);
            signals_noise(in + at, length, 0.1, &random);
            size_t hops = sensed(RATES[r], n);
            double weight = 0.0, sum = 0.0, energy = 0.0, middle = 0.0;
            for (size_t i = at; i < at + length; i++) {
                energy += (double)in[i] * (double)in[i];
                middle += (double)in[i] * (double)in[i] * ((double)i + 0.5);
            }
            for (size_t k = 0; k < hops; k++) {
                double power = all_power(&frames[k]);
                weight += power;
                sum += power * ((double)k - VOICE_SENSE_DELAY + 0.5) * (double)sense.hop;
            }
            ck_assert_double_eq_tol(sum / weight, middle / energy, 0.5 * (double)sense.hop);
        }
}
END_TEST

START_TEST(noise_in_an_octave_is_steady_within_2_db) {
    /* Welch 1967: windows worth 21 ms of 359 Hz bandwidth hold 2 B T = 15 degrees of freedom,
     * deviation 4.34 sqrt(2 / 15) = 1.6 dB; less in the wider bands. */
    Random random = random_seeded(152);
    printf("seed 152\n");
    signals_noise(in, LENGTH, 0.1, &random);
    size_t hops = sensed(48000.0, LENGTH);
    for (int b = 1; b < OCTAVE_BANK_BANDS; b++) {
        double mean = 0.0, square = 0.0, count = 0.0;
        for (size_t k = 10; k < hops; k++) {
            double db = 10.0 * log10((double)frames[k].power[b]);
            mean += db;
            square += db * db;
            count += 1.0;
        }
        double variance = square / count - (mean / count) * (mean / count);
        ck_assert_double_le(sqrt(variance), 2.0 * pow(2.0, -0.4 * (b - 1)));
    }
}
END_TEST

START_TEST(a_steady_sine_has_its_power_and_is_periodic) {
    for (int r = 0; r < N_RATES; r++) {
        signals_sine(in, LENGTH, RATES[r], 500.0, 0.5, 0.0);
        size_t hops = sensed(RATES[r], LENGTH / 2);
        for (size_t k = 20; k < hops; k++) {
            /* The lowest bands see few periods in 21 ms: half a dB of ripple. */
            ck_assert_double_eq_tol(10.0 * log10(all_power(&frames[k]) / 0.125), 0.0, 0.5);
            ck_assert_float_ge(frames[k].periodicity, 0.95f);
        }
    }
}
END_TEST

START_TEST(hops_that_reach_into_digital_silence_are_not_whole) {
    Random random = random_seeded(154);
    printf("seed 154\n");
    for (int r = 0; r < N_RATES; r++) {
        double rate = RATES[r];
        size_t from = (size_t)(0.1 * rate), to = (size_t)(0.2 * rate), n = (size_t)(0.3 * rate);
        n = n < LENGTH ? n : LENGTH;
        signals_noise(in, n, 1e-3, &random);
        memset(in + from, 0, (to - from) * sizeof *in);
        size_t hops = sensed(rate, n), cut = from / sense.hop, again = to / sense.hop;
        for (size_t k = 0; k < hops; k++) {
            bool reaches =
                k + 1 < VOICE_SENSE_WHOLE || (k > cut && k < again + VOICE_SENSE_WHOLE - 1);
            bool clear = (k + 1 > VOICE_SENSE_WHOLE && k < cut) || k > again + VOICE_SENSE_WHOLE;
            ck_assert(!reaches || !frames[k].whole);
            ck_assert(!clear || frames[k].whole);
        }
    }
}
END_TEST

START_TEST(reset_forgets_everything) {
    Random random = random_seeded(153);
    signals_noise(in, LENGTH, 0.1, &random);
    size_t hops = sensed(48000.0, 20000);
    static VoiceFrame first[MOST_HOPS];
    memcpy(first, frames, hops * sizeof *first);
    voice_sense_reset(&sense);
    size_t k = 0, group = sense.bank.group;
    for (size_t at = 0; at + group <= 20000; at += group)
        k += voice_sense_group(&sense, in + at, &frames[k]);
    ck_assert_uint_eq(k, hops);
    ck_assert_int_eq(memcmp(first, frames, hops * sizeof *first), 0);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("voice_sense");
    tcase_add_test(tcase, a_hop_is_as_near_to_5_33_ms_as_groups_allow);
    tcase_add_test(tcase, a_frame_belongs_to_the_middle_of_its_hop);
    tcase_add_test(tcase, noise_in_an_octave_is_steady_within_2_db);
    tcase_add_test(tcase, a_steady_sine_has_its_power_and_is_periodic);
    tcase_add_test(tcase, hops_that_reach_into_digital_silence_are_not_whole);
    tcase_add_test(tcase, reset_forgets_everything);
    return run_tcase(tcase, "voice_sense");
}
