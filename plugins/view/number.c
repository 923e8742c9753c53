/* SPDX-License-Identifier: ISC */
#include "view/number.h"

#include "layout.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define MINUS "\xe2\x88\x92" /* U+2212 */

/* ---- writing ---- */

/* value with `places` decimals, 0 to 3. By whole numbers: printf would write the locale's point. */
static void decimal(double value, int places, const char *minus, const char *unit,
                    char text[NUMBER_LENGTH]) {
    static const long POWER[] = {1, 10, 100, 1000};
    const long power = POWER[places];
    long all = lrint(fabs(value) * (double)power);
    const char *sign = value < 0.0 && all != 0 ? minus : "";
    const char *space = unit[0] ? " " : "";
    if (places == 0)
        snprintf(text, NUMBER_LENGTH, "%s%ld%s%s", sign, all, space, unit);
    else
        snprintf(text, NUMBER_LENGTH, "%s%ld.%0*ld%s%s", sign, all / power, places, all % power,
                 space, unit);
}

/* Decimals that leave three figures of a value. */
static int three_figures(double value) {
    double v = fabs(value);
    return v < 9.995 ? 2 : v < 99.95 ? 1 : 0;
}

static const char *point_label(const PortSpec *port, float value) {
    for (size_t i = 0; i < port->n_points; i++)
        if (port->points[i].value == value)
            return port->points[i].label;
    return "";
}

static int places_of(const PortSpec *port, double value) {
    if (port->kind == PORT_INTEGER)
        return 0;
    if (port->unit == UNIT_DB || port->unit == UNIT_BPM || port->unit == UNIT_SEMITONES)
        return 1;
    if (port->unit == UNIT_PERCENT || port->unit == UNIT_CENTS)
        return 0;
    return three_figures(value);
}

static const char *unit_name(PortUnit unit) {
    switch (unit) {
    case UNIT_NONE:
        break;
    case UNIT_DB:
        return "dB";
    case UNIT_MS:
        return "ms";
    case UNIT_HZ:
        return "Hz";
    case UNIT_PERCENT:
        return "%";
    case UNIT_S:
        return "s";
    case UNIT_BPM:
        return "BPM";
    case UNIT_OCTAVES:
        return "oct";
    case UNIT_SEMITONES:
        return "st";
    case UNIT_CENTS:
        return "ct";
    }
    return "";
}

void number_format(const PortSpec *port, float value, char text[NUMBER_LENGTH]) {
    value = layout_clamp(port, value);
    double v = (double)value;
    if (port->kind == PORT_TOGGLE)
        snprintf(text, NUMBER_LENGTH, "%s", value > 0.0f ? "On" : "Off");
    else if (port->kind == PORT_ENUMERATION)
        snprintf(text, NUMBER_LENGTH, "%s", point_label(port, value));
    else if (port->unit == UNIT_HZ && v >= 999.5)
        decimal(v * 1e-3, three_figures(v * 1e-3), MINUS, "kHz", text);
    else if (port->unit == UNIT_MS && v >= 999.5)
        decimal(v * 1e-3, three_figures(v * 1e-3), MINUS, "s", text);
    else {
        decimal(v, places_of(port, v), MINUS, unit_name(port->unit), text);
    }
}

void number_plain(const PortSpec *port, float value, char text[NUMBER_LENGTH]) {
    value = layout_clamp(port, value);
    decimal((double)value, places_of(port, (double)value), "-", "", text);
}

/* ---- reading ---- */

static const char *skip_spaces(const char *text) {
    return text + strspn(text, " ");
}

/* Digits with at most one point or comma; NULL: none. */
static const char *read_digits(const char *text, double *value) {
    double whole = 0.0, unit = 1.0;
    size_t digits = 0;
    bool after_point = false;
    for (;; text++) {
        if (*text >= '0' && *text <= '9') {
            whole = 10.0 * whole + (double)(*text - '0');
            unit *= after_point ? 10.0 : 1.0;
            digits++;
        } else if ((*text == '.' || *text == ',') && !after_point) {
            after_point = true;
        } else {
            break;
        }
    }
    *value = whole / unit;
    return digits > 0 ? text : NULL;
}

/* What one of the typed unit is in the port's; 0: the port has no such unit. */
static double unit_factor(PortUnit unit, const char *name) {
    static const struct {
        PortUnit unit;
        const char *name;
        double factor;
    } KNOWN[] = {
        {UNIT_HZ, "k", 1e3},         {UNIT_HZ, "kHz", 1e3},   {UNIT_HZ, "khz", 1e3},
        {UNIT_HZ, "Hz", 1.0},        {UNIT_HZ, "hz", 1.0},    {UNIT_MS, "ms", 1.0},
        {UNIT_MS, "s", 1e3},         {UNIT_DB, "dB", 1.0},    {UNIT_DB, "db", 1.0},
        {UNIT_PERCENT, "%", 1.0},    {UNIT_S, "s", 1.0},      {UNIT_S, "ms", 1e-3},
        {UNIT_BPM, "BPM", 1.0},      {UNIT_BPM, "bpm", 1.0},  {UNIT_OCTAVES, "oct", 1.0},
        {UNIT_SEMITONES, "st", 1.0}, {UNIT_CENTS, "ct", 1.0},
    };
    if (name[0] == '\0')
        return 1.0;
    for (size_t i = 0; i < sizeof KNOWN / sizeof *KNOWN; i++)
        if (KNOWN[i].unit == unit && strcmp(KNOWN[i].name, name) == 0)
            return KNOWN[i].factor;
    return 0.0;
}

