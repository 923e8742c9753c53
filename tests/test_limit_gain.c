/* SPDX-License-Identifier: ISC */
#include "gain/limit_gain.h"
#include "run_tcase.h"
#include "signals.h"

#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { LENGTH = 100000 };
static const double RATES[] = {8000.0, 44100.0, 48000.0, 192000.0};
static const double LOOK_MS = 5.0;
static unsigned char memory[1 << 20];
static float peak[LENGTH], gain[LENGTH], other[LENGTH];

static LimitGain prepared(double rate, float ceiling, float release_ms) {
    LimitGain limit;
    Arena arena = arena_over(memory, sizeof memory);
    ck_assert(limit_gain_prepare(&limit, rate, LOOK_MS, &arena));
    limit_gain_set(&limit, &(LimitGainParams){ceiling, release_ms});
    return limit;
}

/* Quiet, with peaks of all sizes here and there, alone and in crowds. */
static void fill_peaks(Random *random) {
    for (size_t t = 0; t < LENGTH; t++)
        peak[t] = (float)random_unit(random);
    for (int k = 0; k < 400; k++) {
        size_t at = random_below(random, LENGTH), length = 1 + random_below(random, 40);
        float height = (float)pow(10.0, random_range(random, -1.0, 4.0));
        for (size_t t = at; t < at + length && t < LENGTH; t++)
            peak[t] = height;
    }
}

START_TEST(no_peak_passes_the_ceiling_nor_do_its_neighbours) {
    /* Hamalainen 2002: an order statistic first, then any mean no longer than it. Exact. */
    Random random = random_seeded(51);
    for (int r = 0; r < 4; r++)
        for (int k = 0; k < 6; k++) {
            float ceiling = (float)pow(10.0, random_range(&random, -1.0, 0.0));
            LimitGain limit =
                prepared(RATES[r], ceiling, (float)random_range(&random, 1.0, 1000.0));
            fill_peaks(&random);
            limit_gain_process(&limit, peak, gain, LENGTH);
            size_t delay = limit_gain_delay(&limit);
            size_t over = 0;
            for (size_t t = LIMIT_EDGE; t + delay + LIMIT_EDGE < LENGTH; t++)
                for (size_t at = t + delay - LIMIT_EDGE; at <= t + delay + LIMIT_EDGE; at++)
                    over += peak[t] > ceiling && gain[at] * peak[t] > ceiling;
            ck_assert_uint_eq(over, 0);
        }
}
END_TEST

START_TEST(under_the_ceiling_the_gain_is_exactly_1_and_comes_back_to_it) {
    LimitGain limit = prepared(48000.0, 0.5f, 20.0f);
    for (size_t t = 0; t < LENGTH; t++)
        peak[t] = 0.4999f;
    peak[1000] = 3.0f;
    float least = limit_gain_process(&limit, peak, gain, LENGTH);
    ck_assert_double_eq_tol((double)least, 0.5 / 3.0, 1e-5);
    for (size_t t = 0; t < 1000; t++)
        ck_assert(gain[t] == 1.0f);
    /* 20 ms times ln(0.83 / 1e-6) = 13.6, and hold and look-ahead */
    for (size_t t = 1000 + 48 * (20 * 14 + 30); t < LENGTH; t++)
        ck_assert(gain[t] == 1.0f);
}
END_TEST

START_TEST(it_is_down_in_time_and_only_as_early_as_the_look_ahead) {
    for (int r = 0; r < 4; r++) {
        LimitGain limit = prepared(RATES[r], 0.5f, 100.0f);
        memset(peak, 0, sizeof peak);
        peak[5000] = 1.0f;
        limit_gain_process(&limit, peak, gain, LENGTH);
        size_t delay = limit_gain_delay(&limit);
        ck_assert_double_le((double)delay, LOOK_MS * 1e-3 * RATES[r] + 2.0 * LIMIT_EDGE + 2.0);
        ck_assert(gain[4999] == 1.0f && gain[5000] < 1.0f);
        ck_assert(gain[5000 + delay] <= 0.5f);
        /* Two boxes: nowhere steeper than twice the mean slope. */
        for (size_t t = 5000; t < 5000 + delay; t++)
            ck_assert_double_le((double)gain[t - 1] - (double)gain[t],
                                2.05 * 0.5 / ((double)delay - 2.0 * LIMIT_EDGE));
    }
}
END_TEST

