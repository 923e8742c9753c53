/* SPDX-License-Identifier: ISC */
#include "basic/maths.h"
#include "filter/crossover.h"
#include "run_tcase.h"
#include "signals.h"

#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { LENGTH = 1 << 15, BANDS = CROSSOVER_BANDS };
static const double RATES[] = {44100.0, 48000.0, 96000.0, 192000.0};
static float in[2][LENGTH], band[BANDS][2][LENGTH], sum[LENGTH], other[BANDS][2][LENGTH];

static void run(Crossover *crossover, float audio[BANDS][2][LENGTH], size_t from, size_t n) {
    const float *const i[2] = {in[0] + from, in[1] + from};
    float *to[BANDS][2];
    for (int b = 0; b < BANDS; b++)
        for (int c = 0; c < 2; c++)
            to[b][c] = audio[b][c] + from;
    crossover_process(crossover, i, to, n);
}

static Crossover prepared(double rate, unsigned channels, float s1, float s2, float s3) {
    Crossover crossover;
    crossover_prepare(&crossover, rate, channels);
    crossover_set(&crossover, &(CrossoverParams){{s1, s2, s3}});
    return crossover;
}

/* Bands of a sine; the amplitude of each and of their sum, dB. */
static void split_sine(double rate, double hz, double db[BANDS], double *sum_db) {
    Crossover crossover = prepared(rate, 1, 180.0f, 1100.0f, 5500.0f);
    size_t skip = LENGTH / 4, n = LENGTH - skip;
    signals_sine(in[0], LENGTH, rate, hz, 1.0, 0.4);
    run(&crossover, band, 0, LENGTH);
    memset(sum, 0, sizeof sum);
    for (int b = 0; b < BANDS; b++) {
        db[b] = 20.0 * log10(signals_tone_amplitude(band[b][0] + skip, n, rate, hz) + 1e-10);
        signals_add(sum, band[b][0], LENGTH);
    }
    *sum_db = 20.0 * log10(signals_tone_amplitude(sum + skip, n, rate, hz));
}

START_TEST(bands_sum_to_a_flat_response) {
    /* An all-pass: each split's low and high sum to one, and each half passes the others'. The
     * bound of 0.01 dB is what the window measures; the chain itself is off by 1e-5 at most. */
    for (int r = 0; r < 4; r++)
        for (double hz = 40.0 * RATES[r] / 48000.0; hz < 0.45 * RATES[r]; hz *= 1.31) {
            double db[BANDS], sum_db;
            split_sine(RATES[r], hz, db, &sum_db);
            ck_assert_double_eq_tol(sum_db, 0.0, 0.01);
        }
}
END_TEST

START_TEST(neighbours_meet_6_02_db_down_and_in_phase) {
    /* Linkwitz 1976: -6.0206 dB each at the split; in phase, they sum to 0 dB there. Neighbouring
     * splits are 2.6 octaves off and take 0.06 dB at most, by 1 / (1 + u^4). */
    const double split[] = {180.0, 1100.0, 5500.0};
    for (int s = 0; s < 3; s++) {
        double db[BANDS], sum_db;
        split_sine(48000.0, split[s], db, &sum_db);
        ck_assert_double_eq_tol(db[s], -6.0206, 0.07);
        ck_assert_double_eq_tol(db[s + 1], -6.0206, 0.07);
        for (size_t t = LENGTH / 4; t < LENGTH; t++) /* one sine, in all but the far bands */
            ck_assert_double_eq_tol((double)band[s][0][t], (double)band[s + 1][0][t], 1e-3);
    }
}
END_TEST

