/* SPDX-License-Identifier: ISC */
#include "siskin/measure/takes.h"

#include "siskin/files.h"
#include "siskin/text.h"

#include <stdio.h>
#include <stdlib.h>

static void add_take(Takes *takes, char *path) {
    *(char **)text_grow(&takes->path, &takes->n, sizeof *takes->path) = path;
}

static bool add_folder(Takes *takes, const char *path, HostError *error) {
    FilesList list;
    bool fine = files_list(&list, path, takes->deep, NULL, error);
    for (size_t i = 0; fine && i < list.n; i++)
        add_take(takes, text_print("%s/%s", path, list.name[i]));
    files_free(&list);
    takes->folder = true;
    return fine;
}

bool takes_find(Takes *takes, int argc, char *const *argv, HostError *error) {
    for (int i = 0; i < argc; i++) {
        if (!files_is_folder(argv[i]))
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
    if (fine)
        report_note_lines(measures->notes);
    return fine;
}
