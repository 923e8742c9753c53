/* SPDX-License-Identifier: ISC */
/* plugin.h: the whole contract between the shell (plugins/lv2_shell.c) and a plugin.
 *
 * A plugin is one file, plugins/<name>/<name>_plugin.c, that defines the symbol `plugin_spec`.
 * It declares its controls and meters in tables, and drives a chain of units from common/.
 * The shell does all the rest, the same for every plugin: LV2, memory, clamping of controls,
 * cleaning of the audio, the delayed dry signal, bypass, audition, the latency and reduction ports,
 * and flush-to-zero. From each spec it makes two LV2 plugins: urn:siskin:<name>#mono and #stereo.
 *
 * Calls come in this order: prepare, reset, then any number of { set, process }, reset at any time.
 * set is called before the first process after a reset, and whenever a control has changed.
 * process is first called where something sounds in input or key: silence ahead of a take cannot
 * change what is made of it, so that every clock may count from there.
 * set and process run in the host's real-time thread: they take no memory, no lock, make no system
 * call, and their time is bounded by A + B * n whatever the signal. */
#ifndef SISKIN_PLUGIN_H
#define SISKIN_PLUGIN_H

#include "basic/arena.h"

#include <stdbool.h>
#include <stddef.h>

enum {
    PLUGIN_MAX_CHANNELS = 2,  /* a plugin is prepared with 1 or 2 channels */
    PLUGIN_MAX_CONTROLS = 32, /* rows in a spec's table of controls */
    PLUGIN_MAX_METERS = 8,    /* rows in a spec's table of meters */
    PLUGIN_CHUNK = 256, /* most frames in one process() call: scratch arrays may be this long */
};

typedef enum {
    UNIT_NONE,
    UNIT_DB,
    UNIT_MS,
    UNIT_HZ,
    UNIT_PERCENT,
    UNIT_S,
    UNIT_BPM,
    UNIT_OCTAVES,
    UNIT_SEMITONES,
    UNIT_CENTS,
} PortUnit;

typedef enum {
    PORT_LINEAR,      /* any value between minimum and maximum */
    PORT_LOGARITHMIC, /* as linear; a host should draw it on a logarithmic scale; bounds > 0 */
    PORT_INTEGER,     /* whole numbers; the shell rounds */
    PORT_TOGGLE,      /* 0 off, 1 on; the shell makes anything above 0 a 1 */
    PORT_ENUMERATION, /* one of `points`; the shell takes the nearest */
} PortKind;

typedef struct {
    float value;
    const char *label;
} ScalePoint;

/* What the shell shows of what a plugin writes of a meter. All but METER_NOW hold their peak, so
 * that a view that looks 25 times a second misses nothing, and the shell counts their hops from
 * the first sound, so that the host's blocks do not matter. */
typedef enum {
    METER_NOW,  /* write the value at the end of the stretch: shown as it is */
    METER_PEAK, /* write the largest within the stretch: shown at once, falls by layout_fall() */
    METER_HELD, /* the same, and stays for a second before it falls: for reading a number off */
    METER_LAMP, /* PORT_TOGGLE; 1 if it was on within the stretch: lit for 0.1 s at least */
} MeterKind;

/* One control or meter. This table is the only place where a port is declared: `make ttl` writes it
 * into ttl/<name>.ttl, and the shell clamps by it. A meter uses the same fields; it rests at its
 * minimum, or, where it is METER_NOW, at its initial value, until something has run. */
typedef struct {
    const char *symbol;     /* C identifier, never changed once released */
    const char *name;       /* for people; unique within the plugin */
    const char *short_name; /* at most 16 characters, for narrow displays; NULL: the name */
    const char *group;      /* "Detection": of controls that belong together; NULL: "Controls" */
    const char *doc;        /* one or two sentences: what it does, what more of it does */
    float minimum, initial, maximum;
    PortUnit unit;
    PortKind kind;
    bool advanced;       /* controls: seldom touched, so that views show it last */
    MeterKind meter;     /* meters only */
    const char *against; /* meters: symbol of the control it must pass, drawn as a line; or NULL */
    const ScalePoint *points; /* PORT_ENUMERATION only */
    size_t n_points;
    const char *designation; /* URI of what a host may set it to by itself; NULL: nothing */
} PortSpec;