START_TEST(it_comes_back_with_the_time_constant) {
    const float releases_ms[] = {10.0f, 100.0f, 1000.0f};
    for (int k = 0; k < 3; k++) {
        LimitGain limit = prepared(48000.0, 0.5f, releases_ms[k]);
        for (size_t t = 0; t < LENGTH; t++)
            peak[t] = t < 20000 ? 1.0f : 0.1f;
        limit_gain_process(&limit, peak, gain, LENGTH);
        size_t from = 20000, to;
        while (gain[from] < 0.6f)
            from++;
        for (to = from; 1.0f - gain[to] > (1.0f - gain[from]) / 2.71828183f; to++) {
        }
        /* a mean over 5 ms leaves an exponential what it is */
        ck_assert_double_eq_tol((double)(to - from) / 48.0, (double)releases_ms[k],
                                0.01 * (double)releases_ms[k] + 0.05);
    }
}
END_TEST

START_TEST(a_steady_tone_gets_a_steady_gain) {
    /* The hold is half a period of 50 Hz: with a peak in every window m stands still. */
    for (double hz = 50.0; hz < 400.0; hz *= 1.5) {
        LimitGain limit = prepared(48000.0, 0.5f, 100.0f);
        for (size_t t = 0; t < LENGTH; t++)
            peak[t] = (float)fabs(sin(3.14159265358979 * hz / 24000.0 * (double)t));
        limit_gain_process(&limit, peak, gain, LENGTH);
        /* peaks fall between frames by 1 - cos(pi hz / 48000), at most 3e-4 here */
        for (size_t t = LENGTH / 2; t < LENGTH; t++)
            ck_assert_double_eq_tol((double)gain[t], 0.5, 3e-4);
    }
}
END_TEST

START_TEST(a_reset_forgets_and_cutting_changes_no_bit) {
    Random random = random_seeded(52);
    fill_peaks(&random);
    LimitGain limit = prepared(48000.0, 0.3f, 80.0f);
    limit_gain_process(&limit, peak, gain, LENGTH);
    limit_gain_reset(&limit);
    for (size_t at = 0; at < LENGTH;) {
        size_t n = random_below(&random, 400);
        n = n < LENGTH - at ? n : LENGTH - at;
        memcpy(other + at, peak + at, n * sizeof *other);
        limit_gain_process(&limit, other + at, other + at, n);
        at += n;
    }
    ck_assert(signals_same_bits(gain, other, LENGTH));
}
END_TEST

START_TEST(a_full_arena_is_told) {
    LimitGain limit;
    Arena arena = arena_over(memory, 1000);
    ck_assert(!limit_gain_prepare(&limit, 48000.0, LOOK_MS, &arena));
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("limit_gain");
    tcase_add_test(tcase, no_peak_passes_the_ceiling_nor_do_its_neighbours);
    tcase_add_test(tcase, under_the_ceiling_the_gain_is_exactly_1_and_comes_back_to_it);
    tcase_add_test(tcase, it_is_down_in_time_and_only_as_early_as_the_look_ahead);
    tcase_add_test(tcase, it_comes_back_with_the_time_constant);
    tcase_add_test(tcase, a_steady_tone_gets_a_steady_gain);
    tcase_add_test(tcase, a_reset_forgets_and_cutting_changes_no_bit);
    tcase_add_test(tcase, a_full_arena_is_told);
    tcase_set_timeout(tcase, 60);
    return run_tcase(tcase, "limit_gain");
}
