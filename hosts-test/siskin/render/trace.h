/* SPDX-License-Identifier: ISC */
/* trace.h: the meters of all processors over time, as comma-separated values.
 *
 * One row a step, one column a meter. All columns of a row belong to the same stretch of the files,
 * whatever the latency of each processor; rows wait until the latest of them has reached it. */
#ifndef SISKIN_RENDER_TRACE_H
#define SISKIN_RENDER_TRACE_H

#include "siskin/safe.h"

#include <stdint.h>
#include <stdio.h>

typedef struct {
    SafeFile safe;
    FILE *file;
    double rate_hz;
    size_t step; /* frames a row */
    char **names;
    size_t n_columns;
    int *owner;       /* [n_columns] the processor that a column belongs to */
    uint64_t *filled; /* [n_processors] rows that each processor has completed */
    size_t n_processors;
    uint64_t rows, written;
    size_t ring_rows;
    float *ring; /* [ring_rows][n_columns] */
} Trace;

bool trace_open(Trace *trace, const char *path, double rate_hz, size_t step, HostError *error);
/* Adds a processor, then its columns, all before trace_begin; each returns its number. */
int trace_processor(Trace *trace);
size_t trace_column(Trace *trace, int processor, const char *name);
/* `frames`: of the files; `spread`: the most by which one processor may run ahead of another. */
void trace_begin(Trace *trace, uint64_t frames, size_t spread);

/* A value for the row that frame `at` is in: the largest or the last of those put is kept. */
void trace_put(Trace *trace, size_t column, uint64_t at, float value, bool largest);
/* The processor has nothing more to say about frames before `at`. Writes the rows that are full. */
void trace_reached(Trace *trace, int processor, uint64_t at);

/* Writes what is left. The caller then commits trace->safe. */
bool trace_finish(Trace *trace, HostError *error);
void trace_discard(Trace *trace); /* fine on a zeroed one, and after the commit */

#endif
