/* SPDX-License-Identifier: ISC */
#include "siskin/render/meter.h"

#include "siskin/text.h"

#include <math.h>
#include <stdlib.h>

static const HostPort *find(const HostPlugin *plugin, const char *symbol) {
    const HostPort *port = host_port(plugin, symbol);
    return port && port->role == HOST_METER ? port : NULL;
}

static bool is_traced(const HostPlugin *plugin, const HostPort *port) {
    return port->role == HOST_METER && port != plugin->latency;
}

void meter_start(Meter *meter, TakeProcessor *report, const HostPlugin *plugin, uint64_t frames,
                 Trace *trace) {
    *meter = (Meter){.report = report,
                     .reduction = find(plugin, "reduction"),
                     .events = find(plugin, "events"),
                     .frames = frames,
                     .trace = trace};
    report->has_reduction = meter->reduction != NULL;
    report->events = NAN;
    if (!trace)
        return;
    meter->trace_processor = trace_processor(trace);
    meter->first_column = trace->n_columns;
    for (size_t i = 0; i < plugin->n_ports; i++) {
        if (!is_traced(plugin, &plugin->ports[i]))
            continue;
        char *name = text_print("%s.%s", report->label, plugin->ports[i].symbol);
        trace_column(trace, meter->trace_processor, name);
        free(name);
    }
}

static void put_trace(const Meter *meter, const HostInstance *instance, uint64_t at, size_t n) {
    const HostPlugin *plugin = host_plugin(instance);
    size_t column = meter->first_column;
    for (size_t i = 0; i < plugin->n_ports; i++) {
        const HostPort *port = &plugin->ports[i];
        if (is_traced(plugin, port))
            trace_put(meter->trace, column++, at, host_get(instance, port->symbol),
                      port == meter->reduction);
    }
    trace_reached(meter->trace, meter->trace_processor, at + n);
}

void meter_watch(void *user, const HostInstance *instance, int64_t at, size_t n) {
    Meter *meter = user;
    if (at < 0 || (uint64_t)at >= meter->frames)
        return;
    if (meter->reduction) {
        double db = (double)host_get(instance, meter->reduction->symbol);
        meter->report->most_db = fmax(meter->report->most_db, db);
        meter->sum_db += db * (double)n;
        meter->active += db > TAKE_ACTIVE_DB ? n : 0;
        meter->seen += n;
    }
    if (meter->events)
        meter->report->events = (double)host_get(instance, meter->events->symbol);
    if (meter->trace)
        put_trace(meter, instance, (uint64_t)at, n);
}

void meter_finish(const Meter *meter) {
    if (meter->seen == 0)
        return;
    meter->report->mean_db = meter->sum_db / (double)meter->seen;
    meter->report->active = (double)meter->active / (double)meter->seen;
}
