/* SPDX-License-Identifier: ISC */
#include "host/plugin.h"

#include <math.h>
#include <stdio.h>
#include <string.h>
#include <strings.h>

const HostPort *host_port(const HostPlugin *plugin, const char *symbol) {
    for (size_t i = 0; i < plugin->n_ports; i++)
        if (strcmp(plugin->ports[i].symbol, symbol) == 0)
            return &plugin->ports[i];
    return NULL;
}

HostRange host_range(const HostPort *port, double rate_hz) {
    float scale = port->by_rate ? (float)rate_hz : 1.0f;
    return (HostRange){port->minimum * scale, port->initial * scale, port->maximum * scale};
}

static bool is_choice(const HostPort *port) {
    return port->enumeration && port->n_points;
}

const char *host_allowed(char buffer[512], const HostPort *port, double rate_hz) {
    enum { SIZE = 512 };
    HostRange range = host_range(port, rate_hz);
    size_t used = 0;
    for (size_t i = 0; is_choice(port) && i < port->n_points && used < SIZE; i++)
        used += (size_t)snprintf(buffer + used, SIZE - used, "%s%g (%s)", i ? ", " : "",
                                 (double)port->points[i].value, port->points[i].label);
    if (port->toggled && !is_choice(port))
        snprintf(buffer, SIZE, "0 and 1");
    else if (!is_choice(port))
        snprintf(buffer, SIZE, "%s%g to %g%s%s", port->integer ? "whole numbers from " : "",
                 (double)range.minimum, (double)range.maximum, *port->unit ? " " : "", port->unit);
    return buffer;
}

static bool is_allowed(const HostPort *port, double value, double rate_hz) {
    HostRange range = host_range(port, rate_hz);
    float seen = (float)value; /* as the plugin will see it: 0.1 must pass for a bound of 0.1f */
    for (size_t i = 0; is_choice(port) && i < port->n_points; i++)
        if ((double)port->points[i].value == value)
            return true;
    if (is_choice(port))
        return false;
    if (port->toggled)
        return value == 0.0 || value == 1.0;
    return isfinite(seen) && seen >= range.minimum && seen <= range.maximum &&
           (!port->integer || value == floor(value));
}

bool host_check(const HostPlugin *plugin, const char *symbol, double value, double rate_hz,
                HostError *error) {
    char allowed[512];
    const HostPort *port = host_port(plugin, symbol);
    if (!port || port->role != HOST_CONTROL)
        return host_fail(error, "%s has no control '%s'", plugin->name, symbol);
    return is_allowed(port, value, rate_hz) ||
           host_fail(error, "%s = %g: allowed are %s", symbol, value,
                     host_allowed(allowed, port, rate_hz));
}

const char *host_preset_name(const HostPreset *preset) {
    const char *last = preset->uri;
    for (const char *c = preset->uri; *c; c++)
        if (strchr(":/#", *c) && c[1])
            last = c + 1;
    return last;
}

bool host_preset_is(const HostPreset *preset, const char *word) {
    return strcasecmp(preset->label, word) == 0 || strcmp(preset->uri, word) == 0 ||
           strcmp(host_preset_name(preset), word) == 0;
}

bool host_may(const HostPlugin *plugin, const char *word) {
    LilvNode *self = lilv_new_uri(plugin->world, plugin->uri);
    LilvNode *may = lilv_new_uri(plugin->world, "urn:siskin:ns#may");
    LilvNode *what = lilv_new_string(plugin->world, word);
    bool does = lilv_world_ask(plugin->world, self, may, what);
    lilv_node_free(self);
    lilv_node_free(may);
    lilv_node_free(what);
    return does;
}
