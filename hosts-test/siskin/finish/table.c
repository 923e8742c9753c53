/* SPDX-License-Identifier: ISC */
#include "siskin/finish/table.h"

#include "siskin/finish/made.h"
#include "siskin/page/text.h"
#include "siskin/render/summary.h"
#include "siskin/text.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

/* "lead-take1.wav lead-take2.wav". The caller frees it. */
static char *take_names(const SessionPart *part) {
    char *names = text_copy("");
    for (size_t t = 0; t < part->n_takes; t++) {
        char *longer = text_print("%s%s%s", names, t ? ", " : "", part->takes[t]);
        free(names);
        names = longer;
    }
    return names;
}

/* ---- for programs ---- */

static void csv_head(FILE *file) {
    fputs("part,takes,follows", file);
    for (int i = 0; i < ROW_TEXTS; i++)
        fprintf(file, ",%s", row_text_names[i]);
    for (int i = 0; i < ROW_NUMBERS; i++)
        fprintf(file, ",%s", row_number_names[i]);
    fputs(",output,chain\n", file);
}

static void csv_cell(FILE *file, const char *text) {
    fputc(',', file);
    text_csv(file, text ? text : "");
}

/* Output and chain as seen from OUT. */
static void csv_row(FILE *file, const SessionPart *part, const Row *row) {
    char *takes = take_names(part);
    char *output = text_print("%s.wav", part->name);
    char *chain = text_print("chains/%s.chain", part->name);
    text_csv(file, part->name);
    csv_cell(file, takes);
    csv_cell(file, part->follows);
    for (int i = 0; i < ROW_TEXTS; i++)
        csv_cell(file, row->text[i]);
    for (int i = 0; i < ROW_NUMBERS; i++)
        if (isfinite(row->number[i]))
            fprintf(file, ",%.6g", row->number[i]);
        else
            fputc(',', file);
    csv_cell(file, row_failed(row) ? "" : output);
    csv_cell(file, row_failed(row) ? "" : chain);
    fputc('\n', file);
    free(takes);
    free(output);
    free(chain);
}

/* ---- for people ---- */

static void add_number(char *line, size_t size, const char *format, double value) {
    if (isfinite(value))
        text_add(line, size, format, value);
}

/* "-23.4 LUFS, -3.1 dBTP" */
static void add_level(char *line, size_t size, double lufs, double peak_db) {
    add_number(line, size, "%.1f LUFS", lufs);
    add_number(line, size, isfinite(lufs) ? ", %.1f dBTP" : "%.1f dBTP", peak_db);
}

static void add_text(char *line, size_t size, const char *title, const char *text) {
    if (text && *text)
        text_add(line, size, "%s%s%s", *line ? "; " : "", title, text);
}

/* All that was done and is left, as one sentence. */
static void tell_work(char *line, size_t size, const SessionPart *part, const Row *row) {
    const double *number = row->number;
    *line = '\0';
    add_text(line, size, "phrases: ", row->text[ROW_COMP]);
    if (isfinite(number[ROW_APART_MS]))
        text_add(line, size, "%s%.0f ms from %s, brought to %.0f", *line ? "; " : "",
                 number[ROW_APART_MS], part->follows ? part->follows : "the lead",
                 number[ROW_TIGHT_MS]);
    add_text(line, size, "done: ", row->text[ROW_STEPS]);
    if (isfinite(number[ROW_COLOUR_DB]))
        text_add(line, size, "%scolour %.1f dB off, %.1f after", *line ? "; " : "",
                 number[ROW_COLOUR_DB], number[ROW_COLOURED_DB]);
    if (number[ROW_DRIVE_DB] > 0.0)
        text_add(line, size, "%slimiter driven %.1f dB", *line ? "; " : "", number[ROW_DRIVE_DB]);
    if (number[ROW_SHORT_LU] >= 0.05)
        text_add(line, size, "%s%.1f LU short of the loudness", *line ? "; " : "",
                 number[ROW_SHORT_LU]);
    add_text(line, size, "stays: ", row->text[ROW_STAYS]);
    add_text(line, size, "by hand: ", row->text[ROW_HAND]);
    add_text(line, size, "edited: ", row->text[ROW_EDITED]);
    add_text(line, size, "", row->text[ROW_NOTE]);
    add_text(line, size, "", part->note);
}

void table_print_row(const SessionPart *part, const Row *row, bool as_it_was) {
    char name[1024], line[4096] = "", plain[8192];
    text_plain(name, sizeof name, part->name);
    if (row_failed(row)) {
        printf("%-20s FAILED: %s\n", name, text_plain(plain, sizeof plain, row->text[ROW_WHY]));
        return;
    }
    add_level(line, sizeof line, row->number[ROW_WAS_LUFS], row->number[ROW_WAS_PEAK]);
    text_add(line, sizeof line, "%s", *line ? " -> " : "");
    add_level(line, sizeof line, row->number[ROW_LUFS], row->number[ROW_PEAK]);
    text_add(line, sizeof line, "%s", *line ? "" : "silent");
    printf("%-20s %s%s\n", name, as_it_was ? "as it was: " : "", line);
    tell_work(line, sizeof line, part, row);
    if (*line && !as_it_was)
        printf("%-20s %s\n", "", text_plain(plain, sizeof plain, line));
}

