/* SPDX-License-Identifier: ISC */
/* report.h: what a render tells people: its progress, and what was done. */
#ifndef SISKIN_RENDER_REPORT_H
#define SISKIN_RENDER_REPORT_H

#include "siskin/render/take.h"

/* The summary of one take, with a line for each processor, to stdout. */
void report_take(const TakeJob *job, const TakeReport *report);

/* One row of the table of a folder, to stdout. */
void report_row_done(const char *name, const TakeReport *report);
void report_row_failed(const char *name, const char *why);
void report_row_skipped(const char *name);

/* Notes, one a line, to stderr. */
void report_note_lines(const char *notes);

/* A line on the terminal that is written over each time. Nothing is shown in the first second, when
 * stderr is not a terminal, or with `quiet`. */
typedef struct {
    bool quiet;
    bool shown;
    double began; /* seconds, monotonic clock */
} Progress;

Progress progress_begin(bool quiet);
void progress_show(Progress *progress, const char *what, double done);
void progress_clear(Progress *progress); /* before anything else is printed */

#endif
