/* SPDX-License-Identifier: ISC */
#include "siskin/measure/takes.h"

#include "siskin/render/audio.h"
#include "siskin/text.h"

#include <dirent.h>
#include <stdio.h>
#include <stdlib.h>
#include <sys/stat.h>

static bool is_directory(const char *path) {
    struct stat status;
    return stat(path, &status) == 0 && S_ISDIR(status.st_mode);
}

static int is_take(const struct dirent *entry) {
    return entry->d_name[0] != '.' && audio_looks_like(entry->d_name);
}

static void add_take(Takes *takes, char *path) {
    *(char **)text_grow(&takes->path, &takes->n, sizeof *takes->path) = path;
}

static bool add_folder(Takes *takes, const char *path, HostError *error) {
    struct dirent **entries = NULL;
    size_t before = takes->n;
    int count = scandir(path, &entries, is_take, alphasort);
    for (int i = 0; i < count; i++) {
        char *take = text_print("%s/%s", path, entries[i]->d_name);
        if (is_directory(take))
            free(take);
        else
            add_take(takes, take);
        free(entries[i]);
    }
    free(entries);
    takes->folder = true;
    return takes->n > before ||
           host_fail(error, "%s holds no takes (files such as .wav, .flac, .aiff)", path);
}

bool takes_find(Takes *takes, int argc, char *const *argv, HostError *error) {
    for (int i = 0; i < argc; i++) {
        if (!is_directory(argv[i]))
            add_take(takes, text_copy(argv[i]));
        else if (!add_folder(takes, argv[i], error))
            return false;
    }
    return true;
}

void takes_free(Takes *takes) {
    for (size_t i = 0; i < takes->n; i++)
        free(takes->path[i]);
    free(takes->path);
    *takes = (Takes){0};
}

typedef struct {
    Progress *progress;
    const char *name;
} Shown;

static void show(void *user, double done) {
    const Shown *shown = user;
    progress_show(shown->progress, shown->name, done);
}

bool takes_measure(const char *path, Measures *measures, Progress *progress, HostError *error) {
    Shown shown = {progress, text_base(path)};
    bool fine = measure_take(path, measures, show, &shown, error);
    progress_clear(progress);
    if (fine && measures->cleaned)
        fprintf(stderr, "siskin: note: %s: %llu samples are not numbers, and were read as 0\n",
                path, (unsigned long long)measures->cleaned);
    return fine;
}
