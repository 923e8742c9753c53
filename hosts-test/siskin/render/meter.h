/* SPDX-License-Identifier: ISC */
/* meter.h: what a processor's meters come to over a take. */
#ifndef SISKIN_RENDER_METER_H
#define SISKIN_RENDER_METER_H

#include "siskin/render/take.h"
#include "siskin/render/trace.h"

typedef struct {
    TakeProcessor *report;
    const HostPort *reduction, *events; /* NULL: there is none */
    uint64_t frames;                    /* of the files: what lies outside does not count */
    double sum_db;                      /* reduction, dB times frames */
    uint64_t seen, active;              /* frames */
    Trace *trace;                       /* or NULL */
    int trace_processor;
    size_t first_column;
} Meter;

/* Begins a report whose label is set, and its columns of the trace (or NULL). */
void meter_start(Meter *meter, TakeProcessor *report, const HostPlugin *plugin, uint64_t frames,
                 Trace *trace);
/* A GraphWatch; `user` is the Meter. */
void meter_watch(void *user, const HostInstance *instance, int64_t at, size_t n);
/* Completes the report. */
void meter_finish(const Meter *meter);

#endif
