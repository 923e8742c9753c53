/* SPDX-License-Identifier: ISC */
#include "filter/oversample.h"
#include "run_tcase.h"
#include "signals.h"

#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { LENGTH = 1 << 14, SETTLED = 512 };
static float in[LENGTH], out[LENGTH], high[(size_t)LENGTH * OVERSAMPLE_PHASES];

/* Up, in blocks, into `high`, frames in order; and down again into out when `back`. */
static void run(Oversample *over, size_t from, size_t n, size_t block, bool back) {
    unsigned phases = 1u << over->stages;
    for (size_t at = from; at < from + n; at += block) {
        OversampleTop top;
        size_t now = from + n - at < block ? from + n - at : block;
        oversample_up(over, in + at, top, now);
        for (size_t i = 0; i < now; i++)
            for (unsigned p = 0; p < phases; p++)
                high[(at + i) * phases + p] = top[p][i];
        if (back)
            oversample_down(over, top, out + at, now);
    }
}

/* Gain up and down of a sine of `share` of the rate, dB. */
static double gain_db(unsigned stages, double share) {
    Oversample over;
    oversample_prepare(&over, stages, OVERSAMPLE_SHAPE);
    signals_sine(in, LENGTH, 1.0, share, 1.0, 0.3);
    run(&over, 0, LENGTH, OVERSAMPLE_BLOCK, true);
    return 20.0 *
           log10(signals_tone_amplitude(out + SETTLED, LENGTH - SETTLED, 1.0, share) + 1e-12);
}

START_TEST(up_and_down_is_symmetric_about_the_delay_it_tells) {
    /* Linear phase: an impulse comes out as large so many frames before as after. Sums of products
     * in another order, so not to the bit. */
    const size_t delays[] = {31, 35, 37};
    for (unsigned stages = 1; stages <= OVERSAMPLE_STAGES; stages++) {
        Oversample over;
        oversample_prepare(&over, stages, OVERSAMPLE_SHAPE);
        size_t delay = oversample_delay(&over);
        ck_assert_uint_eq(delay, delays[stages - 1]);
        memset(in, 0, sizeof in);
        in[100] = 1.0f;
        run(&over, 0, 512, OVERSAMPLE_BLOCK, true);
        for (size_t k = 1; k <= delay; k++)
            ck_assert_double_eq_tol((double)out[100 + delay - k], (double)out[100 + delay + k],
                                    2e-7);
        ck_assert_double_ge((double)out[100 + delay], 0.8);
        for (size_t k = 100 + 2 * delay + 2; k < 512; k++)
            ck_assert(out[k] == 0.0f);
    }
}
END_TEST

START_TEST(it_is_flat_where_it_says) {
    for (unsigned stages = 1; stages <= OVERSAMPLE_STAGES; stages++) {
        for (int k = 1; k <= 40; k++)
            ck_assert_double_eq_tol(gain_db(stages, 0.01 * k), 0.0, 0.01);
        ck_assert_double_ge(gain_db(stages, 0.42), -0.1);
    }
}
END_TEST

