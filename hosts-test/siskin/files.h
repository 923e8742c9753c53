/* SPDX-License-Identifier: ISC */
/* files.h: folders, and the takes in them. */
#ifndef SISKIN_FILES_H
#define SISKIN_FILES_H

#include "host/error.h"

#include <stddef.h>

bool files_is_folder(const char *path);

/* Makes a folder, in one that is there; fine when it is there already. */
bool files_make_folder(const char *path, HostError *error);

typedef struct {
    char **name; /* relative to the folder, sorted by bytes */
    size_t n;
} FilesList;

/* The files of a folder that look like audio, but for those that begin with a dot. `deep`: also
 * those of the folders in it, links to folders and `but` (or NULL) left out. Fails when the folder
 * cannot be read or holds none. */
bool files_list(FilesList *list, const char *folder, bool deep, const char *but, HostError *error);
void files_free(FilesList *list); /* fine on a zeroed one */

/* "FOLDER/NAME" with another extension: ("out", "a/b.flac", ".wav") gives "out/a/b.wav". */
char *files_renamed(const char *folder, const char *name, const char *extension);

#endif
