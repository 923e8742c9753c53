/* SPDX-License-Identifier: ISC */
/* takes.h: the takes that words of the command line name: files, and folders of files. */
#ifndef SISKIN_MEASURE_TAKES_H
#define SISKIN_MEASURE_TAKES_H

#include "siskin/measure/take.h"
#include "siskin/render/report.h"

typedef struct {
    char **path;  /* in the order of the words; those of a folder by name */
    size_t *skip; /* bytes of each path before the name that it has below its folder */
    size_t n;
    bool deep;   /* set before takes_find: also of the folders in a folder */
    bool folder; /* some of them came from one */
} Takes;

/* A file is taken as it is named; of a folder, every file in it that looks like audio. Fails on a
 * folder that holds none. */
bool takes_find(Takes *takes, int argc, char *const *argv, HostError *error);
void takes_free(Takes *takes);

/* Measures one take, shows how far it is, and notes on stderr what in it was no number. */
bool takes_measure(const char *path, Measures *measures, Progress *progress, HostError *error);

#endif
