/* SPDX-License-Identifier: ISC */
#include "siskin/render/summary.h"

#include "siskin/page/text.h"
#include "siskin/safe.h"
#include "siskin/text.h"

#include <ctype.h>
#include <libgen.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

typedef struct {
    const char *path, *folder;
    const SummaryRow *rows;
    size_t n;
} Summary;

typedef void Writer(FILE *file, const Summary *summary);

static bool write_whole(const Summary *summary, Writer *writer, HostError *error) {
    SafeFile safe;
    SafeFile *const files[] = {&safe};
    FILE *file = safe_open(&safe, summary->path, error) ? safe_stream(&safe, error) : NULL;
    if (file)
        writer(file, summary);
    bool fine = file && safe_stream_end(&safe, file, error) && safe_commit(files, 1, error);
    safe_discard(&safe);
    return fine;
}

/* ---- comma-separated ---- */

static void write_number(FILE *file, double value, int decimals) {
    if (isfinite(value))
        fprintf(file, ",%.*f", decimals, value);
    else
        fputc(',', file);
}

static void write_row(FILE *file, const SummaryRow *row) {
    const double none = (double)NAN;
    text_csv(file, row->name);
    fprintf(file, ",%s,", row->result);
    text_csv(file, row->out);
    write_number(file, row->rendered ? row->length_s : none, 3);
    write_number(file, row->rendered ? row->rate_hz : none, 0);
    write_number(file, row->rendered ? row->channels : none, 0);
    write_number(file, row->rendered ? text_db(row->peak) : none, 2);
    write_number(file, row->rendered ? row->seconds : none, 2);
    fputc(',', file);
    text_csv(file, row->why ? row->why : "");
    fputc('\n', file);
}

static void write_csv(FILE *file, const Summary *summary) {
    fputs("take,result,output,length_s,rate_hz,channels,peak_dbfs,took_s,why\n", file);
    for (size_t i = 0; i < summary->n; i++)
        write_row(file, &summary->rows[i]);
}

bool summary_write_csv(const char *path, const SummaryRow *rows, size_t n, HostError *error) {
    return write_whole(&(const Summary){.path = path, .rows = rows, .n = n}, write_csv, error);
}

/* ---- links ---- */

/* Folder by its real path, which ends with a slash, and the name in it. */
static char *real_path(const char *path) {
    char *copy = text_copy(path);
    const char *folder = dirname(copy);
    char *real = realpath(folder, NULL);
    const char *known = real ? real : folder;
    char *whole =
        text_print("%s%s%s", known, known[strlen(known) - 1] == '/' ? "" : "/", text_base(path));
    free(real);
    free(copy);
    return whole;
}

/* Bytes that both begin with, up to a slash. */
static size_t common_folder(const char *a, const char *b) {
    size_t common = 0;
    for (size_t i = 0; a[i] && a[i] == b[i]; i++)
        if (a[i] == '/')
            common = i + 1;
    return common;
}

char *summary_link(const char *from_file, const char *to) {
    char *from = real_path(from_file), *target = real_path(to);
    size_t common = common_folder(from, target), ups = 0;
    for (const char *slash = strchr(from + common, '/'); slash; slash = strchr(slash + 1, '/'))
        ups++;
    char *link = text_take(3 * (ups + strlen(target + common)) + 1, 1), *end = link;
    for (size_t i = 0; i < ups; i++)
        end = stpcpy(end, "../");
    for (const char *c = target + common; *c; c++)
        end += sprintf(end, isalnum((unsigned char)*c) || strchr("-._~/", *c) ? "%c" : "%%%02X",
                       (unsigned char)*c);
    free(from);
    free(target);
    return link;
}

/* ---- the page ---- */