bool number_parse(const PortSpec *port, const char *text, float *value) {
    text = skip_spaces(text);
    double sign = 1.0, size;
    if (strncmp(text, MINUS, strlen(MINUS)) == 0) {
        sign = -1.0;
        text += strlen(MINUS);
    } else if (*text == '-' || *text == '+') {
        sign = *text == '-' ? -1.0 : 1.0;
        text++;
    }
    text = read_digits(skip_spaces(text), &size);
    if (!text)
        return false;
    text = skip_spaces(text);
    char unit[8] = "";
    size_t length = strcspn(text, " ");
    if (length >= sizeof unit || *skip_spaces(text + length) != '\0')
        return false;
    memcpy(unit, text, length);
    double factor = unit_factor(port->unit, unit);
    if (factor == 0.0)
        return false;
    /* More digits than a float holds would make it infinite; the range is nearer. */
    *value = layout_clamp(port, (float)fmin(fmax(sign * size * factor, -1e30), 1e30));
    return true;
}

/* ---- stepping ---- */

enum { STEPS = 100 };

/* The next of 1, 2, 5, 10, 20 ... that is not less. */
static double round_up(double step) {
    double power = pow(10.0, floor(log10(step)));
    static const double FIRST[] = {1.0, 2.0, 5.0};
    for (size_t i = 0; i < 3; i++)
        if (FIRST[i] * power >= step * (1.0 - 1e-9))
            return FIRST[i] * power;
    return 10.0 * power;
}

/* What is shown of a value: so many parts of one. */
static double shown_parts(const PortSpec *port, double value) {
    if (port->kind == PORT_LOGARITHMIC || port->unit == UNIT_HZ || port->unit == UNIT_MS ||
        port->unit == UNIT_S)
        return pow(10.0, 2.0 - floor(log10(fmax(fabs(value), 1e-6))));
    return pow(10.0, places_of(port, value));
}

/* To what is shown of it. */
static double rounded(const PortSpec *port, double value) {
    double parts = shown_parts(port, value);
    return rint(value * parts) / parts;
}

/* By hundredths of the range, or, where that is less than is shown, by the least that is. */
static double step_ratio(const PortSpec *port, double value, double steps) {
    double ratio = (double)port->maximum / (double)port->minimum;
    double to = rounded(port, value * pow(ratio, steps / STEPS));
    if (steps != 0.0 && (float)to == (float)value)
        to = rounded(port, value + (steps > 0.0 ? 1.0 : -1.0) / shown_parts(port, value));
    return to;
}

static float step_point(const PortSpec *port, float value, double steps) {
    size_t at = 0;
    for (size_t i = 0; i < port->n_points; i++)
        if (port->points[i].value == value)
            at = i;
    double to = fmin(fmax((double)at + rint(steps), 0.0), (double)port->n_points - 1.0);
    return port->points[(size_t)to].value;
}

float number_step(const PortSpec *port, float value, double steps) {
    value = layout_clamp(port, value);
    double v = (double)value, low = (double)port->minimum, high = (double)port->maximum;
    switch (port->kind) {
    case PORT_TOGGLE:
        return steps > 0.0 ? 1.0f : steps < 0.0 ? 0.0f : value;
    case PORT_ENUMERATION:
        return step_point(port, value, steps);
    case PORT_INTEGER:
        v += rint(steps);
        break;
    case PORT_LOGARITHMIC:
        v = step_ratio(port, v, steps);
        break;
    case PORT_LINEAR:
        v += steps * round_up((high - low) / STEPS);
        v = rint(v * 1e4) / 1e4; /* sums of tenths stay tenths */
        break;
    }
    return layout_clamp(port, (float)fmin(fmax(v, low), high));
}

double number_place(const PortSpec *port, float value) {
    double low = (double)port->minimum, high = (double)port->maximum;
    double v = (double)layout_clamp(port, value);
    if (!(high > low))
        return 0.0;
    if (port->kind == PORT_LOGARITHMIC)
        return log(v / low) / log(high / low);
    return (v - low) / (high - low);
}

float number_at(const PortSpec *port, double place) {
    double low = (double)port->minimum, high = (double)port->maximum;
    place = fmin(fmax(place, 0.0), 1.0);
    double v =
        port->kind == PORT_LOGARITHMIC ? low * pow(high / low, place) : low + place * (high - low);
    if (place > 0.0 && place < 1.0)
        v = rounded(port, v);
    return layout_clamp(port, (float)v);
}
