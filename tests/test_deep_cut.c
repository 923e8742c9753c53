/* SPDX-License-Identifier: ISC */
#include "filter/deep_cut.h"

#include "basic/maths.h"
#include "run_tcase.h"
#include "signals.h"

#include <check.h>
#include <math.h>
#include <string.h>

enum { LENGTH = 96000 };
static float one[LENGTH], two[LENGTH], before[LENGTH];
static const double RATES[] = {8000.0, 44100.0, 48000.0, 192000.0};
enum { N_RATES = 4 };

static void run(DeepCut *cut, const DeepCutParams *params, size_t from, size_t n) {
    float *const audio[2] = {one + from, two + from};
    deep_cut_process(cut, params, audio, n);
}

/* |H|^2 = (u^8 + A^8) / (u^8 + 1), u the ratio of the frequencies under the bilinear warp. */
static double law_db(double hz, double corner_hz, double rate_hz, double reduction_db) {
    double u8 = pow(tan(PI * hz / rate_hz) / tan(PI * corner_hz / rate_hz), 8.0);
    double a8 = pow(10.0, -reduction_db / 10.0);
    return 10.0 * log10((u8 + a8) / (u8 + 1.0));
}

START_TEST(its_law_is_that_of_a_butterworth_with_a_floor) {
    for (int r = 0; r < N_RATES; r++)
        for (double hz = 20.0; hz < 1000.0; hz *= 1.7)
            for (float reduction_db = 6.0f; reduction_db <= 24.0f; reduction_db += 9.0f) {
                DeepCut cut;
                deep_cut_prepare(&cut, RATES[r], 2);
                size_t n = (size_t)(0.5 * RATES[r]), settle = n / 2;
                signals_sine(one, n, RATES[r], hz, 0.5, 0.0);
                memcpy(two, one, n * sizeof *one);
                run(&cut, &(DeepCutParams){120.0, reduction_db, true}, 0, n);
                /* The correlation takes 4 periods and more to be right within 0.1 %. */
                double is = signals_tone_amplitude(one + settle, n - settle, RATES[r], hz);
                ck_assert_double_eq_tol(20.0 * log10(is / 0.5),
                                        law_db(hz, 120.0, RATES[r], (double)reduction_db), 0.05);
                ck_assert(signals_same_bits(one, two, n));
            }
}
END_TEST

START_TEST(at_rest_and_when_it_has_come_back_it_passes_every_bit) {
    Random random = random_seeded(1);
    DeepCut cut;
    deep_cut_prepare(&cut, 48000.0, 2);
    signals_noise(one, LENGTH, 0.1, &random);
    memcpy(two, one, sizeof two);
    memcpy(before, one, sizeof before);
    run(&cut, &(DeepCutParams){100.0, 0.0f, false}, 0, 4800);
    run(&cut, &(DeepCutParams){100.0, 0.0f, true}, 4800, 4800);
    ck_assert(signals_same_bits(one, before, 9600));
    run(&cut, &(DeepCutParams){100.0, 18.0f, true}, 9600, 4800);
    ck_assert(!signals_same_bits(one + 9600, before + 9600, 4800));
    /* A comes from 10^(-18/80) = 0.6 to within 1e-5 of 1 in ln(0.4 / 1e-5) 30 ms = 318 ms. */
    run(&cut, &(DeepCutParams){100.0, 0.0f, false}, 14400, 15360);
    ck_assert(cut.state.at_work == false);
    run(&cut, &(DeepCutParams){100.0, 0.0f, false}, 29760, LENGTH - 29760);
    ck_assert(signals_same_bits(one + 29760, before + 29760, LENGTH - 29760));
}
END_TEST

START_TEST(it_begins_and_ends_without_a_step) {
    /* A tone far above the corner is passed within law_db(1 kHz) = 1e-7 dB; so a step in the gain
     * or a jump of states would stand out of it. */
    DeepCut cut;
    deep_cut_prepare(&cut, 48000.0, 1);
    signals_sine(one, LENGTH, 48000.0, 3000.0, 0.5, 0.0);
    memcpy(before, one, sizeof before);
    float *const audio[1] = {one};
    for (size_t at = 0; at < LENGTH; at += 480) {
        float *const now[1] = {audio[0] + at};
        float db = at / 9600 % 2 ? 24.0f : 0.0f;
        deep_cut_process(&cut, &(DeepCutParams){100.0, db, false}, now, 480);
    }
    /* The first-order part of H - 1 at f >> corner: (A^4 - 1 sections' k) corner/f
     * = 2 (1 - A) (0.92 + 0.38) / 30 = 0.043 at most, of 0.5: a phase, no step. From frame to frame
     * it moves by 1 / (2 ms 48 kHz) of that: 2.2e-4. */
    double most = 0.0;
    for (size_t i = 1; i < LENGTH; i++)
        most = fmax(most, fabs((double)((one[i] - before[i]) - (one[i - 1] - before[i - 1]))));
    /* The difference is itself a tone of 3 kHz, which moves by 2 pi 3 / 48 = 0.39 of its height. */
    ck_assert_double_le(most, 0.5 * 0.043 * 0.4);
}
END_TEST

START_TEST(no_peak_is_raised_by_more_than_documented) {
    const double most_db[] = {4.67, 6.51, 7.49, 8.10};
    for (int k = 0; k < 4; k++) {
        const float db = 6.0f * (float)(k + 1);
        DeepCut cut;
        deep_cut_prepare(&cut, 48000.0, 2);
        signals_silence(one, LENGTH);
        signals_silence(two, LENGTH);
        run(&cut, &(DeepCutParams){100.0, db, true}, 0, 48000);
        one[48000] = 1.0f;
        run(&cut, &(DeepCutParams){100.0, db, true}, 48000, 48000);
        double sum = 0.0;
        for (size_t i = 48000; i < LENGTH; i++)
            sum += fabs((double)one[i]);
        ck_assert_double_le(20.0 * log10(sum), most_db[k]);
    }
}
END_TEST

START_TEST(cutting_the_block_changes_no_bit) {
    static float other[LENGTH];
    Random random = random_seeded(2);
    for (int pass = 0; pass < 2; pass++) {
        DeepCut cut;
        deep_cut_prepare(&cut, 48000.0, 2);
        Random noise = random_seeded(3);
        signals_noise(one, LENGTH, 0.1, &noise);
        signals_noise(two, LENGTH, 0.1, &noise);
        for (size_t at = 0; at < LENGTH;) {
            size_t left = 4800 - at % 4800;
            size_t n = pass ? 1 + random_below(&random, 700) : left;
            n = n < left ? n : left;
            float db = at / 4800 % 8 == 1 ? 20.0f : 0.0f;
            run(&cut, &(DeepCutParams){100.0, db, at / 4800 % 3 == 0}, at, n);
            at += n;
        }
        if (pass == 0)
            memcpy(other, one, sizeof other);
    }
    ck_assert_uint_eq(signals_first_difference(one, other, LENGTH), LENGTH);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("deep_cut");
    tcase_add_test(tcase, its_law_is_that_of_a_butterworth_with_a_floor);
    tcase_add_test(tcase, at_rest_and_when_it_has_come_back_it_passes_every_bit);
    tcase_add_test(tcase, it_begins_and_ends_without_a_step);
    tcase_add_test(tcase, no_peak_is_raised_by_more_than_documented);
    tcase_add_test(tcase, cutting_the_block_changes_no_bit);
    return run_tcase(tcase, "deep_cut");
}
