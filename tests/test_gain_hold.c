/* SPDX-License-Identifier: ISC */
#include "detect/gain_hold.h"
#include "run_tcase.h"
#include "signals.h"

#include <check.h>
#include <stdio.h>
#include <stdlib.h>

enum { STEPS = 3000 };
static GainHoldSound kind[STEPS];

/* The rule of the header, by looking at the whole sequence. */
static bool may_move(int now, int behind) {
    int there = now - behind, next = there < 0 ? 0 : there, last = there - 1;
    while (next <= now && kind[next] != GAIN_HOLD_SUNG)
        next++;
    while (last >= 0 && kind[last] != GAIN_HOLD_SUNG)
        last--;
    GainHoldSound sounds = there < 0 ? GAIN_HOLD_QUIET : kind[there];
    if (sounds == GAIN_HOLD_OTHER)
        return last >= 0 && next <= now && next - last <= behind;
    return sounds != GAIN_HOLD_HISS && next <= now;
}

START_TEST(it_follows_the_rule_for_any_sequence_and_delay) {
    Random random = random_seeded(51);
    printf("seed 51\n");
    const size_t behinds[] = {0, 1, 5, 34, 34, GAIN_HOLD_MAX};
    for (int k = 0; k < 6; k++) {
        GainHold hold;
        gain_hold_prepare(&hold, behinds[k]);
        int left = 0;
        GainHoldSound now = GAIN_HOLD_QUIET;
        for (int i = 0; i < STEPS; i++) {
            if (left-- == 0) {
                now = (GainHoldSound)random_below(&random, 4);
                left = (int)random_below(&random, k % 2 ? 120 : 20);
            }
            kind[i] = now;
            bool moves = gain_hold_step(&hold, now);
            ck_assert_int_eq(moves, may_move(i, (int)behinds[k]));
        }
    }
}
END_TEST

START_TEST(nothing_moves_before_the_first_voice) {
    GainHold hold;
    gain_hold_prepare(&hold, 34);
    for (int i = 0; i < 200; i++)
        ck_assert(!gain_hold_step(&hold, i % 2 ? GAIN_HOLD_QUIET : GAIN_HOLD_OTHER));
    gain_hold_reset(&hold);
    ck_assert(!gain_hold_step(&hold, GAIN_HOLD_QUIET));
    ck_assert(gain_hold_step(&hold, GAIN_HOLD_SUNG)); /* ahead of it there was quiet */
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("gain_hold");
    tcase_add_test(tcase, it_follows_the_rule_for_any_sequence_and_delay);
    tcase_add_test(tcase, nothing_moves_before_the_first_voice);
    return run_tcase(tcase, "gain_hold");
}
