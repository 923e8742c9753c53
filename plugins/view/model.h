/* SPDX-License-Identifier: ISC */
/* model.h: what a view knows of its plugin: the values of all ports, the last ten seconds of its
 * meters, its presets.
 *
 * No window, no LV2, no clock: the caller says what time it is. Nothing is taken from the heap. */
#ifndef SISKIN_VIEW_MODEL_H
#define SISKIN_VIEW_MODEL_H

#include "layout.h"

enum {
    MODEL_PORTS = 3 + PLUGIN_MAX_CONTROLS + 1 + PLUGIN_MAX_METERS + 3 * PLUGIN_MAX_CHANNELS,
    MODEL_TRACES = 1 + PLUGIN_MAX_METERS,
    MODEL_STEPS = 250, /* columns of a trace */
};
/* A column is 40 ms: meters are made for a view that looks 25 times a second (layout.h). */
static const double MODEL_STEP_S = 0.04;

/* A preset as made from ttl/presets/<name>.ttl by presets.sh. */
typedef struct {
    const char *symbol;
    float value;
} PresetValue;
typedef struct {
    const char *name; /* NULL: the end of the list */
    const PresetValue *values;
    size_t n_values;
} Preset;
extern const Preset view_presets[];

/* One meter over time: the largest that it showed within each column, the newest at `head`. */
typedef struct {
    size_t port;
    float now;     /* the last event's */
    float largest; /* since the last column */
    float at[MODEL_STEPS];
} Trace;

typedef struct {
    const PluginSpec *spec;
    unsigned channels;
    const Preset *presets;
    size_t n_ports;
    Port port[MODEL_PORTS];
    float value[MODEL_PORTS];
    size_t n_traces;
    Trace trace[MODEL_TRACES]; /* reduction, then the plugin's own meters */
    size_t head;
    double next_s;  /* when the next column begins; < 0: none has */
    size_t at_rest; /* columns since one differed from the one before */
} Model;

/* Every port at its default, every meter at rest. */
void model_start(Model *model, const PluginSpec *spec, unsigned channels, const Preset *presets);

bool model_is_control(const Model *model, size_t port); /* a number that the user sets */
bool model_is_meter(const Model *model, size_t port);   /* a number that the plugin shows */

/* The host's value of a port: clamped as the plugin would; what is no control or meter is left out.
 * true: it changed what is seen, beside the traces. */
bool model_event(Model *model, size_t port, float value);

/* Moves the traces to `now_s`, seconds on a clock that only goes forward. true: they look
 * different. */
bool model_tick(Model *model, double now_s);

/* A trace's column, `age` columns before the newest, < MODEL_STEPS. */
float model_trace(const Model *model, size_t trace, size_t age);

/* The scale of a trace that shows a reduction: the least of 6, 12, 24, 48 dB and its maximum that
 * holds all columns, so that small reductions are seen, too. Else the meter's maximum. */
float model_trace_top(const Model *model, size_t trace);

/* The port of the control that a meter is held against (PortSpec.against); MODEL_PORTS: none. */
size_t model_threshold(const Model *model, size_t meter);

/* Presets are numbered: 0 the defaults, then the plugin's own. */
size_t model_n_presets(const Model *model);
const char *model_preset_name(const Model *model, size_t preset);
/* The value that a preset gives a control; its present one where the preset leaves it alone. */
float model_preset_value(const Model *model, size_t preset, size_t port);
/* The first preset whose values all stand, but for what a host sets by itself; model_n_presets():
 * none. */
size_t model_preset(const Model *model);

#endif
