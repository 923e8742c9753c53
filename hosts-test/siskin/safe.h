/* SPDX-License-Identifier: ISC */
/* safe.h: writing a file so that it is either complete or not there.
 *
 * A SafeFile is written under another name in the same directory, and gets its own name only once
 * it is complete and on the disk. Until then a failure, or a signal that asks to end, once
 * safe_catch_signals was called, leaves nothing behind, and an older file of that name as it was.
 * When a whole process dies, another can remove what it left: the name holds the process id, and
 * the next to write the same file does. */
#ifndef SISKIN_SAFE_H
#define SISKIN_SAFE_H

#include "host/error.h"

#include <stddef.h>
#include <stdio.h>
#include <sys/types.h>

enum { SAFE_MOST = 128 }; /* files of one process that are open at a time */

typedef struct {
    char *path; /* the final name, symbolic links followed */
    char *part; /* the name while it is written */
    int fd;     /* for reading and writing */
    int slot;
} SafeFile;

/* Fails when the place cannot be written, or `path` names something that is not a plain file. */
bool safe_open(SafeFile *file, const char *path, HostError *error);

/* Writes at the present place; returns how many bytes were written: with less than n, errno says
 * why it was no more. */
size_t safe_write(const SafeFile *file, const void *bytes, size_t n);

/* The file as a stream, for those who print. Its end closes the stream and tells of all that could
 * not be written. */
FILE *safe_stream(const SafeFile *file, HostError *error);
bool safe_stream_end(const SafeFile *file, FILE *stream, HostError *error);

/* Makes `count` files final: all are brought to the disk first, and only then renamed. On failure
 * none that is not yet renamed is left. The files are closed either way. */
bool safe_commit(SafeFile *const *files, size_t count, HostError *error);

/* Closes and removes; fine on one that was committed, discarded, or zeroed and never opened. */
void safe_discard(SafeFile *file);

/* A file that holds this text, whole. */
bool safe_put_text(const char *path, const char *text, HostError *error);

/* A folder of its own, that nobody else may look into, in TMPDIR or else /tmp; NULL: there is none.
 * What is written into it is to be removed before its end, which frees the path (NULL: nothing). */
char *safe_temporary(HostError *error);
void safe_temporary_end(char *folder);

/* From now on SIGINT, SIGTERM, SIGHUP, SIGQUIT and SIGPIPE remove unfinished files and temporary
 * folders before they end the process, and a file that grows past a limit of the system is an error
 * of write() instead of a signal. */
void safe_catch_signals(void);

/* Removes what a dead process was still writing for `path`. */
void safe_remove_leftover(const char *path, pid_t process);

/* Whether both paths lead to the same existing file, by whatever links. */
bool safe_same_file(const char *a, const char *b);

#endif
