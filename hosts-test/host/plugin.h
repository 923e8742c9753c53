/* SPDX-License-Identifier: ISC */
/* plugin.h: what there is to know about a plugin before it is instantiated. */
#ifndef SISKIN_HOST_PLUGIN_H
#define SISKIN_HOST_PLUGIN_H

#include "host/error.h"

#include <lilv/lilv.h>
#include <stddef.h>
#include <stdint.h>

enum { HOST_MAX_AUDIO = 64 }; /* audio ports of one role (in, key, out) in one plugin */

typedef enum {
    HOST_CONTROL, /* control input */
    HOST_METER,   /* control output, the latency port included */
    HOST_IN,      /* main audio input */
    HOST_KEY,     /* audio input that is lv2:isSideChain or in a group with pg:sideChainOf */
    HOST_OUT,     /* audio output */
    HOST_UNUSED,  /* any other kind; it is connectionOptional and gets NULL */
} HostRole;

typedef struct {
    float value;
    char *label;
} HostScalePoint;

typedef struct {
    uint32_t index;
    char *symbol;
    char *name;
    char *doc; /* rdfs:comment; "" for none */
    HostRole role;
    /* Controls and meters. Bounds that the plugin does not give are -INFINITY and INFINITY; a
     * missing default is the value nearest to 0 within the bounds. With `by_rate` (lv2:sampleRate)
     * bounds and default are multiples of the sample rate; see host_range. */
    float minimum, initial, maximum;
    bool by_rate;
    bool integer, toggled, enumeration, logarithmic, optional;
    char *unit; /* as printed after a number: "dB", "ms", "Hz", "%"; "" for none */
    HostScalePoint *points;
    size_t n_points;
} HostPort;

typedef struct {
    char *uri;
    char *label;
} HostPreset;

/* A plugin. Owned by the Host. */
typedef struct {
    char *uri;
    char *name;
    char *doc; /* lv2:documentation; "" for none */
    char *id;  /* "de-esser" for urn:siskin:de-esser#mono, else NULL */
    HostPort *ports;
    size_t n_ports;                /* ports[i].index == i */
    size_t n_in, n_key, n_out;     /* audio ports of each role */
    uint32_t in[HOST_MAX_AUDIO];   /* their indices: by pg:left/pg:right, else in port order */
    uint32_t key[HOST_MAX_AUDIO];  /* */
    uint32_t out[HOST_MAX_AUDIO];  /* */
    const HostPort *latency;       /* NULL: the plugin reports none */
    const HostPort *enabled;       /* control designated lv2:enabled, or NULL */
    const HostPort *free_wheeling; /* control designated lv2:freeWheeling, or NULL */
    bool in_place_broken;          /* input and output buffers must differ */
    HostPreset *presets;           /* sorted by label */
    size_t n_presets;
    const LilvPlugin *lilv; /* for checks that this page does not cover */
    LilvWorld *world;       /* the world that `lilv` belongs to */
} HostPlugin;

/* The port with this symbol; NULL if there is none. */
const HostPort *host_port(const HostPlugin *plugin, const char *symbol);

/* The bounds and default of a control at a sample rate (they depend on it only with by_rate). */
typedef struct {
    float minimum, initial, maximum;
} HostRange;
HostRange host_range(const HostPort *port, double rate_hz);

/* What a control takes, in words: "0 to 48 dB", "0 and 1", "1 (low), 2 (high)". */
const char *host_allowed(char buffer[512], const HostPort *port, double rate_hz);

/* Whether a control may take this value: known, finite, within its bounds, whole if integer, 0 or 1
 * if toggled, one of the scale points if an enumeration. The text says what is allowed. */
bool host_check(const HostPlugin *plugin, const char *symbol, double value, double rate_hz,
                HostError *error);

/* What one of ours declares that its output may do, as DEVELOPERS.md lists it: "sound anew". */
bool host_may(const HostPlugin *plugin, const char *word);

/* The part of a preset's URI that is its own: "soft" of urn:siskin:de-esser:preset:soft. */
const char *host_preset_name(const HostPreset *preset);
/* Whether a word means this preset: its label (in any case), its name as above, or its URI. */
bool host_preset_is(const HostPreset *preset, const char *word);

#endif
