/* SPDX-License-Identifier: ISC */
/* beside_library.h: for suites that hold our plugins beside a library of their kind. */
#ifndef SISKIN_OUTSIDE_BESIDE_LIBRARY_H
#define SISKIN_OUTSIDE_BESIDE_LIBRARY_H

#include "host/host.h"
#include "run_tcase.h"

#include <libgen.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>

/* Opens the bundles that were built beside the suite (its argv[0]), runs the one test, and closes
 * them. */
static inline int run_beside(const char *program, Host **host, const char *name, const TTest *test,
                             double timeout_s) {
    char path[PATH_MAX], here[PATH_MAX];
    HostError error;
    snprintf(here, sizeof here, "%s", program);
    if (snprintf(path, sizeof path, "%s/../lv2", dirname(here)) >= (int)sizeof path)
        return EXIT_FAILURE;
    *host = host_open(path, &error);
    if (!*host) {
        fprintf(stderr, "%s: %s\n", path, error.text);
        return EXIT_FAILURE;
    }
    (void)setvbuf(stdout, NULL, _IOLBF, 0); /* a failed check ends its process at once */
    TCase *tcase = tcase_create(name);
    tcase_add_test(tcase, test);
    tcase_set_timeout(tcase, timeout_s);
    int status = run_tcase(tcase, name);
    host_close(*host);
    return status;
}

#endif
