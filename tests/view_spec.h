/* SPDX-License-Identifier: ISC */
/* view_spec.h: a plugin of tables alone, with a control and a meter of every kind, for the suites
 * of views. */
#ifndef SISKIN_TESTS_VIEW_SPEC_H
#define SISKIN_TESTS_VIEW_SPEC_H

#include "view/model.h"

enum {
    SPEC_LEVEL,
    SPEC_CORNER,
    SPEC_TIME,
    SPEC_SHARE,
    SPEC_COUNT,
    SPEC_SWITCH,
    SPEC_LIST,
    SPEC_PAIR,
    SPEC_CONTROLS
};
enum { SPEC_HEARD, SPEC_LAMP, SPEC_EVENTS, SPEC_METERS };

static const ScalePoint spec_list[] = {
    {0.0f, "None"}, {12.0f, "12 dB"}, {24.0f, "24 dB"}, {48.0f, "48 dB"}};
static const ScalePoint spec_pair[] = {{0.0f, "Voice"}, {1.0f, "Full scale"}};

static const PortSpec spec_controls[SPEC_CONTROLS] = {
    [SPEC_LEVEL] = {.symbol = "level",
                    .name = "Level",
                    .doc = "How high.",
                    .group = "One",
                    .minimum = -24.0f,
                    .initial = -6.0f,
                    .maximum = 24.0f,
                    .unit = UNIT_DB},
    [SPEC_CORNER] = {.symbol = "corner",
                     .name = "Corner",
                     .doc = "Where.",
                     .group = "One",
                     .minimum = 20.0f,
                     .initial = 1000.0f,
                     .maximum = 20000.0f,
                     .unit = UNIT_HZ,
                     .kind = PORT_LOGARITHMIC,
                     .advanced = true},
    [SPEC_TIME] = {.symbol = "time",
                   .name = "Time",
                   .doc = "How long.",
                   .group = "Two",
                   .minimum = 0.1f,
                   .initial = 10.0f,
                   .maximum = 5000.0f,
                   .unit = UNIT_MS,
                   .kind = PORT_LOGARITHMIC},
    [SPEC_SHARE] = {.symbol = "share",
                    .name = "Share",
                    .doc = "How much.",
                    .group = "Two",
                    .minimum = 0.0f,
                    .initial = 80.0f,
                    .maximum = 100.0f,
                    .unit = UNIT_PERCENT},
    [SPEC_COUNT] = {.symbol = "count",
                    .name = "Count",
                    .doc = "How many.",
                    .group = "Two",
                    .minimum = 1.0f,
                    .initial = 3.0f,
                    .maximum = 12.0f,
                    .kind = PORT_INTEGER},
    [SPEC_SWITCH] = {.symbol = "keep",
                     .name = "Keep",
                     .doc = "Whether.",
                     .group = "One",
                     .minimum = 0.0f,
                     .initial = 1.0f,
                     .maximum = 1.0f,
                     .kind = PORT_TOGGLE},
    [SPEC_LIST] = {.symbol = "slope",
                   .name = "Slope",
                   .doc = "Which.",
                   .group = "One",
                   .minimum = 0.0f,
                   .initial = 24.0f,
                   .maximum = 48.0f,
                   .kind = PORT_ENUMERATION,
                   .points = spec_list,
                   .n_points = 4},
    [SPEC_PAIR] = {.symbol = "from",
                   .name = "From",
                   .doc = "Which of two.",
                   .minimum = 0.0f,
                   .initial = 0.0f,
                   .maximum = 1.0f,
                   .kind = PORT_ENUMERATION,
                   .points = spec_pair,
                   .n_points = 2},
};
static const PortSpec spec_meters[SPEC_METERS] = {
    [SPEC_HEARD] = {.symbol = "heard",
                    .name = "Heard",
                    .doc = "Level heard.",
                    .minimum = -60.0f,
                    .maximum = 40.0f,
                    .unit = UNIT_DB,
                    .meter = METER_PEAK,
                    .against = "level"},
    [SPEC_LAMP] = {.symbol = "lamp",
                   .name = "Lamp",
                   .doc = "Is it.",
                   .maximum = 1.0f,
                   .kind = PORT_TOGGLE,
                   .meter = METER_LAMP},
    [SPEC_EVENTS] = {.symbol = "events",
                     .name = "Events",
                     .doc = "How often.",
                     .maximum = 1e6f,
                     .kind = PORT_INTEGER},
};
static const PluginSpec spec_of_views = {.id = "thing",
                                         .name = "Thing",
                                         .controls = spec_controls,
                                         .n_controls = SPEC_CONTROLS,
                                         .meters = spec_meters,
                                         .n_meters = SPEC_METERS};

/* Ports: enabled 0, audition 1, latency 2, the controls from 3, reduction, the meters. */
enum {
    SPEC_CONTROL = 3,
    SPEC_REDUCTION = SPEC_CONTROL + SPEC_CONTROLS,
    SPEC_METER = SPEC_REDUCTION + 1
};

static const PresetValue spec_gentle[] = {{"level", 3.0f}, {"share", 50.0f}, {"slope", 12.0f}};
static const PresetValue spec_wild[] = {{"level", 99.0f}, {"time", 250.0f}};
static const Preset spec_presets[] = {{"Gentle", spec_gentle, 3}, {"Wild", spec_wild, 2}, {0}};

#endif
