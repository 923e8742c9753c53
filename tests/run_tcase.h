/* SPDX-License-Identifier: ISC */
/* run_tcase.h: the end of every suite's main(). */
#ifndef SISKIN_TESTS_RUN_TCASE_H
#define SISKIN_TESTS_RUN_TCASE_H

#include <check.h>
#include <stdlib.h>

/* Runs one case as a suite of that name; returns what main() returns. */
static inline int run_tcase(TCase *tcase, const char *name) {
    Suite *suite = suite_create(name);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}

#endif