START_TEST(slopes_are_those_of_the_fourth_order) {
    /* |LR4| = 1 / (1 + u^4), u the ratio of frequency and split under the bilinear warp. */
    for (double hz = 100.0; hz < 20000.0; hz *= 1.4) {
        double db[BANDS], sum_db;
        split_sine(48000.0, hz, db, &sum_db);
        double w = tan(PI * hz / 48000.0);
        double u1 = w / tan(PI * 180.0 / 48000.0), u2 = w / tan(PI * 1100.0 / 48000.0),
               u3 = w / tan(PI * 5500.0 / 48000.0);
        double low1 = 1.0 / (1.0 + pow(u1, 4.0)), low2 = 1.0 / (1.0 + pow(u2, 4.0)),
               low3 = 1.0 / (1.0 + pow(u3, 4.0));
        const double expected[] = {low2 * low1, low2 * (1.0 - low1), (1.0 - low2) * low3,
                                   (1.0 - low2) * (1.0 - low3)};
        for (int b = 0; b < BANDS; b++)
            if (expected[b] > 1e-3)
                ck_assert_double_eq_tol(db[b], 20.0 * log10(expected[b]), 0.02);
            else
                ck_assert_double_le(db[b], -59.0);
    }
}
END_TEST

static void fill(uint64_t seed) {
    Random random = random_seeded(seed);
    signals_noise(in[0], LENGTH, 0.3, &random);
    signals_noise(in[1], LENGTH, 0.3, &random);
}

START_TEST(channels_do_not_know_of_each_other) {
    fill(21);
    Crossover pair = prepared(48000.0, 2, 100.0f, 900.0f, 7000.0f);
    run(&pair, band, 0, LENGTH);
    for (int c = 0; c < 2; c++) {
        if (c == 1)
            memcpy(in[0], in[1], sizeof in[0]);
        Crossover one = prepared(48000.0, 1, 100.0f, 900.0f, 7000.0f);
        run(&one, other, 0, LENGTH);
        for (int b = 0; b < BANDS; b++)
            ck_assert(signals_same_bits(other[b][0], band[b][c], LENGTH));
    }
}
END_TEST

START_TEST(cutting_changes_no_bit_while_splits_move) {
    fill(22);
    Random random = random_seeded(23);
    for (int pass = 0; pass < 2; pass++) {
        Crossover crossover = prepared(48000.0, 2, 60.0f, 400.0f, 3000.0f);
        size_t at = 0;
        for (int part = 0; part < 2; part++) {
            size_t end = part ? LENGTH : LENGTH / 2;
            while (at < end) {
                size_t n = pass ? random_below(&random, 500) : end;
                n = n < end - at ? n : end - at;
                run(&crossover, pass ? other : band, at, n);
                at += n;
            }
            crossover_set(&crossover, &(CrossoverParams){{400.0f, 3000.0f, 12000.0f}});
        }
    }
    for (int b = 0; b < BANDS; b++)
        for (int c = 0; c < 2; c++)
            ck_assert(signals_same_bits(band[b][c], other[b][c], LENGTH));
}
END_TEST

START_TEST(a_split_that_jumps_makes_no_click) {
    /* A sine of 300 Hz has nothing above 8 kHz; what there is while all splits go from end to end
     * is under -70 dB of it, where a coefficient that jumped at once leaves over -50. */
    Crossover crossover = prepared(48000.0, 1, 60.0f, 400.0f, 3000.0f);
    signals_sine(in[0], LENGTH, 48000.0, 300.0, 0.5, 0.0);
    signals_fade_ends(in[0], LENGTH, 2000);
    run(&crossover, band, 0, LENGTH / 2);
    crossover_set(&crossover, &(CrossoverParams){{400.0f, 3000.0f, 12000.0f}});
    run(&crossover, band, LENGTH / 2, LENGTH / 2);
    for (int b = 0; b < BANDS; b++) {
        signals_band_filter(band[b][0], sum, LENGTH, 48000.0, 8000.0, 1e9);
        ck_assert_double_le(signals_peak(sum, LENGTH), 0.5 * 3.2e-4);
    }
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("crossover");
    tcase_add_test(tcase, bands_sum_to_a_flat_response);
    tcase_add_test(tcase, neighbours_meet_6_02_db_down_and_in_phase);
    tcase_add_test(tcase, slopes_are_those_of_the_fourth_order);
    tcase_add_test(tcase, channels_do_not_know_of_each_other);
    tcase_add_test(tcase, cutting_changes_no_bit_while_splits_move);
    tcase_add_test(tcase, a_split_that_jumps_makes_no_click);
    tcase_set_timeout(tcase, 60);
    return run_tcase(tcase, "crossover");
}
