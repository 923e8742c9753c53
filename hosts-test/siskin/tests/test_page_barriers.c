/* SPDX-License-Identifier: ISC */
/* What a page must not do, whatever it is about: run a script from a name, or get louder than
 * asked. */
#include "siskin/json.h"
#include "siskin/page/write.h"
#include "siskin/tests/run_siskin.h"

/* JSON stands in the page within a <script>, which "</script" would end and "<!--" change (WHATWG
 * HTML, "Restrictions for contents of script elements"). */
START_TEST(no_text_of_the_data_can_end_its_script) {
    char *text = NULL;
    size_t size = 0;
    FILE *to = open_memstream(&text, &size);
    Json json = json_begin(to);
    json_open(&json, NULL, '{', true);
    json_text(&json, "</script><!--", "<ScRiPt>alert(1)</sCrIpT>");
    json_close(&json, '}');
    fclose(to);
    ck_assert_ptr_null(strchr(text, '<'));
    ck_assert_str_eq(text, "{\"\\u003c/script>\\u003c!--\": "
                           "\"\\u003cScRiPt>alert(1)\\u003c/sCrIpT>\"}\n");
    free(text);
}
END_TEST

/* "Equal loudness" takes the louder one down; nothing is ever raised, which could hurt. */
START_TEST(equal_loudness_is_that_of_the_softer_one) {
    const double lufs[][2] = {{-20.0, -14.0}, {-14.0, -20.0}, {-18.0, -18.0}};
    Page *page = calloc(1, sizeof *page);
    double gain_db[2];
    for (size_t i = 0; i < 3; i++) {
        page->before.integrated_lufs = lufs[i][0];
        page->after.integrated_lufs = lufs[i][1];
        page_match(page, gain_db);
        ck_assert_double_le(gain_db[0], 0.0);
        ck_assert_double_le(gain_db[1], 0.0);
        ck_assert_double_eq(fmax(gain_db[0], gain_db[1]), 0.0);
        ck_assert_double_eq_tol(lufs[i][0] + gain_db[0], lufs[i][1] + gain_db[1], 1e-12);
    }
    page->after.integrated_lufs = -INFINITY;
    page_match(page, gain_db);
    ck_assert(isnan(gain_db[0]) && isnan(gain_db[1]));
    free(page);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("barriers");
    tcase_add_test(tcase, no_text_of_the_data_can_end_its_script);
    tcase_add_test(tcase, equal_loudness_is_that_of_the_softer_one);
    return run_suite(tcase, "barriers of the page");
}
