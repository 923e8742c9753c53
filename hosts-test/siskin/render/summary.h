/* SPDX-License-Identifier: ISC */
/* summary.h: what became of the takes of a folder, as a table for programs and as a page for
 * people. */
#ifndef SISKIN_RENDER_SUMMARY_H
#define SISKIN_RENDER_SUMMARY_H

#include "host/error.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdio.h>

/* A take. Strings belong to the caller. */
typedef struct {
    const char *name;       /* relative to the folder */
    const char *take, *out; /* paths */
    const char *result;     /* "rendered", "skipped", "failed" */
    const char *why;        /* it failed; or NULL */
    bool rendered;          /* now: then the rest is known */
    double length_s, rate_hz, peak, seconds;
    unsigned channels;
    const char *cuts; /* "breath-ducker 12.0, de-esser 6.1": most reduction, dB; or NULL */
} SummaryRow;

/* Comma-separated values, a row a take (RFC 4180, by text_csv). */
bool summary_write_csv(const char *path, const SummaryRow *rows, size_t n, HostError *error);

/* One page of HTML: a row a take, with a player for what came in and one for what came out. It has
 * no script and holds no sound; players find their files as seen from the page. */
bool summary_write_page(const char *path, const char *folder, const SummaryRow *rows, size_t n,
                        HostError *error);

/* What such pages have in common: all up to the table, what closes a table and the page, and a cell
 * with a player. `title` is markup, all else text. */
void summary_page_begin(FILE *file, const char *title, const char *folder);
void summary_page_end(FILE *file);
void summary_player(FILE *file, const char *page, const char *path, const char *what,
                    const char *name);

/* The way from the folder of one file to another, as a URL (RFC 3986): "../out/a%20b.wav". The
 * folders of both are there. The caller frees it. */
char *summary_link(const char *from_file, const char *to);

#endif
