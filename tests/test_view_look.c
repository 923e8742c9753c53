/* SPDX-License-Identifier: ISC */
#include "run_tcase.h"
#include "view/look.h"

#include <check.h>

START_TEST(contrast_is_that_of_the_guidelines) {
    /* The ends of the scale, and the grey that is the lightest with 4.5:1 on white (common
     * knowledge of the trade, and computable by the formula of WCAG 2.1: 0x767676 has 4.54,
     * 0x777777 has 4.48). */
    ck_assert_double_eq_tol(look_contrast(0x000000, 0xffffff), 21.0, 1e-9);
    ck_assert_double_eq_tol(look_contrast(0x123456, 0x123456), 1.0, 1e-12);
    ck_assert_double_eq_tol(look_contrast(0x767676, 0xffffff), 4.54, 0.005);
    ck_assert_double_eq_tol(look_contrast(0xffffff, 0x777777), 4.48, 0.005);
    /* Pure red on white: L = 0.2126, 1.05 / 0.2626. */
    ck_assert_double_eq_tol(look_contrast(0xff0000, 0xffffff), 1.05 / 0.2626, 1e-9);
}
END_TEST

START_TEST(every_pair_of_colours_can_be_read) {
    ck_assert_uint_ge(look_n_pairs, 9);
    for (size_t i = 0; i < look_n_pairs; i++) {
        const LookPair *pair = &look_pairs[i];
        double found = look_contrast(look_rgb(pair->front), look_rgb(pair->back));
        ck_assert_msg(found >= pair->least, "pair %zu: %.2f, wanted %.2f", i, found, pair->least);
    }
}
END_TEST

START_TEST(lines_of_a_grid_are_no_text) {
    /* The check above can fail: this pair is not meant to be read. */
    ck_assert_double_lt(look_contrast(look_rgb(LOOK_GRID), look_rgb(LOOK_PAPER)), 3.0);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("look");
    tcase_add_test(tcase, contrast_is_that_of_the_guidelines);
    tcase_add_test(tcase, every_pair_of_colours_can_be_read);
    tcase_add_test(tcase, lines_of_a_grid_are_no_text);
    return run_tcase(tcase, "look");
}