/* ---- the page ---- */

static void cell(FILE *file, const char *text) {
    fputs("<td>", file);
    page_escape(file, text);
    fputs("</td>", file);
}

static void level_cell(FILE *file, double lufs, double peak_db) {
    char line[128] = "";
    add_level(line, sizeof line, lufs, peak_db);
    cell(file, *line ? line : "–");
}

/* A link to a file of OUT, if it is there. */
static void link_to(FILE *file, const PartJob *job, const char *page, const char *folder,
                    const char *name, const char *extension) {
    char *path = text_print("%s/%ss/%s.%s", job->out, folder, name, extension);
    if (access(path, F_OK) == 0) {
        char *link = summary_link(page, path);
        fputs("<br><a href=\"", file);
        page_escape(file, link);
        fprintf(file, "\">%s</a>", folder);
        free(link);
    }
    free(path);
}

static void work_cell(FILE *file, const PartJob *job, const char *page, const SessionPart *part,
                      const Row *row) {
    char line[4096];
    tell_work(line, sizeof line, part, row);
    fputs("<td>", file);
    page_escape(file, line);
    link_to(file, job, page, "chain", part->name, "chain");
    link_to(file, job, page, "list", part->name, "list");
    fputs("</td>", file);
}

static void page_row(FILE *file, const PartJob *job, const char *page, size_t i, const Row *row) {
    const SessionPart *part = &job->session->parts[i];
    char *takes = take_names(part), *before = part_before(job, i);
    char *after = text_print("%s/%s.wav", job->out, part->name);
    fprintf(file, "<tr><th scope=\"row\"%s>", row_failed(row) ? " class=\"failed\"" : "");
    page_escape(file, part->name);
    fputs("<br><small>", file);
    page_escape(file, takes);
    fputs("</small></th>", file);
    if (row_failed(row)) {
        fputs("<td colspan=\"3\">failed: ", file);
        page_escape(file, row->text[ROW_WHY] ? row->text[ROW_WHY] : "");
        fputs("</td>", file);
    } else {
        level_cell(file, row->number[ROW_WAS_LUFS], row->number[ROW_WAS_PEAK]);
        level_cell(file, row->number[ROW_LUFS], row->number[ROW_PEAK]);
        work_cell(file, job, page, part, row);
    }
    summary_player(file, page, before, "before", part->name);
    if (row_failed(row))
        cell(file, "");
    else
        summary_player(file, page, after, "after", part->name);
    fputs("</tr>\n", file);
    free(takes);
    free(before);
    free(after);
}

static void write_page(FILE *file, const PartJob *job, const Row *rows, const char *page) {
    size_t failed = 0;
    for (size_t i = 0; i < job->session->n; i++)
        failed += row_failed(&rows[i]);
    summary_page_begin(file, "Parts of ", job->folder);
    fprintf(file,
            "<p>%zu of %zu finished, %zu failed. Players are not matched in loudness: start "
            "low.</p>\n<table><thead><tr><th>part</th><th>was</th><th>is</th><th>what was done and "
            "is left</th><th>before</th><th>after</th></tr></thead>\n<tbody>\n",
            job->session->n - failed, job->session->n, failed);
    for (size_t i = 0; i < job->session->n; i++)
        page_row(file, job, page, i, &rows[i]);
    summary_page_end(file);
}

/* ---- both ---- */

typedef void Writer(FILE *file, const PartJob *job, const Row *rows, const char *path);

static void write_csv(FILE *file, const PartJob *job, const Row *rows, const char *path) {
    (void)path;
    csv_head(file);
    for (size_t i = 0; i < job->session->n; i++)
        csv_row(file, &job->session->parts[i], &rows[i]);
}

static bool put(const PartJob *job, const Row *rows, const char *name, Writer *writer,
                HostError *error) {
    char *text = NULL;
    size_t size = 0;
    char *path = text_print("%s/%s", job->out, name);
    FILE *file = open_memstream(&text, &size);
    if (file)
        writer(file, job, rows, path);
    bool fine = file && fclose(file) == 0;
    fine = fine ? made_may_write(job->out, name, error) &&
                      made_put_text(job->out, name, text, 0, error)
                : host_fail(error, "%s: out of memory", path);
    free(text);
    free(path);
    return fine;
}

bool table_write(const PartJob *job, const Row *rows, HostError *error) {
    char *path = text_print("%s/" MADE_RECORDS "/lock", job->out);
    int lock = -1;
    bool fine = part_lock(path, true, &lock, error) &&
                put(job, rows, TABLE_NAME, write_csv, error) &&
                put(job, rows, TABLE_PAGE, write_page, error);
    part_unlock(lock);
    free(path);
    return fine;
}
