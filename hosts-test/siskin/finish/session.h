/* SPDX-License-Identifier: ISC */
/* session.h: what the takes of a folder are: which are takes of one part, which double which.
 *
 * Told by their names, less the extension; letters may be large or small, a hyphen stands for any
 * of "-", "_" and " ":
 *
 *   reference          not sung for this song: the colour to have
 *   NAME-takeN         the Nth take of the part NAME, of which the best phrases are joined
 *   takeN              the same, of the part "lead"
 *   NAME-double...     a part that keeps time with the part NAME, if there is one
 *   double...          the same, with the only part that is no double
 *   NAME               a part of one take; beside NAME-takeN another take of it
 *
 * A plan says the same in words, one statement a line, and may say otherwise:
 *
 *   reference FILE
 *   part NAME          begins a part; its result is NAME.wav
 *   take FILE          a take of the part; several: the best phrases are joined
 *   follows NAME       it keeps time with the part NAME
 *
 * FILE is as seen from the folder of the takes; names with spaces stand in "quotes". */
#ifndef SISKIN_FINISH_SESSION_H
#define SISKIN_FINISH_SESSION_H

#include "siskin/files.h"

#include <stdbool.h>
#include <stdio.h>

typedef struct {
    char *name;
    char **takes; /* as seen from the folder */
    size_t n_takes;
    char *follows; /* the name of a part; or NULL */
    size_t leader; /* and which it is */
    char *note;    /* what its name asks for and cannot be had; or NULL */
    char *why;     /* it cannot be done at all; or NULL */
} SessionPart;

typedef struct {
    SessionPart *parts; /* those that follow behind the others */
    size_t n;
    char *reference; /* as seen from the folder; or NULL */
} Session;

/* By their names. */
void session_sort(Session *session, const FilesList *takes);
/* By a plan. Fails on what is no plan, and on one that cannot be: two parts of one name, a part
 * without a take, one that follows what is not there, itself, or a follower. */
bool session_read(Session *session, const char *plan, HostError *error);
void session_free(Session *session); /* fine on a zeroed one */

/* As a plan, with what it means as comments. */
void session_print(FILE *file, const Session *session, const char *folder);

#endif
