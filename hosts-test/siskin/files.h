/* SPDX-License-Identifier: ISC */
/* files.h: folders, and the takes in them. */
#ifndef SISKIN_FILES_H
#define SISKIN_FILES_H

#include "host/error.h"

#include <stddef.h>
#include <stdint.h>

bool files_is_folder(const char *path);

/* Takes slashes off the end of a folder's path, but for a lone one. Returns the path. NULL
 * stays. */
const char *files_trim(char *folder);

/* A number for the file that a path leads to, by whatever links and spelling, whether it is there
 * yet or not: two paths with one number are one file. */
uint64_t files_key(const char *path);

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

/* Makes the folders that the NAME of FOLDER/NAME lies in, FOLDER being there. */
bool files_make_way(const char *folder, const char *name, HostError *error);

/* "FOLDER/NAME" with another extension: ("out", "a/b.flac", ".wav") gives "out/a/b.wav". */
char *files_renamed(const char *folder, const char *name, const char *extension);

#endif