START_TEST(images_and_what_would_fold_are_86_db_down) {
    /* A sine of f of the rate has images at 1 - f, 1 + f, ... of it; on the way down, those
     * fold. */
    for (unsigned stages = 1; stages <= OVERSAMPLE_STAGES; stages++)
        for (int k = 1; k <= 39; k += 2) {
            Oversample over;
            unsigned phases = 1u << stages;
            double share = 0.01 * k + 0.0013;
            oversample_prepare(&over, stages, OVERSAMPLE_SHAPE);
            signals_sine(in, LENGTH, 1.0, share, 1.0, 0.3);
            run(&over, 0, LENGTH, OVERSAMPLE_BLOCK, false);
            size_t skip = (size_t)SETTLED * phases, n = (size_t)LENGTH * phases - skip;
            for (unsigned m = 1; m <= phases / 2; m++)
                for (int sign = -1; sign <= 1; sign += 2) {
                    double image = ((double)m + sign * share) / phases;
                    if (image < 0.5)
                        ck_assert_double_le(signals_tone_amplitude(high + skip, n, 1.0, image),
                                            5e-5);
                }
            /* The same image alone, downwards. */
            Oversample down;
            oversample_prepare(&down, stages, OVERSAMPLE_SHAPE);
            signals_sine(high, (size_t)LENGTH * phases, 1.0, (1.0 - share) / phases, 1.0, 0.3);
            for (size_t at = 0; at < LENGTH; at += OVERSAMPLE_BLOCK) {
                OversampleTop top;
                for (size_t i = 0; i < OVERSAMPLE_BLOCK; i++)
                    for (unsigned p = 0; p < phases; p++)
                        top[p][i] = high[(at + i) * phases + p];
                oversample_down(&down, top, out + at, OVERSAMPLE_BLOCK);
            }
            ck_assert_double_le(signals_tone_amplitude(out + SETTLED, LENGTH - SETTLED, 1.0, share),
                                5e-5);
        }
}
END_TEST

START_TEST(frames_in_are_among_the_frames_of_the_high_rate_to_the_bit) {
    /* A half-band filter leaves every second frame as it is (Bellanger and others 1974). */
    Random random = random_seeded(5);
    signals_noise(in, LENGTH, 0.3, &random);
    for (int use = 0; use < 2; use++)
        for (unsigned stages = 1; stages <= OVERSAMPLE_STAGES; stages++) {
            Oversample over;
            oversample_prepare(&over, stages, use ? OVERSAMPLE_READ : OVERSAMPLE_SHAPE);
            run(&over, 0, LENGTH, OVERSAMPLE_BLOCK, false);
            size_t rise = oversample_rise(&over);
            for (size_t i = 0; ((i << stages) + rise) < (size_t)LENGTH << stages; i++)
                ck_assert(high[(i << stages) + rise] == in[i]);
        }
}
END_TEST

START_TEST(taps_are_a_sinc_under_kaisers_window) {
    /* scipy 1.10: sinc(k / 2) kaiser(17, 9.6)[1:-1], k odd, -7..7, over their sum. */
    const double tap[] = {-0.00093954, 0.01761511, -0.10951211, 0.59283654};
    Oversample over;
    oversample_prepare(&over, 3, OVERSAMPLE_SHAPE);
    for (int l = 0; l < 4; l++)
        ck_assert_double_eq_tol((double)over.stage[2].tap[l], tap[l], 1e-7);
}
END_TEST

START_TEST(cutting_changes_no_bit) {
    Random random = random_seeded(6);
    signals_noise(in, LENGTH, 0.3, &random);
    static float whole[LENGTH];
    for (unsigned stages = 1; stages <= OVERSAMPLE_STAGES; stages++) {
        Oversample over;
        oversample_prepare(&over, stages, OVERSAMPLE_SHAPE);
        run(&over, 0, LENGTH, OVERSAMPLE_BLOCK, true);
        memcpy(whole, out, sizeof whole);
        oversample_reset(&over);
        for (size_t at = 0; at < LENGTH;) {
            size_t n = random_below(&random, 90);
            n = n < LENGTH - at ? n : LENGTH - at;
            run(&over, at, n, 1 + random_below(&random, OVERSAMPLE_BLOCK), true);
            at += n;
        }
        ck_assert(signals_same_bits(whole, out, LENGTH));
    }
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("oversample");
    tcase_add_test(tcase, up_and_down_is_symmetric_about_the_delay_it_tells);
    tcase_add_test(tcase, it_is_flat_where_it_says);
    tcase_add_test(tcase, images_and_what_would_fold_are_86_db_down);
    tcase_add_test(tcase, frames_in_are_among_the_frames_of_the_high_rate_to_the_bit);
    tcase_add_test(tcase, taps_are_a_sinc_under_kaisers_window);
    tcase_add_test(tcase, cutting_changes_no_bit);
    tcase_set_timeout(tcase, 60);
    return run_tcase(tcase, "oversample");
}
