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

/* lilv crashes at a relative folder in LV2_PATH: each is written out from here. */
static void write_out_lv2_path(void) {
    char here[PATH_MAX];
    const char *path = getenv("LV2_PATH");
    if (!path || !getcwd(here, sizeof here))
        return;
    char *whole = text_copy("");
    for (size_t length; *path; path += length + (path[length] == ':')) {
        length = strcspn(path, ":");
        bool relative = length && !strchr("/~$", *path);
        char *longer = text_print("%s%s%s%s%.*s", whole, *whole && length ? ":" : "",
                                  relative ? here : "", relative ? "/" : "", (int)length, path);
        free(whole);
        whole = longer;
    }
    setenv("LV2_PATH", whole, 1);
    free(whole);
}

Host *place_open_host(const char *directory, HostError *error) {
    static const char *const places[] = {"lv2", "../lib/lv2"};
    const char *from_environment = getenv("SISKIN_LV2");
    write_out_lv2_path();
    if (!directory && from_environment && *from_environment)
        directory = from_environment;
    if (directory)
        return host_open(directory, error);
    char *place = find_place(places, 2, "siskin-*.lv2/manifest.ttl");
    Host *host = host_open(place, error);
    free(place);
    return host;
}

/* The user's own, by the XDG Base Directory Specification. */
static char *own_chains(void) {
    const char *data = getenv("XDG_DATA_HOME"), *home = getenv("HOME");
    char *folder = data && *data   ? text_print("%s/siskin/chains", data)
                   : home && *home ? text_print("%s/.local/share/siskin/chains", home)
                                   : NULL;
    if (folder && holds(folder, "*.chain"))
        return folder;
    free(folder);
    return NULL;
}

char *place_chains(PlaceChains which) {
    /* From a build folder one or two levels down the tree, and as installed. */
    static const char *const places[] = {"../hosts-test/siskin/chains",
                                         "../../hosts-test/siskin/chains", "../share/siskin/ready"};
    return which == PLACE_OWN ? own_chains() : find_place(places, 3, "*.chain");
}

char *place_chain(const char *name) {
    static const char *const endings[] = {"", ".chain"};
    if (strchr(name, '/') || access(name, F_OK) == 0)
        return text_copy(name);
    for (size_t i = 0; i < 2 * (size_t)PLACE_CHAINS; i++) {
        char *folder = place_chains((PlaceChains)(i / 2));
        char *path = folder ? text_print("%s/%s%s", folder, name, endings[i % 2]) : NULL;
        free(folder);
        if (path && access(path, F_OK) == 0)
            return path;
        free(path);
    }
    return text_copy(name);
}
