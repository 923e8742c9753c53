/* SPDX-License-Identifier: ISC */
#include "basic/maths.h"
#include "filter/decimator.h"
#include "run_tcase.h"
#include "signals.h"

#include <check.h>
#include <math.h>
#include <stdlib.h>

enum { MEMORY = 1 << 16, LOW_FRAMES = 2048, MOST = 96, SETTLED = 16 };
static unsigned char memory[MEMORY];
static float in[LOW_FRAMES * MOST], out[LOW_FRAMES];
static const size_t factors[] = {1, 2, 4, 22, 96};

static Decimator make(size_t factor) {
    Decimator decimator;
    Arena arena = arena_over(memory, MEMORY);
    ck_assert(decimator_prepare(&decimator, factor, &arena));
    return decimator;
}

/* Mean square, in dB, of what comes out for a sine of amplitude sqrt(2), hz of the low rate. */
static double level_db(size_t factor, double hz) {
    Decimator decimator = make(factor);
    size_t count = 0;
    signals_sine(in, LOW_FRAMES * factor, (double)factor, hz, sqrt(2.0), 0.3);
    for (size_t i = 0; i < LOW_FRAMES * factor; i++)
        count += decimator_step(&decimator, in[i], &out[count]);
    ck_assert_uint_eq(count, LOW_FRAMES);
    return signals_rms_db(out + SETTLED, LOW_FRAMES - SETTLED);
}

START_TEST(what_lies_below_a_quarter_of_the_low_rate_passes_unchanged) {
    /* A sine's mean square over n frames strays by 1 / (n sin 2 pi hz) of itself at most. */
    for (size_t f = 0; f < 5; f++)
        for (double hz = 0.013; hz < 0.25; hz += 0.0171)
            ck_assert_double_eq_tol(level_db(factors[f], hz), 0.0,
                                    1e-4 + 4.343 / (2032.0 * sin(2.0 * PI * hz)));
}
END_TEST

START_TEST(what_folds_there_is_120_db_down) {
    /* 1.5 dB for taps and sums in float: 2^-24 a rounding is -144 dB. */
    for (size_t f = 1; f < 5; f++)
        for (size_t k = 1; 2 * k <= factors[f]; k++)
            for (double beside = -0.25; beside < 0.26; beside += 0.0833)
                if ((double)k + beside < 0.5 * (double)factors[f])
                    ck_assert_double_le(level_db(factors[f], (double)k + beside),
                                        factors[f] < 4 ? -110.0 : -118.5);
}
END_TEST

START_TEST(an_impulse_comes_out_8_low_frames_later_and_is_symmetric) {
    Decimator decimator = make(4);
    double sum = 0.0, moment = 0.0;
    size_t count = 0;
    for (size_t i = 0; i < 256; i++)
        if (decimator_step(&decimator, i == 64 ? 1.0f : 0.0f, &out[count])) {
            /* Frame 4 c + 3 is the last that went into output c. */
            sum += (double)out[count];
            moment += (double)out[count] * (4.0 * (double)count + 3.0 - 64.0);
            count++;
        }
    ck_assert_double_eq_tol(sum, 0.25, 1e-6);
    ck_assert_double_eq_tol(moment / sum, 31.5, 1e-4);
}
END_TEST

START_TEST(a_reset_forgets_and_a_full_arena_is_refused) {
    Decimator decimator = make(22);
    float first = 0.0f, again = 0.0f;
    for (size_t i = 0; i < 1000; i++)
        decimator_step(&decimator, 0.5f, &first);
    decimator_reset(&decimator);
    for (size_t i = 0; i < 22; i++)
        ck_assert(decimator_step(&decimator, 0.0f, &again) == (i == 21));
    ck_assert_float_eq(again, 0.0f);
    Arena small = arena_over(memory, 1024);
    ck_assert(!decimator_prepare(&decimator, 22, &small));
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("decimator");
    tcase_add_test(tcase, what_lies_below_a_quarter_of_the_low_rate_passes_unchanged);
    tcase_add_test(tcase, what_folds_there_is_120_db_down);
    tcase_add_test(tcase, an_impulse_comes_out_8_low_frames_later_and_is_symmetric);
    tcase_add_test(tcase, a_reset_forgets_and_a_full_arena_is_refused);
    tcase_set_timeout(tcase, 60);
    return run_tcase(tcase, "decimator");
}
