/* SPDX-License-Identifier: ISC */
/* report.h: what a render tells people: its progress, and what was done. */
#ifndef SISKIN_RENDER_REPORT_H
#define SISKIN_RENDER_REPORT_H

#include "siskin/json.h"
#include "siskin/render/take.h"

/* The summary of one take, with a line for each processor, to stdout. */
void report_take(const TakeJob *job, const TakeReport *report);

/* The same as JSON; `take` is what a render begins with. One that was not rendered has a reason. */
void report_json(Json *json, const TakeJob *job, const TakeReport *report);
void report_json_other(Json *json, const char *take, const char *result, const char *why);

/* One row of the table of a folder, to stdout. */
void report_row_done(const char *name, const TakeReport *report);
void report_row_failed(const char *name, const char *why);
void report_row_skipped(const char *name);

/* "breath-ducker 12.0, de-esser 6.1": the most that each processor has cut, dB. The caller frees
 * it. */
char *report_cuts(const TakeReport *report);

/* Notes, one a line, to stderr. */
void report_note_lines(const char *notes);

/* A line on the terminal that is written over each time; elsewhere a new one every 5 s. Nothing is
 * shown in the first second, or with `quiet`. Where `done` falls, another piece of work has begun,
 * and the time that is left is told of that. */
typedef struct {
    bool quiet;
    bool lines;
    bool shown;
    double done;               /* 0..1 */
    double began, piece, last; /* seconds, monotonic clock; `piece`: of the work under way */
} Progress;

Progress progress_begin(bool quiet);
void progress_show(Progress *progress, const char *what, double done);
void progress_clear(Progress *progress); /* before anything else is printed */

#endif
