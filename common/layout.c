/* SPDX-License-Identifier: ISC */
#include "layout.h"

#include <math.h>

static const ScalePoint AUDITION_POINTS[] = {{0.0f, "Result"}, {1.0f, "Removed"}};

const PortSpec layout_enabled = {
    .symbol = "enabled",
    .name = "Enabled",
    .doc =
        "On: the plugin works. Off: the input comes out untouched, late by the reported latency. "
        "Switching crossfades over 20 ms.",
    .minimum = 0.0f,
    .initial = 1.0f,
    .maximum = 1.0f,
    .kind = PORT_TOGGLE,
};
const PortSpec layout_audition = {
    .symbol = "audition",
    .name = "Audition",
    .doc = "What you hear: the result, or only what the plugin takes away. Removed is the quickest "
           "check of a setting.",
    .minimum = 0.0f,
    .initial = 0.0f,
    .maximum = 1.0f,
    .kind = PORT_ENUMERATION,
    .points = AUDITION_POINTS,
    .n_points = 2,
};
static const PortSpec LATENCY = {
    .symbol = "latency",
    .name = "Latency",
    .doc = "How late the output is, in samples; the host makes up for it.",
    .minimum = 0.0f,
    .maximum = 192000.0f,
    .kind = PORT_INTEGER,
};
static const float USUAL_REDUCTION_DB = 24.0f;

static const struct {
    const char *name, *doc;
} REDUCTIONS[] = {
    [REDUCTION_OF_GAIN] =
        {"Reduction", "Largest reduction lately. Peaks show at once and fall by 12 dB a second."},
    [REDUCTION_PEAKS_LOWERED] = {"Peaks lowered",
                                 "How far the peaks of the result stand under those of the take, "
                                 "the most lately; 0 where they stand over them. Falls by 12 dB a "
                                 "second."},
    [REDUCTION_PEAKS_CHANGED] = {"Peaks changed",
                                 "How far the peaks of the result stand over or under those of "
                                 "the take, the most lately. Falls by 12 dB a second."},
};

PortSpec layout_reduction(const PluginSpec *spec) {
    return (PortSpec){
        .symbol = "reduction",
        .name = REDUCTIONS[spec->reduction].name,
        .doc = REDUCTIONS[spec->reduction].doc,
        .minimum = 0.0f,
        .maximum = spec->most_reduction_db > 0.0f ? spec->most_reduction_db : USUAL_REDUCTION_DB,
        .unit = UNIT_DB,
        .meter = METER_PEAK,
    };
}

/* Audio ports by [direction][variant: mono, left, right]. */
static const PortSpec AUDIO[3][3] = {
    {{.symbol = "in", .name = "In", .doc = "The take."},
     {.symbol = "in_left", .name = "In left", .doc = "The take, left channel."},
     {.symbol = "in_right", .name = "In right", .doc = "The take, right channel."}},
    {{.symbol = "key", .name = "Key", .doc = "What the detector listens to."},
     {.symbol = "key_left",
      .name = "Key left",
      .doc = "What the detector listens to, left channel."},
     {.symbol = "key_right",
      .name = "Key right",
      .doc = "What the detector listens to, right channel."}},
    {{.symbol = "out", .name = "Out", .doc = "The result."},
     {.symbol = "out_left", .name = "Out left", .doc = "The result, left channel."},
     {.symbol = "out_right", .name = "Out right", .doc = "The result, right channel."}},
};

/* A run of consecutive ports with the same role. */
typedef struct {
    PortRole role;
    size_t count;
    const PortSpec *specs; /* NULL: made by layout_reduction() */
} Run;

enum { RUNS = 9 };

static void runs_of(const PluginSpec *spec, unsigned channels, Run runs[RUNS]) {
    size_t variant = channels == 1 ? 0 : 1;
    const Run all[RUNS] = {
        {ROLE_ENABLED, 1, &layout_enabled},
        {ROLE_AUDITION, 1, &layout_audition},
        {ROLE_LATENCY, 1, &LATENCY},
        {ROLE_CONTROL, spec->n_controls, spec->controls},
        {ROLE_REDUCTION, 1, NULL},
        {ROLE_METER, spec->n_meters, spec->meters},
        {ROLE_IN, channels, &AUDIO[0][variant]},
        {ROLE_KEY, spec->has_key ? channels : 0, &AUDIO[1][variant]},
        {ROLE_OUT, channels, &AUDIO[2][variant]},
    };
    for (size_t i = 0; i < RUNS; i++)
        runs[i] = all[i];
}

size_t layout_count(const PluginSpec *spec, unsigned channels) {
    Run runs[RUNS];
    runs_of(spec, channels, runs);
    size_t count = 0;
    for (size_t i = 0; i < RUNS; i++)
        count += runs[i].count;
    return count;
}

Port layout_port(const PluginSpec *spec, unsigned channels, size_t index) {
    Run runs[RUNS];
    runs_of(spec, channels, runs);
    size_t i = 0;
    while (i < RUNS - 1 && index >= runs[i].count)
        index -= runs[i++].count;
    return (Port){.role = runs[i].role,
                  .number = index,
                  .spec = runs[i].specs ? runs[i].specs[index] : layout_reduction(spec)};
}

static float nearest_point(const PortSpec *control, float value) {
    float best = control->initial;
    float distance = INFINITY;
    for (size_t i = 0; i < control->n_points; i++) {
        float d = fabsf(control->points[i].value - value);
        if (d < distance) {
            distance = d;
            best = control->points[i].value;
        }
    }
    return best;
}

float layout_clamp(const PortSpec *port, float value) {
    if (isnan(value))
        value = port->initial;
    if (value < port->minimum)
        value = port->minimum;
    if (value > port->maximum)
        value = port->maximum;
    switch (port->kind) {
    case PORT_TOGGLE:
        return value > 0.0f ? 1.0f : 0.0f;
    case PORT_INTEGER:
        return rintf(value);
    case PORT_ENUMERATION:
        return nearest_point(port, value);
    case PORT_LINEAR:
    case PORT_LOGARITHMIC:
        break;
    }
    return value;
}

double layout_fall(const PortSpec *meter) {
    double range = (double)meter->maximum - (double)meter->minimum;
    if (meter->meter == METER_LAMP)
        return INFINITY;
    return meter->unit == UNIT_DB ? 12.0 : 0.5 * range;
}

double layout_hold_s(const PortSpec *meter) {
    return meter->meter == METER_HELD ? 1.0 : meter->meter == METER_LAMP ? 0.1 : 0.0;
}
