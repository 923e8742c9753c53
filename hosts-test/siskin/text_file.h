/* SPDX-License-Identifier: ISC */
/* text_file.h: a file that a person has written, read once and whole. */
#ifndef SISKIN_TEXT_FILE_H
#define SISKIN_TEXT_FILE_H

#include "host/error.h"

#include <stddef.h>

/* Reads it into new memory, which ends with a 0 and is the caller's, also on failure. A pipe is
 * waited for, 10 s. Fails, naming `what` ("the chain file") and the path, on what cannot be read,
 * on a directory, a pipe that nobody writes to, and on what is longer than 1 MB or never ends. */
bool text_file_read(const char *path, const char *what, char **text, size_t *size,
                    HostError *error);

#endif
