/* SPDX-License-Identifier: ISC */
/* made.h: which files of a folder were made here, and of what.
 *
 * A file NAME has a record, steps/.made/NAME: the recipe, a number for all that it was made
 * of; the number of its content (FNV-1a, 64 bits), and of what stood there before. The record is
 * written ahead of the file, and both as safe.h does: whenever a run is killed, the file is one of
 * the two, and what is neither was put there or edited by somebody. */
#ifndef SISKIN_FINISH_MADE_H
#define SISKIN_FINISH_MADE_H

#include "host/error.h"

#include <stdbool.h>
#include <stdint.h>

#define MADE_STEPS "steps" /* the folder of what is only made on the way */
#define MADE_RECORDS MADE_STEPS "/.made"

typedef enum {
    MADE_NOT,     /* it is not there */
    MADE_DONE,    /* by this recipe */
    MADE_OLD,     /* by another, or it is what was there before: to be made again */
    MADE_EDITED,  /* made here, changed since */
    MADE_FOREIGN, /* not made here */
} MadeState;

MadeState made_state(const char *folder, const char *name, uint64_t recipe);

/* Gives FOLDER/NAME the content of the finished file `from`, which must lie in the same file system
 * and is gone then. Folders on the way are made. */
bool made_put(const char *folder, const char *name, const char *from, uint64_t recipe,
              HostError *error);
/* The same from a text. */
bool made_put_text(const char *folder, const char *name, const char *text, uint64_t recipe,
                   HostError *error);

/* Fails, saying so, when the file may not be written over. */
bool made_may_write(const char *folder, const char *name, HostError *error);

/* Of what a file holds; 0: it cannot be read. */
uint64_t made_content(const char *path);

#endif
