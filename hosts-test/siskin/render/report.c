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

static void finish_line(const TakeJob *job, const Finish *finish) {
    char loudness[32] = "no loudness";
    if (!finish_is_asked(&job->finish))
        return;
    if (!isnan(finish->loudness_lufs))
        snprintf(loudness, sizeof loudness, "%.1f LUFS", finish->loudness_lufs);
    printf("  %s, true peak %.1f dBTP, by a gain of %+.1f dB\n", loudness, finish->peak_db,
           finish->gain_db);
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
    finish_line(job, &report->finish);
    for (size_t i = 0; i < report->n_processors; i++) {
        int length = (int)strlen(report->processor[i].label);
        width = length > width ? length : width;
    }
    for (size_t i = 0; i < report->n_processors; i++)
        processor_line(&report->processor[i], width);
}

char *report_cuts(const TakeReport *report) {
    char *cuts = text_copy("");
    for (size_t i = 0; i < report->n_processors; i++) {
        const TakeProcessor *processor = &report->processor[i];
        if (!processor->has_reduction)
            continue;
        char *more = text_print("%s%s%s %.1f", cuts, *cuts ? ", " : "", processor->label,
                                processor->most_db);
        free(cuts);
        cuts = more;
    }
    return cuts;
}

void report_row_done(const char *name, const TakeReport *report) {
    char length[32];
    char peak[32];
    char plain[PLAIN];
    char *cuts = report_cuts(report);
    printf("ok       %-28s %9s  peak %10s%s%s\n", text_plain(plain, sizeof plain, name),
           text_time(length, report->length_s), decibels(peak, text_db(report->peak)),
           *cuts ? "  most cut, dB: " : "", cuts);
    free(cuts);
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

/* Notes are lines; each is an element. */
static void json_notes(Json *json, const char *notes) {
    json_open(json, "notes", '[', false);
    for (const char *line = notes; *line; line += strspn(line, "\n")) {
        size_t length = strcspn(line, "\n");
        char *text = text_print("%.*s", (int)length, line);
        json_text(json, NULL, text);
        free(text);
        line += length;
    }
    json_close(json, ']');
}

void report_json(Json *json, const TakeJob *job, const TakeReport *report) {
    char format[48];
    json_open(json, NULL, '{', false);
    json_text(json, "take", job->take);
    json_text(json, "result", "rendered");
    json_text(json, "output", job->out);
    json_text(json, "format", audio_format_name(format, &job->format));
    json_number(json, "length_s", report->length_s, 4);
    json_number(json, "rate_hz", report->rate_hz, 0);
    json_whole(json, "channels", report->channels);
    json_number(json, "peak_dbfs", text_db(report->peak), 2);
    if (finish_is_asked(&job->finish)) {
        json_number(json, "loudness_lufs", report->finish.loudness_lufs, 2);
        json_number(json, "true_peak_dbtp", report->finish.peak_db, 2);
        json_number(json, "gain_db", report->finish.gain_db, 3);
        json_number(json, "short_lu", report->finish.short_lu, 2);
    }
    json_number(json, "took_s", report->seconds, 3);
    json_open(json, "processors", '[', false);
    for (size_t i = 0; i < report->n_processors; i++) {
        const TakeProcessor *processor = &report->processor[i];
        bool reduces = processor->has_reduction;
        json_open(json, NULL, '{', true);
        json_text(json, "name", processor->label);
        json_number(json, "latency_ms", processor->latency_ms, 3);
        json_number(json, "reduction_most_db", reduces ? processor->most_db : (double)NAN, 2);
        json_number(json, "reduction_mean_db", reduces ? processor->mean_db : (double)NAN, 3);
        json_number(json, "active_percent", reduces ? 100.0 * processor->active : (double)NAN, 2);
        json_number(json, "events", processor->events, 0);
        json_close(json, '}');
    }
    json_close(json, ']');
    json_notes(json, report->notes);
    json_close(json, '}');
}

void report_json_other(Json *json, const char *take, const char *result, const char *why) {
    json_open(json, NULL, '{', true);
    json_text(json, "take", take);
    json_text(json, "result", result);
    json_text(json, "why", why);
    json_close(json, '}');
}

static double now(void) {
    struct timespec time;
    clock_gettime(CLOCK_MONOTONIC, &time);
    return (double)time.tv_sec + 1e-9 * (double)time.tv_nsec;
}

/* Between two of a file of messages, and on a terminal. */
static const double LINE_S = 5.0, LEAST_S = 0.1;

Progress progress_begin(bool quiet) {
    const char *terminal = getenv("TERM");
    bool lines = !isatty(STDERR_FILENO) || (terminal && strcmp(terminal, "dumb") == 0);
    double began = now();
    return (Progress){
        .quiet = quiet, .lines = lines, .began = began, .piece = began, .last = began};
}

void progress_show(Progress *progress, const char *what, double done) {
    char left[32];
    double time = now(), since = time - progress->last;
    char plain[PLAIN];
    if (done < progress->done)
        progress->piece = time;
    progress->done = done;
    if (progress->quiet || time - progress->began < 1.0 ||
        since < (progress->lines ? LINE_S : LEAST_S))
        return;
    progress->last = time;
    fprintf(stderr, "%s%s: %.0f %%", progress->lines ? "siskin: " : "\r\033[K",
            text_plain(plain, sizeof plain, what), 100.0 * done);
    if (done > 0.01)
        fprintf(stderr, ", %s left",
                text_time(left, (time - progress->piece) * (1.0 - done) / done));
    if (progress->lines)
        fputc('\n', stderr);
    fflush(stderr);
    progress->shown = !progress->lines;
}

void progress_clear(Progress *progress) {
    if (progress->shown)
        fputs("\r\033[K", stderr);
    progress->shown = false;
}
