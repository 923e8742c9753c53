/* SPDX-License-Identifier: ISC */
#include "siskin/place.h"

#include "siskin/text.h"

#include <glob.h>
#include <limits.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

/* A path relative to the folder of the program. */
static char *from_program(const char *relative) {
    char program[PATH_MAX];
    ssize_t length = readlink("/proc/self/exe", program, sizeof program - 1);
    program[length > 0 ? length : 0] = '\0';
    char *slash = strrchr(program, '/');
    if (slash)
        *slash = '\0';
    return text_print("%s/%s", slash ? program : ".", relative);
}

static bool holds(const char *folder, const char *what) {
    glob_t found;
    char *pattern = text_print("%s/%s", folder, what);
    bool there = glob(pattern, GLOB_NOSORT, NULL, &found) == 0;
    globfree(&found);
    free(pattern);
    return there;
}

/* The first of the places, as seen from the program, that holds such a file; or NULL. */
static char *find_place(const char *const *places, size_t count, const char *what) {
    for (size_t i = 0; i < count; i++) {
        char *folder = from_program(places[i]);
        if (holds(folder, what))
            return folder;
        free(folder);
    }
    return NULL;
}

Host *place_open_host(const char *directory, HostError *error) {
    static const char *const places[] = {"lv2", "../lib/lv2"};
    const char *from_environment = getenv("SISKIN_LV2");
    if (!directory && from_environment && *from_environment)
        directory = from_environment;
    if (directory)
        return host_open(directory, error);
    char *place = find_place(places, 2, "siskin-*.lv2/manifest.ttl");
    Host *host = host_open(place, error);
    free(place);
    return host;
}

char *place_ready_chains(void) {
    /* From a build folder one or two levels down the tree, and as installed. */
    static const char *const places[] = {
        "../hosts-test/siskin/chains", "../../hosts-test/siskin/chains", "../share/siskin/chains"};
    return find_place(places, 3, "*.chain");
}

char *place_chain(const char *name) {
    char *folder = strchr(name, '/') || access(name, F_OK) == 0 ? NULL : place_ready_chains();
    static const char *const endings[] = {"", ".chain"};
    for (size_t i = 0; folder && i < 2; i++) {
        char *path = text_print("%s/%s%s", folder, name, endings[i]);
        if (access(path, F_OK) == 0) {
            free(folder);
            return path;
        }
        free(path);
    }
    free(folder);
    return text_copy(name);
}
