/* SPDX-License-Identifier: ISC */
#include "filter/octave_bank.h"
#include "run_tcase.h"
#include "signals.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { LENGTH = 1 << 16 };
static const double RATES[] = {8000.0,  11025.0, 16000.0, 22050.0,  32000.0, 44100.0,
                               48000.0, 88200.0, 96000.0, 176400.0, 192000.0};
enum { N_RATES = sizeof RATES / sizeof *RATES };
static float in[LENGTH];

/* Mean power of each band over LENGTH frames, without the first quarter. */
static void mean_powers(double rate_hz, double mean[OCTAVE_BANK_BANDS]) {
    OctaveBank bank;
    octave_bank_prepare(&bank, rate_hz);
    memset(mean, 0, OCTAVE_BANK_BANDS * sizeof *mean);
    size_t groups = 0;
    for (size_t at = 0; at + bank.group <= LENGTH; at += bank.group) {
        float power[OCTAVE_BANK_BANDS], low[OCTAVE_BANK_MAX_LOW];
        octave_bank_group(&bank, in + at, power, low);
        if (at < LENGTH / 4)
            continue;
        groups++;
        for (int b = 0; b < OCTAVE_BANK_BANDS; b++)
            mean[b] += (double)power[b];
    }
    for (int b = 0; b < OCTAVE_BANK_BANDS; b++)
        mean[b] /= (double)groups;
}

START_TEST(a_sine_in_the_middle_of_a_band_is_in_that_band_alone) {
    /* Edges of 44.1 kHz and its kin are the tree's own; the middle of an octave is half an octave
     * from both, where the half-bands stop 50 dB. */
    const double rates[] = {22050.0, 44100.0, 48000.0, 88200.0, 96000.0};
    for (int r = 0; r < 5; r++)
        for (int b = 1; b < 6; b++) {
            double hz = 359.2 * pow(2.0, b - 0.5), mean[OCTAVE_BANK_BANDS];
            if (hz > 0.4 * rates[r])
                break;
            signals_sine(in, LENGTH, rates[r], hz, 1.0, 0.1);
            mean_powers(rates[r], mean);
            for (int k = 0; k < OCTAVE_BANK_BANDS; k++)
                if (k == b)
                    ck_assert_double_eq_tol(10.0 * log10(mean[k] / 0.5), 0.0, 0.05);
                else
                    ck_assert_double_le(10.0 * log10(mean[k] / 0.5), -45.0);
        }
}
END_TEST

START_TEST(the_bands_together_hold_all_the_power) {
    Random random = random_seeded(111);
    printf("seed 111\n");
    for (int r = 0; r < N_RATES; r++) {
        double mean[OCTAVE_BANK_BANDS], sum = 0.0;
        signals_noise(in, LENGTH, 0.25, &random);
        mean_powers(RATES[r], mean);
        for (int b = 0; b < OCTAVE_BANK_BANDS; b++)
            sum += mean[b];
        double rms = signals_rms(in + LENGTH / 4, LENGTH - LENGTH / 4);
        /* Power complementary; the rest is the noise at both ends of the stretch. */
        ck_assert_double_eq_tol(sum / (rms * rms), 1.0, 0.01);
    }
}
END_TEST

START_TEST(white_noise_gives_every_band_power_by_its_width_at_every_rate) {
    Random random = random_seeded(112);
    printf("seed 112\n");
    for (int r = 0; r < N_RATES; r++) {
        double mean[OCTAVE_BANK_BANDS], density = 2.0 / RATES[r];
        signals_noise(in, LENGTH, 1.0, &random);
        mean_powers(RATES[r], mean);
        for (int b = 2; b < 6; b++) {
            double from = 359.2 * pow(2.0, b - 1), to = fmin(2.0 * from, RATES[r] / 2.0);
            if (to <= from) {
                ck_assert_double_eq(mean[b], 0.0);
                continue;
            }
            /* The edges may be off by 4.4 % (0.2 dB of width), the noise by 4 deviations of
             * 4.34 sqrt(1 / B T) dB. */
            double bt = (to - from) * 0.75 * LENGTH / RATES[r];
            double off_db = 10.0 * log10(mean[b] / (density * (to - from)));
            if (to == 2.0 * from)
                ck_assert_double_le(fabs(off_db), 0.4 + 4.0 * 4.34 / sqrt(bt));
        }
    }
}
END_TEST

START_TEST(the_low_output_carries_the_low_part_of_the_audio) {
    for (int r = 0; r < N_RATES; r++) {
        OctaveBank bank;
        octave_bank_prepare(&bank, RATES[r]);
        ck_assert_double_gt(bank.low_rate_hz, 5400.0);
        ck_assert_double_le(bank.low_rate_hz, 10800.0);
        static float heard[LENGTH];
        size_t n = 0;
        signals_sine(in, LENGTH, RATES[r], 500.0, 0.5, 0.0);
        signals_sine_add(in, LENGTH, RATES[r], 0.47 * RATES[r], 0.5, 0.0);
        for (size_t at = 0; at + bank.group <= LENGTH; at += bank.group) {
            float power[OCTAVE_BANK_BANDS];
            octave_bank_group(&bank, in + at, power, heard + n);
            n += bank.low_frames;
        }
        ck_assert_double_eq_tol(signals_tone_amplitude(heard, n, bank.low_rate_hz, 500.0), 0.5,
                                0.005);
        if (bank.low_stages == 0)
            continue;
        double rms = signals_rms(heard + n / 4, n - n / 4); /* nothing but that tone */
        ck_assert_double_eq_tol(rms, 0.5 * sqrt(0.5), 0.005);
    }
}
END_TEST

START_TEST(the_lowest_edge_lies_between_240_and_480_hz) {
    for (double rate = 8000.0; rate <= 192000.0; rate *= 1.07) {
        OctaveBank bank;
        octave_bank_prepare(&bank, rate);
        double edge = rate / 2.0 / (double)bank.group;
        ck_assert_double_gt(edge, 240.0);
        ck_assert_double_le(edge, 480.0);
        ck_assert_uint_le(bank.stages, OCTAVE_BANK_MAX_STAGES);
        ck_assert_uint_le(bank.group, OCTAVE_BANK_MAX_GROUP);
        ck_assert_uint_le(bank.low_frames, OCTAVE_BANK_MAX_LOW);
    }
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("octave_bank");
    tcase_add_test(tcase, a_sine_in_the_middle_of_a_band_is_in_that_band_alone);
    tcase_add_test(tcase, the_bands_together_hold_all_the_power);
    tcase_add_test(tcase, white_noise_gives_every_band_power_by_its_width_at_every_rate);
    tcase_add_test(tcase, the_low_output_carries_the_low_part_of_the_audio);
    tcase_add_test(tcase, the_lowest_edge_lies_between_240_and_480_hz);
    return run_tcase(tcase, "octave_bank");
}
