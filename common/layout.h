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
    size_t number; /* which of its role: control 0, 1, ...; channel 0, 1 */
    PortSpec spec; /* symbol, name and doc; range, unit and kind where the role has them */
} Port;

/* Ports that every plugin has and the shell serves. */
extern const PortSpec layout_enabled, layout_audition;
PortSpec layout_reduction(const PluginSpec *spec);

/* Number of ports of the variant with `channels` (1 or 2) channels. */
size_t layout_count(const PluginSpec *spec, unsigned channels);

/* The port at `index` < layout_count. */
Port layout_port(const PluginSpec *spec, unsigned channels, size_t index);

/* The value a plugin is handed for a host's `value` of a control, or the host for a plugin's of a
 * meter: NaN becomes the initial value, the rest is clamped into the range; toggles become 0 or 1,
 * integers are rounded, enumerations take the nearest point. */
float layout_clamp(const PortSpec *port, float value);

/* How fast a meter falls once what it showed is over: 12 dB a second, about what a programme meter
 * falls by (20 dB in 1.7 s: IEC 60268-10, type I, from memory); half the range a second in other
 * units; a lamp goes out at once. In the meter's unit per second, > 0. */
double layout_fall(const PortSpec *meter);

/* For how long a meter shows a peak before it falls: 1 s if METER_HELD, 0.1 s if METER_LAMP, else
 * 0. */
double layout_hold_s(const PortSpec *meter);

/* A host that offers this feature gets meters without their fall: what the last run() did, as an
 * offline renderer wants it for its curves and figures. */
#define LAYOUT_MOMENTARY "urn:siskin:ns#momentary"

#endif
