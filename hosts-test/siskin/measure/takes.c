/* SPDX-License-Identifier: ISC */
#include "siskin/measure/takes.h"

#include "siskin/files.h"
#include "siskin/text.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static void add_take(Takes *takes, char *path, size_t skip) {
    size_t count = takes->n;
    *(size_t *)text_grow(&takes->skip, &count, sizeof *takes->skip) = skip;
    *(char **)text_grow(&takes->path, &takes->n, sizeof *takes->path) = path;
}

static bool add_folder(Takes *takes, const char *path, HostError *error) {
    FilesList list;
    bool fine = files_list(&list, path, takes->deep, NULL, error);
    for (size_t i = 0; fine && i < list.n; i++)
        add_take(takes, text_print("%s/%s", path, list.name[i]), strlen(path) + 1);
    files_free(&list);
    takes->folder = true;
    return fine;
}

bool takes_find(Takes *takes, int argc, char *const *argv, HostError *error) {
    for (int i = 0; i < argc; i++) {
        if (!files_is_folder(argv[i]))
            add_take(takes, text_copy(argv[i]), (size_t)(text_base(argv[i]) - argv[i]));
        else if (!add_folder(takes, files_trim(argv[i]), error))
            return false;
    }
    return true;
}

void takes_free(Takes *takes) {
    for (size_t i = 0; i < takes->n; i++)
        free(takes->path[i]);
    free(takes->path);
    free(takes->skip);
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
    text_no_memory(path, 1);
    Shown shown = {progress, text_base(path)};
    bool fine = measure_take(path, measures, show, &shown, error);
    progress_clear(progress);
    if (fine)
        report_note_lines(measures->notes);
    return fine;
}
