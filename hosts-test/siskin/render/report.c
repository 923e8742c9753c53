/* SPDX-License-Identifier: ISC */
#include "siskin/render/report.h"

#include "siskin/text.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

enum { PLAIN = 4096 }; /* bytes of a text whose controls are escaped */

static const char *decibels(char buffer[32], double db) {
    if (isinf(db))
        snprintf(buffer, 32, "silent");
    else
        snprintf(buffer, 32, "%.1f dBFS", db);
    return buffer;
}

static void head(const TakeJob *job, const TakeReport *report) {
    char length[32];
    char format[48];
    char peak[32];
    char out[PLAIN];
    printf("%s: %s, %g Hz, %s, %s; peak %s", text_plain(out, sizeof out, job->out),
           text_time(length, report->length_s), report->rate_hz,
           report->channels == 1 ? "mono" : "stereo", audio_format_name(format, &job->format),
           decibels(peak, text_db(report->peak)));
    printf("; took %.2f s", report->seconds);
    if (report->seconds > 0.0)
        printf(", %.0f times real time", report->length_s / report->seconds);
    putchar('\n');
}

static void processor_line(const TakeProcessor *processor, int width) {
    printf("  %-*s  ", width, processor->label);
    if (processor->has_reduction)
        printf("cut: most %5.1f dB, mean %5.2f dB, over %g dB %4.1f %% of the time; ",
               processor->most_db, processor->mean_db, TAKE_ACTIVE_DB, 100.0 * processor->active);
    if (!isnan(processor->events))
        printf("%.0f events; ", processor->events);
    printf("latency %.1f ms\n", processor->latency_ms);
}

void report_take(const TakeJob *job, const TakeReport *report) {
    int width = 0;
    head(job, report);
    for (size_t i = 0; i < report->n_processors; i++) {
        int length = (int)strlen(report->processor[i].label);
        width = length > width ? length : width;
    }
    for (size_t i = 0; i < report->n_processors; i++)
        processor_line(&report->processor[i], width);
}

void report_row_done(const char *name, const TakeReport *report) {
    char length[32];
    char peak[32];
    char plain[PLAIN];
    printf("ok       %-28s %9s  peak %10s", text_plain(plain, sizeof plain, name),
           text_time(length, report->length_s), decibels(peak, text_db(report->peak)));
    for (size_t i = 0; i < report->n_processors; i++)
        if (report->processor[i].has_reduction)
            printf("%s %s %.1f", i ? "," : "  most cut, dB:", report->processor[i].label,
                   report->processor[i].most_db);
    putchar('\n');
}

void report_row_failed(const char *name, const char *why) {
    char plain[PLAIN], plain_why[PLAIN];
    printf("FAILED   %-28s %s\n", text_plain(plain, sizeof plain, name),
           text_plain(plain_why, sizeof plain_why, why));
}

void report_row_skipped(const char *name) {
    char plain[PLAIN];
    printf("skipped  %-28s done before\n", text_plain(plain, sizeof plain, name));
}

void report_note_lines(const char *notes) {
    for (const char *line = notes; *line;) {
        int length = (int)strcspn(line, "\n");
        char *text = text_print("%.*s", length, line);
        char plain[PLAIN];
        fprintf(stderr, "siskin: note: %s\n", text_plain(plain, sizeof plain, text));
        free(text);
        line += length + (line[length] == '\n');
    }
}

static double now(void) {
    struct timespec time;
    clock_gettime(CLOCK_MONOTONIC, &time);
    return (double)time.tv_sec + 1e-9 * (double)time.tv_nsec;
}

Progress progress_begin(bool quiet) {
    return (Progress){.quiet = quiet || !isatty(STDERR_FILENO), .began = now()};
}

void progress_show(Progress *progress, const char *what, double done) {
    char left[32];
    double elapsed = now() - progress->began;
    if (progress->quiet || elapsed < 1.0)
        return;
    fprintf(stderr, "\r\033[K%s: %.0f %%", what, 100.0 * done);
    if (done > 0.01)
        fprintf(stderr, ", %s left", text_time(left, elapsed * (1.0 - done) / done));
    fflush(stderr);
    progress->shown = true;
}

void progress_clear(Progress *progress) {
    if (progress->shown)
        fputs("\r\033[K", stderr);
    progress->shown = false;
}
