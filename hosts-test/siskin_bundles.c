/* SPDX-License-Identifier: ISC */
#include "siskin_bundles.h"

#include "siskin_text.h"

#include <glob.h>
#include <libgen.h>
#include <limits.h>
#include <stdlib.h>
#include <unistd.h>

static bool holds_ours(const char *directory) {
    glob_t found;
    char *pattern = text_print("%s/siskin-*.lv2/manifest.ttl", directory);
    bool holds = glob(pattern, GLOB_NOSORT, NULL, &found) == 0;
    globfree(&found);
    free(pattern);
    return holds;
}

Host *bundles_open(const char *directory, HostError *error) {
    static const char *const places[] = {"lv2", "../lib/lv2"};
    const char *from_environment = getenv("SISKIN_LV2");
    char program[PATH_MAX];
    if (!directory && from_environment && *from_environment)
        directory = from_environment;
    if (directory)
        return host_open(directory, error);
    ssize_t length = readlink("/proc/self/exe", program, sizeof program - 1);
    program[length > 0 ? length : 0] = '\0';
    for (size_t i = 0; length > 0 && i < sizeof places / sizeof *places; i++) {
        char *copy = text_copy(program);
        char *place = text_print("%s/%s", dirname(copy), places[i]);
        Host *host = holds_ours(place) ? host_open(place, error) : NULL;
        free(place);
        free(copy);
        if (host)
            return host;
    }
    return host_open(NULL, error);
}
