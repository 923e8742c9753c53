/* SPDX-License-Identifier: ISC */
#include "gain/warm_fade.h"
#include "run_tcase.h"
#include "signals.h"

#include <check.h>
#include <string.h>

enum { LENGTH = 20000, WARM = 480, FADE = 960 };
static float weight[LENGTH], other[LENGTH];

static WarmFade prepared(void) {
    WarmFade fade;
    warm_fade_prepare(&fade, 10.0, 20.0, 48000.0);
    ck_assert_uint_eq(fade.warm, WARM);
    ck_assert_uint_eq(fade.length, FADE);
    return fade;
}

START_TEST(the_first_wish_is_met_at_once) {
    for (int wanted = 0; wanted < 2; wanted++) {
        WarmFade fade = prepared();
        warm_fade_process(&fade, !wanted, weight, 0); /* no frames: no past */
        warm_fade_process(&fade, wanted, weight, 100);
        ck_assert(weight[0] == (float)wanted && weight[99] == (float)wanted);
    }
}
END_TEST

START_TEST(it_warms_up_unheard_then_fades_in_a_straight_line) {
    WarmFade fade = prepared();
    warm_fade_process(&fade, false, weight, 10);
    ck_assert(!warm_fade_runs(&fade, false) && !warm_fade_begins(&fade, false));
    ck_assert(warm_fade_runs(&fade, true) && warm_fade_begins(&fade, true));
    ck_assert(warm_fade_process(&fade, true, weight, 3000) == 1.0f);
    for (size_t t = 0; t < 3000; t++) {
        size_t at = t < WARM ? 0 : t - WARM + 1;
        ck_assert(weight[t] == (at < FADE ? (float)at / (float)FADE : 1.0f));
    }
    ck_assert(!warm_fade_begins(&fade, true));
    ck_assert(warm_fade_runs(&fade, false));
    warm_fade_process(&fade, false, weight, 3000);
    for (size_t t = 0; t < 3000; t++)
        ck_assert(weight[t] == (t + 1 < FADE ? (float)(FADE - 1 - t) / (float)FADE : 0.0f));
    ck_assert(!warm_fade_runs(&fade, false) && warm_fade_begins(&fade, true));
}
END_TEST

START_TEST(called_back_it_turns_where_it_is) {
    WarmFade fade = prepared();
    warm_fade_process(&fade, false, weight, 1);
    warm_fade_process(&fade, true, weight, WARM + 100);
    warm_fade_process(&fade, false, weight, 40);
    ck_assert(weight[39] == 60.0f / (float)FADE);
    warm_fade_process(&fade, true, weight, 40); /* it has not stopped: no need to warm up */
    ck_assert(weight[39] == 100.0f / (float)FADE);
}
END_TEST

START_TEST(cutting_changes_no_bit) {
    Random random = random_seeded(82);
    for (int pass = 0; pass < 2; pass++) {
        WarmFade fade = prepared();
        float *to = pass ? other : weight;
        Random wishes = random_seeded(83);
        for (size_t at = 0; at < LENGTH;) {
            size_t end = at + random_below(&wishes, 2500);
            bool wanted = random_below(&wishes, 2) == 1;
            end = end < LENGTH ? end : LENGTH;
            while (at < end) {
                size_t n = pass ? random_below(&random, 200) : end - at;
                n = n < end - at ? n : end - at;
                warm_fade_process(&fade, wanted, to + at, n);
                at += n;
            }
        }
    }
    ck_assert(signals_same_bits(weight, other, LENGTH));
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("warm_fade");
    tcase_add_test(tcase, the_first_wish_is_met_at_once);
    tcase_add_test(tcase, it_warms_up_unheard_then_fades_in_a_straight_line);
    tcase_add_test(tcase, called_back_it_turns_where_it_is);
    tcase_add_test(tcase, cutting_changes_no_bit);
    return run_tcase(tcase, "warm_fade");
}
