/* SPDX-License-Identifier: ISC */
/* The opening with slack, held against its definition. */
#include "basic/minimum_duration.h"
#include "run_tcase.h"
#include "signals.h"

#include <check.h>
#include <math.h>
#include <stdlib.h>

enum { LENGTH = 1500 };
static unsigned char memory[1 << 18];
static float in[LENGTH], out[LENGTH];

static const float QUIET = -100.0f;

static void run(size_t width, float slack) {
    MinimumDuration l;
    Arena arena = arena_over(memory, sizeof memory);
    ck_assert(minimum_duration_prepare(&l, width, slack, &arena));
    minimum_duration_reset(&l, QUIET);
    for (size_t t = 0; t < LENGTH; t++)
        out[t] = minimum_duration_step(&l, in[t]);
}

static float at(ptrdiff_t t) {
    return t < 0 ? QUIET : in[t];
}

/* max over the last `width` of the min over the `width` before each. */
static float naive_opening(ptrdiff_t t, ptrdiff_t width) {
    float most = QUIET;
    for (ptrdiff_t end = t - width + 1; end <= t; end++) {
        float least = at(end);
        for (ptrdiff_t k = 1; k < width; k++)
            least = fminf(least, at(end - k));
        most = fmaxf(most, least);
    }
    return most;
}

START_TEST(it_is_the_opening_plus_slack_or_the_input_late) {
    Random random = random_seeded(31);
    for (size_t t = 0; t < LENGTH; t++)
        in[t] = (float)random_range(&random, -40.0, 20.0);
    const size_t widths[] = {1, 2, 7, 40};
    for (size_t w = 0; w < 4; w++) {
        run(widths[w], 6.0f);
        ptrdiff_t width = (ptrdiff_t)widths[w];
        for (ptrdiff_t t = width; t < LENGTH; t++)
            ck_assert_float_eq(out[t], fminf(at(t - width + 1), naive_opening(t, width) + 6.0f));
    }
}
END_TEST

/* A rectangle of `length` steps 30 above what surrounds it. Returns the largest output. */
static float peak_of_rectangle(size_t length) {
    for (size_t t = 0; t < LENGTH; t++)
        in[t] = t >= 500 && t < 500 + length ? 0.0f : -30.0f;
    run(40, 6.0f);
    float peak = QUIET;
    for (size_t t = 0; t < LENGTH; t++)
        peak = fmaxf(peak, out[t]);
    return peak;
}

START_TEST(what_is_shorter_is_held_down_and_what_lasts_stays) {
    ck_assert_float_eq(peak_of_rectangle(1), -24.0f);
    ck_assert_float_eq(peak_of_rectangle(39), -24.0f);
    ck_assert_float_eq(peak_of_rectangle(40), 0.0f);
}
END_TEST

START_TEST(what_lasts_keeps_its_edges) {
    (void)peak_of_rectangle(200);
    for (size_t t = 39; t < LENGTH; t++)
        ck_assert_float_eq(out[t], in[t - 39]);
}
END_TEST

START_TEST(a_ripple_within_the_slack_is_untouched) {
    Random random = random_seeded(32);
    for (size_t t = 0; t < LENGTH; t++)
        in[t] = -20.0f + (float)random_range(&random, -2.9, 2.9);
    run(40, 6.0f);
    for (size_t t = 80; t < LENGTH; t++)
        ck_assert_float_eq(out[t], in[t - 39]);
}
END_TEST

START_TEST(too_little_memory_is_refused) {
    MinimumDuration l;
    Arena arena = arena_over(memory, 512);
    ck_assert(!minimum_duration_prepare(&l, 40, 6.0f, &arena));
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("lasting");
    tcase_add_test(tcase, it_is_the_opening_plus_slack_or_the_input_late);
    tcase_add_test(tcase, what_is_shorter_is_held_down_and_what_lasts_stays);
    tcase_add_test(tcase, what_lasts_keeps_its_edges);
    tcase_add_test(tcase, a_ripple_within_the_slack_is_untouched);
    tcase_add_test(tcase, too_little_memory_is_refused);
    return run_tcase(tcase, "lasting");
}
