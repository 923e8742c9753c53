/* SPDX-License-Identifier: ISC */
#include "siskin/render/trace.h"

#include "siskin/text.h"

#include <ctype.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

bool trace_open(Trace *trace, const char *path, double rate_hz, size_t step, HostError *error) {
    *trace = (Trace){.rate_hz = rate_hz, .step = step};
    if (!safe_open(&trace->safe, path, error))
        return false;
    trace->file = safe_stream(&trace->safe, error);
    if (trace->file)
        return true;
    trace_discard(trace);
    return false;
}

int trace_processor(Trace *trace) {
    *(uint64_t *)text_grow(&trace->filled, &trace->n_processors, sizeof *trace->filled) = 0;
    return (int)trace->n_processors - 1;
}

size_t trace_column(Trace *trace, int processor, const char *name) {
    size_t count = trace->n_columns;
    *(char **)text_grow(&trace->names, &count, sizeof *trace->names) = text_copy(name);
    *(int *)text_grow(&trace->owner, &trace->n_columns, sizeof *trace->owner) = processor;
    return trace->n_columns - 1;
}

static float *row_at(const Trace *trace, uint64_t row) {
    return trace->ring + row % trace->ring_rows * trace->n_columns;
}

static void empty(const Trace *trace, float *row) {
    for (size_t c = 0; c < trace->n_columns; c++)
        row[c] = NAN;
}

/* Plain names of ours stand as they are. */
static void write_name(FILE *file, const char *name) {
    bool plain = isalnum((unsigned char)*name);
    for (const char *c = name; *c; c++)
        plain = plain && (isalnum((unsigned char)*c) || strchr(" .-_:", *c));
    fputc(',', file);
    if (plain)
        fputs(name, file);
    else
        text_csv(file, name);
}

void trace_begin(Trace *trace, uint64_t frames, size_t spread) {
    trace->rows = (frames + trace->step - 1) / trace->step;
    trace->ring_rows = spread / trace->step + 3; /* the ends may each lie inside a row */
    trace->ring = text_take(trace->ring_rows * trace->n_columns, sizeof(float));
    for (size_t r = 0; r < trace->ring_rows; r++)
        empty(trace, row_at(trace, r));
    fputs("time_s", trace->file);
    for (size_t c = 0; c < trace->n_columns; c++)
        write_name(trace->file, trace->names[c]);
    fputc('\n', trace->file);
}

static void write_row(Trace *trace) {
    float *row = row_at(trace, trace->written);
    double at = (double)trace->written * (double)trace->step;
    fprintf(trace->file, "%.6f", at / trace->rate_hz);
    for (size_t c = 0; c < trace->n_columns; c++)
        if (isnan(row[c]))
            fputc(',', trace->file);
        else
            fprintf(trace->file, ",%.6g", (double)row[c]);
    fputc('\n', trace->file);
    empty(trace, row);
    trace->written++;
}

void trace_put(Trace *trace, size_t column, uint64_t at, float value, bool largest) {
    uint64_t row = at / trace->step;
    if (row >= trace->rows || row < trace->written || row >= trace->written + trace->ring_rows)
        return;
    float *cell = row_at(trace, row) + column;
    *cell = largest ? fmaxf(*cell, value) : value; /* fmaxf passes over the NaN of an empty cell */
}

void trace_reached(Trace *trace, int processor, uint64_t at) {
    trace->filled[processor] = at / trace->step;
    uint64_t full = trace->rows;
    for (size_t p = 0; p < trace->n_processors; p++)
        if (trace->filled[p] < full)
            full = trace->filled[p];
    while (trace->written < full)
        write_row(trace);
}

bool trace_finish(Trace *trace, HostError *error) {
    while (trace->written < trace->rows)
        write_row(trace);
    FILE *file = trace->file;
    trace->file = NULL;
    return safe_stream_end(&trace->safe, file, error);
}

void trace_discard(Trace *trace) {
    if (trace->file)
        fclose(trace->file);
    safe_discard(&trace->safe);
    for (size_t c = 0; c < trace->n_columns; c++)
        free(trace->names[c]);
    free(trace->names);
    free(trace->owner);
    free(trace->filled);
    free(trace->ring);
    *trace = (Trace){0};
}