static const char STYLE[] =
    ":root{color-scheme:light dark}"
    "body{margin:1.5rem auto;max-width:80rem;padding:0 1rem;font:1rem/1.5 system-ui,sans-serif;"
    "font-variant-numeric:tabular-nums;overflow-wrap:break-word}"
    "table{border-collapse:collapse;width:100%}"
    "th,td{text-align:left;vertical-align:top;padding:.4rem .7rem .4rem 0;"
    "border-top:1px solid GrayText}"
    "thead th{border:0}"
    "td:nth-child(2):not([colspan]),td:nth-child(3){white-space:nowrap}"
    "audio{width:100%;min-width:14rem}"
    ".failed{border-left:4px solid;padding-left:.6rem}"
    "@media(max-width:48rem){thead{display:none}tr,th,td{display:block;border:0;padding:.1rem 0}"
    "tr{border-top:1px solid GrayText;padding:.6rem 0}}";

void summary_player(FILE *file, const char *page, const char *path, const char *what,
                    const char *name) {
    char *link = summary_link(page, path);
    fputs("<td><audio controls preload=\"none\" src=\"", file);
    page_escape(file, link);
    fprintf(file, "\" aria-label=\"%s: ", what);
    page_escape(file, name);
    fputs("\"></audio></td>", file);
    free(link);
}

void summary_page_begin(FILE *file, const char *title, const char *folder) {
    fputs("<!doctype html>\n<html lang=\"en\"><head><meta charset=\"utf-8\">"
          "<meta name=\"viewport\" content=\"width=device-width,initial-scale=1\"><title>",
          file);
    page_escape(file, folder);
    fprintf(file, "</title><style>%s</style></head>\n<body><h1>%s", STYLE, title);
    page_escape(file, folder);
    fputs("</h1>\n", file);
}

void summary_page_end(FILE *file) {
    fputs("</tbody></table></body></html>\n", file);
}

static void write_result(FILE *file, const SummaryRow *row) {
    char length[32];
    if (!row->rendered) {
        fprintf(file, "<td colspan=\"3\">%s", row->why ? "" : row->result);
        page_escape(file, row->why ? row->why : "");
        fputs("</td>", file);
        return;
    }
    fprintf(file, "<td>%s</td><td>", text_time(length, row->length_s));
    if (row->peak > 0.0)
        fprintf(file, "%.1f dBFS", text_db(row->peak));
    else
        fputs("silent", file);
    fputs("</td><td>", file);
    page_escape(file, row->cuts ? row->cuts : "");
    fputs("</td>", file);
}

static void write_take(FILE *file, const Summary *summary, const SummaryRow *row) {
    fprintf(file, "<tr><th scope=\"row\"%s>", row->why ? " class=\"failed\"" : "");
    page_escape(file, row->name);
    fputs("</th>", file);
    write_result(file, row);
    summary_player(file, summary->path, row->take, "before", row->name);
    if (row->why)
        fputs("<td>failed</td>", file);
    else
        summary_player(file, summary->path, row->out, "after", row->name);
    fputs("</tr>\n", file);
}

static size_t count(const Summary *summary, const char *result) {
    size_t n = 0;
    for (size_t i = 0; i < summary->n; i++)
        n += strcmp(summary->rows[i].result, result) == 0;
    return n;
}

static void write_page(FILE *file, const Summary *summary) {
    summary_page_begin(file, "Takes of ", summary->folder);
    fprintf(file,
            "<p>%zu takes: %zu rendered, %zu skipped, %zu failed. Players are not matched in "
            "loudness: start low.</p>\n<table><thead><tr><th>take</th><th>length</th><th>peak</th>"
            "<th>most cut, dB</th><th>before</th><th>after</th></tr></thead>\n<tbody>\n",
            summary->n, count(summary, "rendered"), count(summary, "skipped"),
            count(summary, "failed"));
    for (size_t i = 0; i < summary->n; i++)
        write_take(file, summary, &summary->rows[i]);
    summary_page_end(file);
}

bool summary_write_page(const char *path, const char *folder, const SummaryRow *rows, size_t n,
                        HostError *error) {
    return write_whole(&(const Summary){path, folder, rows, n}, write_page, error);
}
