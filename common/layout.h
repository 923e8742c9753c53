/* SPDX-License-Identifier: ISC */
/* layout.h: the ports of a plugin in their order, made from its spec.
 *
 * The shell connects by this order and ttl/ttlgen.c writes it down, so it is decided here alone:
 * enabled, audition, latency, the plugin's controls, reduction, the plugin's meters, audio in, key
 * in, audio out. Port numbers are the positions in this order. */
#ifndef SISKIN_LAYOUT_H
#define SISKIN_LAYOUT_H

#include "plugin.h"

typedef enum {
    ROLE_ENABLED,
    ROLE_AUDITION,
    ROLE_LATENCY,
    ROLE_CONTROL,
    ROLE_REDUCTION,
    ROLE_METER,
    ROLE_IN,
    ROLE_KEY,
    ROLE_OUT,
} PortRole;

typedef struct {
    PortRole role;
    size_t number;        /* which of its role: control 0, 1, ...; channel 0, 1 */
    const PortSpec *spec; /* symbol, name and doc; range, unit and kind where the role has them */
} Port;

/* Ports that every plugin has and the shell serves. */
extern const PortSpec layout_enabled, layout_audition, layout_reduction;

/* Number of ports of the variant with `channels` (1 or 2) channels. */
size_t layout_count(const PluginSpec *spec, unsigned channels);

/* The port at `index` < layout_count. */
Port layout_port(const PluginSpec *spec, unsigned channels, size_t index);

/* The value a plugin is handed for a host's `value` of a control, or the host for a plugin's of a
 * meter: NaN becomes the initial value, the rest is clamped into the range; toggles become 0 or 1,
 * integers are rounded, enumerations take the nearest point. */
float layout_clamp(const PortSpec *port, float value);

#endif
