/* SPDX-License-Identifier: ISC */
#include "basic/one_pole.h"
#include "gain/release_memory.h"
#include "run_tcase.h"

#include <check.h>
#include <math.h>

enum { RATE = 48000, LENGTH = 4 * RATE };
static const size_t MS = RATE / 1000; /* frames */
static float wanted[LENGTH], held[LENGTH];

static ReleaseMemory fresh(float release_ms, float share) {
    ReleaseMemory memory;
    release_memory_prepare(&memory, RATE);
    release_memory_set(&memory, &(ReleaseMemoryParams){.release_ms = release_ms, .share = share});
    return memory;
}

/* 10 dB for the first `ms`, then nothing. */
static void pulse(float release_ms, float share, size_t ms) {
    ReleaseMemory memory = fresh(release_ms, share);
    for (size_t i = 0; i < LENGTH; i++)
        wanted[i] = i < ms * MS ? 10.0f : 0.0f;
    release_memory_process(&memory, wanted, held, LENGTH);
}

START_TEST(without_a_share_it_is_the_decoupled_detector) {
    /* With its attack behind it. Giannoulis, Massberg and Reiss 2012, smooth decoupled detector, a
     * step of 10 dB, tauA 5 ms, tauR 100 ms at 48 kHz: 63 % after 5.00 ms, 90 % after 11.50 ms;
     * back to 37 % after 105.10 ms, to 10 % after 235.38 ms. Closed form of the release: e(t) / e0
     * = (tR exp(-t/tR) - tA exp(-t/tA)) / (tR - tA). To a frame. */
    double pole = one_pole_coefficient(5.0, RATE), y = 0.0;
    const double levels[] = {10.0 * (1.0 - exp(-1.0)), 9.0, 10.0 * exp(-1.0), 1.0};
    const double times_ms[] = {5.0, 11.5, 105.10, 235.38};
    size_t next = 0, ended = 1000 * MS;
    pulse(100.0f, 0.0f, 1000);
    for (size_t i = 0; i < LENGTH && next < 4; i++) {
        y = one_pole_step_double(y, (double)held[i], pole);
        if (next < 2 ? y < levels[next] : i < ended || y > levels[next])
            continue;
        double ms = (double)(i + 1 - (next < 2 ? 0 : ended)) / (double)MS;
        ck_assert_double_eq_tol(ms, times_ms[next], 1.5 / (double)MS + 0.01);
        next++;
    }
    ck_assert_uint_eq(next, 4);
}
END_TEST

START_TEST(peaks_are_met_at_once_and_never_missed) {
    ReleaseMemory memory = fresh(160.0f, 0.6f);
    for (size_t i = 0; i < LENGTH; i++)
        wanted[i] = (float)(i * 2654435761u % 997) * 0.01f;
    release_memory_process(&memory, wanted, held, LENGTH);
    for (size_t i = 0; i < LENGTH; i++)
        ck_assert_float_ge(held[i], wanted[i]);
}
END_TEST

/* Fully charged, slow' = (fast - slow) / 6 tau with fast = r exp(-t/tau) gives
 * slow = 1.2 r exp(-t / 6 tau) - 0.2 r exp(-t / tau). */
START_TEST(after_a_phrase_the_share_is_let_go_six_times_as_slowly) {
    const double tau = 160.0;
    pulse(160.0f, 0.6f, 3000);
    for (size_t ms = 300; ms < 1000; ms += 50) {
        double t = (double)ms;
        double slow = 12.0 * exp(-t / (6.0 * tau)) - 2.0 * exp(-t / tau);
        ck_assert_double_eq_tol((double)held[(3000 + ms) * MS], 0.6 * slow, 0.03);
    }
    /* At first it is the quick one. */
    ck_assert_double_eq_tol((double)held[3050 * MS], 10.0 * exp(-50.0 / tau), 0.01);
}
END_TEST

/* 10 ms charge 1 - exp(-10 / 480) = 2 %. A memory that is less than the peak by so much leaves the
 * release to the quick stage until exp(-t/tau) = 0.6 * 0.02. */
START_TEST(after_a_peak_the_release_is_quick) {
    pulse(160.0f, 0.6f, 10);
    for (size_t ms = 0; ms < 300; ms += 20)
        ck_assert_double_eq_tol((double)held[(10 + ms) * MS], 10.0 * exp(-(double)ms / 160.0),
                                0.01);
}
END_TEST

START_TEST(the_memory_fills_in_three_releases) {
    ReleaseMemory memory = fresh(160.0f, 0.6f);
    for (size_t i = 0; i < LENGTH; i++)
        wanted[i] = 10.0f;
    release_memory_process(&memory, wanted, held, 480 * MS);
    ck_assert_double_eq_tol(memory.state.slow, 10.0 * (1.0 - exp(-1.0)), 1e-3);
}
END_TEST

START_TEST(more_share_holds_more) {
    float last = 0.0f;
    for (float share = 0.0f; share <= 1.0f; share += 0.25f) {
        pulse(100.0f, share, 2000);
        ck_assert_float_gt(held[2300 * MS], last);
        last = held[2300 * MS];
    }
}
END_TEST

START_TEST(a_reset_forgets) {
    ReleaseMemory memory = fresh(160.0f, 0.6f);
    pulse(160.0f, 0.6f, 100);
    float after[10], before[10];
    for (int i = 0; i < 10; i++)
        before[i] = held[i];
    release_memory_process(&memory, wanted, held, LENGTH);
    release_memory_reset(&memory);
    release_memory_process(&memory, wanted, after, 10);
    ck_assert_mem_eq(after, before, sizeof after);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("release_memory");
    tcase_add_test(tcase, without_a_share_it_is_the_decoupled_detector);
    tcase_add_test(tcase, peaks_are_met_at_once_and_never_missed);
    tcase_add_test(tcase, after_a_phrase_the_share_is_let_go_six_times_as_slowly);
    tcase_add_test(tcase, after_a_peak_the_release_is_quick);
    tcase_add_test(tcase, the_memory_fills_in_three_releases);
    tcase_add_test(tcase, more_share_holds_more);
    tcase_add_test(tcase, a_reset_forgets);
    return run_tcase(tcase, "release_memory");
}
