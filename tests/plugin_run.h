/* SPDX-License-Identifier: ISC */
/* plugin_run.h: runs a plugin through its plugin_spec as the shell does, for suites that include
 * the plugin's C file before this. */
#ifndef SISKIN_TESTS_PLUGIN_RUN_H
#define SISKIN_TESTS_PLUGIN_RUN_H

#include "plugin.h"

#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { PLUGIN_RUN_STEP = 16 }; /* frames of one process() call: meters are known so often */

typedef struct {
    double rate_hz;
    void *self, *memory;
    float control[PLUGIN_MAX_CONTROLS];
} PluginUnderTest;

/* What came of a take, latency taken away again. Steps count from the take's first frame, as the
 * effect is heard. */
typedef struct {
    size_t n, steps;
    float *out;
    float *gain; /* what a second channel of ones came out as: the gain, where there is one */
    float *reduction_db;               /* [steps] */
    float (*meter)[PLUGIN_MAX_METERS]; /* [steps] */
} PluginRun;

static inline void *plugin_run_memory(size_t count, size_t size) {
    void *memory = calloc(count + 1, size);
    ck_assert_ptr_nonnull(memory);
    return memory;
}

static inline PluginUnderTest plugin_new(double rate_hz) {
    const size_t room = (size_t)1 << 24;
    PluginUnderTest p = {.rate_hz = rate_hz,
                         .self = plugin_run_memory(1, plugin_spec.state_size),
                         .memory = plugin_run_memory(room, 1)};
    Arena arena = arena_over(p.memory, room);
    ck_assert(plugin_spec.prepare(p.self, rate_hz, 2, &arena));
    for (size_t i = 0; i < plugin_spec.n_controls; i++)
        p.control[i] = plugin_spec.controls[i].initial;
    return p;
}

static inline void plugin_free(PluginUnderTest *p) {
    free(p->self);
    free(p->memory);
}

/* From a reset, with the controls as they are; both channels hear `in`. */
static inline PluginRun plugin_run(PluginUnderTest *p, const float *in, size_t n) {
    size_t late = plugin_spec.latency(p->self, p->control), all = n + late;
    float *fed = plugin_run_memory(all, sizeof *fed), *dry = plugin_run_memory(all, sizeof *dry);
    float *out = plugin_run_memory(all, sizeof *out), *gain = plugin_run_memory(all, sizeof *gain);
    float *ones = plugin_run_memory(all, sizeof *ones);
    PluginRun made = {.n = n, .steps = n / PLUGIN_RUN_STEP};
    made.out = plugin_run_memory(n, sizeof *made.out);
    made.gain = plugin_run_memory(n, sizeof *made.gain);
    made.reduction_db = plugin_run_memory(made.steps, sizeof *made.reduction_db);
    made.meter = plugin_run_memory(made.steps, sizeof *made.meter);
    memcpy(fed, in, n * sizeof *in);
    memcpy(dry + late, in, n * sizeof *in);
    for (size_t i = 0; i < all; i++)
        ones[i] = 1.0f;
    plugin_spec.reset(p->self);
    plugin_spec.set(p->self, p->control);
    for (size_t at = 0; at < all; at += PLUGIN_RUN_STEP) {
        size_t k = all - at < PLUGIN_RUN_STEP ? all - at : PLUGIN_RUN_STEP;
        const float *f[2] = {fed + at, fed + at}, *d[2] = {dry + at, ones + at};
        float *o[2] = {out + at, gain + at}, meter[PLUGIN_MAX_METERS] = {0.0f}, reduction = 0.0f;
        plugin_spec.process(p->self, &(Io){.n = k,
                                           .channels = 2,
                                           .in = f,
                                           .dry = d,
                                           .out = o,
                                           .meter = meter,
                                           .reduction_db = &reduction});
        if (at < late || (at - late) / PLUGIN_RUN_STEP >= made.steps)
            continue;
        made.reduction_db[(at - late) / PLUGIN_RUN_STEP] = reduction;
        memcpy(made.meter[(at - late) / PLUGIN_RUN_STEP], meter, sizeof meter);
    }
    memcpy(made.out, out + late, n * sizeof *out);
    memcpy(made.gain, gain + late, n * sizeof *gain);
    free(fed), free(dry), free(out), free(ones), free(gain);
    return made;
}

static inline void plugin_run_free(PluginRun *made) {
    free(made->out), free(made->gain), free(made->reduction_db), free(made->meter);
}

/* The largest reduction within from_s..to_s, dB. */
static inline double plugin_run_most(const PluginUnderTest *p, const PluginRun *made, double from_s,
                                     double to_s) {
    double most = 0.0, step_hz = p->rate_hz / PLUGIN_RUN_STEP;
    for (size_t i = (size_t)(from_s * step_hz); i < (size_t)(to_s * step_hz) && i < made->steps;
         i++)
        most = fmax(most, (double)made->reduction_db[i]);
    return most;
}

/* The first time after from_s when the reduction is (or is no longer) over db, s; INFINITY:
 * never. */
static inline double plugin_run_time(const PluginUnderTest *p, const PluginRun *made, double from_s,
                                     bool over, double db) {
    double step_hz = p->rate_hz / PLUGIN_RUN_STEP;
    for (size_t i = (size_t)(from_s * step_hz); i < made->steps; i++)
        if (((double)made->reduction_db[i] > db) == over)
            return (double)i / step_hz;
    return INFINITY;
}

#endif
