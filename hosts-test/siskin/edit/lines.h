/* SPDX-License-Identifier: ISC */
/* lines.h: a file that a person edits, line by line, in words; `#` at a word's start begins a
 * comment; a word may be put in "quotes", and holds spaces then. */
#ifndef SISKIN_EDIT_LINES_H
#define SISKIN_EDIT_LINES_H

#include "host/error.h"

#include <stdbool.h>
#include <stddef.h>

enum { LINES_MOST_WORDS = 8 };

/* Takes the words of a line, at least one; `error` says what is wrong with them, without the place.
 * A line of more words than LINES_MOST_WORDS comes with a count of one more. */
typedef bool LinesTake(void *user, char *const *word, size_t count, HostError *error);

/* Gives every line with a word on it to `take`. Fails with file and line where that fails, and as
 * text_file_read does, which names `what`. */
bool lines_read(const char *path, const char *what, LinesTake *take, void *user, HostError *error);

#endif