/* What a plugin sees of one stretch of audio. Every array holds n frames a channel.
 * No input array overlaps an output array. All input is finite and within +-1000 (+60 dBFS). */
typedef struct {
    size_t n;               /* 0..PLUGIN_CHUNK */
    unsigned channels;      /* as given to prepare */
    const float *const *in; /* [channels] the input now: what detectors listen to */
    const float *const
        *dry; /* [channels] the input delayed by latency(): what the effect changes */
    const float *const
        *key; /* [channels] the key input now, silence if unconnected; NULL without has_key */
    float *const *out;   /* [channels] the result; write every frame */
    float *meter;        /* [n_meters] the plugin's own meters: what their MeterKind says */
    float *reduction_db; /* write the largest reduction within this stretch, dB, >= 0 */
} Io;

/* Where a plugin, by what it is for, keeps less than every bundle promises (DEVELOPERS.md). */
typedef enum {
    PLUGIN_FILTERS = 1, /* the output may be up to 60 us, or 4 frames, late: a filter's own delay */
    PLUGIN_BENDS = 2,   /* the waveform, so that two channels may change by more than one gain */
    PLUGIN_SPREADS = 4, /* makes sides of its own: the image moves */
    PLUGIN_NEW_SOUND = 8, /* nothing of the input is in the output as it was, only late */
    PLUGIN_SHARES = 16, /* arithmetic between two channels: the rounding of one ends in the other */
} PluginMay;

/* What the meter `reduction` tells, and so what it is called: not all plugins turn down. */
typedef enum {
    REDUCTION_OF_GAIN,       /* "Reduction": what was turned down or taken out */
    REDUCTION_PEAKS_LOWERED, /* how far the result's peaks stand under the input's */
    REDUCTION_PEAKS_CHANGED, /* how far they stand apart, up or down */
} ReductionKind;

typedef struct {
    const char *id;   /* "de-esser": the <name> in URI, folder and files */
    const char *name; /* "De-Esser": for people */
    const PortSpec *controls;
    size_t n_controls;
    const PortSpec *meters; /* beside `reduction`, which every plugin has */
    size_t n_meters;
    bool has_key;
    ReductionKind reduction; /* what the meter of that name tells */
    float most_reduction_db; /* scale of `reduction`: what `depth` or `range` allow; 0: 24 dB */
    float most_gain_db;      /* what the controls may add, >= 0; peaks stay within 12 dB over it */
    unsigned may;            /* PluginMay, or-ed; 0 for most */
    size_t state_size;       /* sizeof of the plugin's struct; zeroed before prepare */

    /* Designs whatever depends on the rate and takes all memory. rate_hz 8000..192000,
     * channels 1..2. false: out of memory (the arena is too small) or impossible. The only call
     * that may fail. */
    bool (*prepare)(void *self, double rate_hz, unsigned channels, Arena *arena);
    /* History := silence, as if just prepared. */
    void (*reset)(void *self);
    /* Takes the values of `controls`, in the table's order, already finite and in range. */
    void (*set)(void *self, const float *control);
    void (*process)(void *self, const Io *io);
    /* Frames of look-ahead with these control values; a pure function of the rate and the controls,
     * and at its largest when every control is at its maximum. The shell delays `dry` by it. */
    size_t (*latency)(const void *self, const float *control);
} PluginSpec;

/* For those that act on what they hear at once. */
static inline size_t plugin_no_latency(const void *self, const float *control) {
    (void)self;
    (void)control;
    return 0;
}

extern const PluginSpec plugin_spec;

#endif
