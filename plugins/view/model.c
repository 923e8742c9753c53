/* SPDX-License-Identifier: ISC */
#include "view/model.h"

#include <math.h>
#include <string.h>

static float rest_of(const PortSpec *meter) {
    return meter->meter == METER_NOW ? layout_clamp(meter, meter->initial) : meter->minimum;
}

static void add_trace(Model *model, size_t port) {
    Trace *trace = &model->trace[model->n_traces++];
    float rest = rest_of(&model->port[port].spec);
    *trace = (Trace){.port = port, .now = rest, .largest = rest};
    for (size_t i = 0; i < MODEL_STEPS; i++)
        trace->at[i] = rest;
    model->value[port] = rest;
}

void model_start(Model *model, const PluginSpec *spec, unsigned channels, const Preset *presets) {
    memset(model, 0, sizeof *model);
    model->spec = spec;
    model->channels = channels;
    model->presets = presets;
    model->next_s = -1.0;
    model->at_rest = MODEL_STEPS;
    model->n_ports = layout_count(spec, channels);
    for (size_t i = 0; i < model->n_ports; i++) {
        model->port[i] = layout_port(spec, channels, i);
        model->value[i] = model->port[i].spec.initial;
        if (model_is_meter(model, i))
            add_trace(model, i);
    }
}

bool model_is_control(const Model *model, size_t port) {
    if (port >= model->n_ports)
        return false;
    PortRole role = model->port[port].role;
    return role == ROLE_ENABLED || role == ROLE_AUDITION || role == ROLE_CONTROL;
}

bool model_is_meter(const Model *model, size_t port) {
    if (port >= model->n_ports)
        return false;
    PortRole role = model->port[port].role;
    return role == ROLE_REDUCTION || role == ROLE_METER;
}

static Trace *trace_of(Model *model, size_t port) {
    for (size_t i = 0; i < model->n_traces; i++)
        if (model->trace[i].port == port)
            return &model->trace[i];
    return NULL;
}

bool model_event(Model *model, size_t port, float value) {
    bool meter = model_is_meter(model, port);
    if (!meter && !model_is_control(model, port))
        return false;
    const PortSpec *spec = &model->port[port].spec;
    /* A meter that says nothing sensible is at rest. */
    value = meter && !isfinite(value) ? rest_of(spec) : layout_clamp(spec, value);
    bool changed = value != model->value[port];
    model->value[port] = value;
    Trace *trace = trace_of(model, port);
    if (trace) {
        trace->now = value;
        trace->largest = fmaxf(trace->largest, value);
    }
    return changed;
}

/* ---- traces ---- */

static void add_column(Model *model) {
    size_t before = model->head;
    model->head = (model->head + 1) % MODEL_STEPS;
    bool moved = false;
    for (size_t i = 0; i < model->n_traces; i++) {
        Trace *trace = &model->trace[i];
        trace->at[model->head] = trace->largest;
        moved |= trace->at[model->head] != trace->at[before];
        trace->largest = trace->now;
    }
    model->at_rest = moved ? 0 : model->at_rest + 1;
}

bool model_tick(Model *model, double now_s) {
    if (model->next_s < 0.0)
        model->next_s = now_s + MODEL_STEP_S;
    /* After a long sleep only what is still to be seen. */
    if (now_s - model->next_s > MODEL_STEPS * MODEL_STEP_S)
        model->next_s = now_s - MODEL_STEPS * MODEL_STEP_S;
    bool seen = false;
    while (model->next_s <= now_s) {
        add_column(model);
        model->next_s += MODEL_STEP_S;
        seen |= model->at_rest <= MODEL_STEPS;
    }
    return seen;
}

float model_trace(const Model *model, size_t trace, size_t age) {
    return model->trace[trace].at[(model->head + MODEL_STEPS - age) % MODEL_STEPS];
}

float model_trace_top(const Model *model, size_t trace) {
    const Port *port = &model->port[model->trace[trace].port];
    static const float SCALE[] = {6.0f, 12.0f, 24.0f, 48.0f};
    float largest = 0.0f;
    for (size_t i = 0; i < MODEL_STEPS; i++)
        largest = fmaxf(largest, model->trace[trace].at[i]);
    for (size_t i = 0; i < sizeof SCALE / sizeof *SCALE && port->role == ROLE_REDUCTION; i++)
        if (largest <= SCALE[i] && SCALE[i] < port->spec.maximum)
            return SCALE[i];
    return port->spec.maximum;
}

size_t model_threshold(const Model *model, size_t meter) {
    const char *against = model->port[meter].spec.against;
    for (size_t i = 0; i < model->n_ports && against; i++)
        if (model->port[i].role == ROLE_CONTROL && strcmp(model->port[i].spec.symbol, against) == 0)
            return i;
    return MODEL_PORTS;
}

/* ---- presets ---- */

size_t model_n_presets(const Model *model) {
    size_t n = 0;
    while (model->presets && model->presets[n].name)
        n++;
    return n + 1;
}

const char *model_preset_name(const Model *model, size_t preset) {
    if (preset >= model_n_presets(model))
        return "";
    return preset == 0 ? "Defaults" : model->presets[preset - 1].name;
}

float model_preset_value(const Model *model, size_t preset, size_t port) {
    if (!model_is_control(model, port) || preset >= model_n_presets(model))
        return 0.0f;
    const PortSpec *spec = &model->port[port].spec;
    if (model->port[port].role != ROLE_CONTROL)
        return model->value[port]; /* switching off and listening are no setting */
    if (preset == 0)
        return spec->initial;
    const Preset *p = &model->presets[preset - 1];
    for (size_t i = 0; i < p->n_values; i++)
        if (strcmp(p->values[i].symbol, spec->symbol) == 0)
            return layout_clamp(spec, p->values[i].value);
    return model->value[port];
}

/* Hosts keep values as text or in other precisions. */
static bool about_equal(float a, float b) {
    return fabsf(a - b) <= 1e-4f * fmaxf(1.0f, fabsf(b));
}

/* What a host sets by itself, as the tempo, is not what a preset is known by: there it would never
 * stand. */
static bool stands(const Model *model, size_t preset) {
    for (size_t i = 0; i < model->n_ports; i++)
        if (model_is_control(model, i) && !model->port[i].spec.designation &&
            !about_equal(model->value[i], model_preset_value(model, preset, i)))
            return false;
    return true;
}

size_t model_preset(const Model *model) {
    /* A preset that happens to be the defaults is named by its use. */
    for (size_t i = 1; i < model_n_presets(model); i++)
        if (stands(model, i))
            return i;
    return stands(model, 0) ? 0 : model_n_presets(model);
}
