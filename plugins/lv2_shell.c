/* SPDX-License-Identifier: ISC */
/* lv2_shell.c: makes an LV2 plugin of a PluginSpec. The only file that knows LV2.
 *
 * It is compiled once for each plugin, with SISKIN_ID set to the plugin's id, and linked with that
 * plugin's spec. run() cuts the host's block into chunks of at most PLUGIN_CHUNK frames; each chunk
 * goes host floats -> clean -> in, key -> delay by the latency -> dry -> the plugin -> wet
 *   -> audition (wet, or dry - wet) -> bypass (that, or dry) -> host
 * All buffers in between are the shell's own, so that the host may put every port on one buffer. */
#include "basic/flush_zero.h"
#include "layout.h"

#include "basic/delay.h"

#include <lv2/core/lv2.h>

#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

_Static_assert((int)PLUGIN_CHUNK <= (int)DELAY_MAX_BLOCK, "a chunk must fit the delay line");

static const double CROSSFADE_MS = 20.0;
/* +60 dBFS. Nothing beyond it is audio; taking it for silence keeps levels trackable afterwards. */
static const float LARGEST_SAMPLE = 1000.0f;

/* A weight that moves between 0 and 1 in `length` frames; whole numbers, so that cutting blocks
 * differently cannot change it. */
typedef struct {
    uint32_t length;
    uint32_t at;
    bool up;
} Ramp;

/* A meter as it is shown. It moves once in METER_HOP frames counted from the first sound, where
 * chunks end, so that the host's blocks cannot change it. */
enum { METER_HOP = PLUGIN_CHUNK, METERS = 1 + PLUGIN_MAX_METERS };
typedef struct {
    PortSpec spec;
    float *port; /* NULL: not connected */
    float fall;  /* units a hop */
    uint32_t hold;

    float now;     /* as the plugin wrote it last */
    float largest; /* in this hop so far */
    float shown;
    uint32_t held; /* hops for which it stays */
} Meter;

typedef float Chunk[PLUGIN_MAX_CHANNELS][PLUGIN_CHUNK];

typedef struct {
    const PluginSpec *spec;
    void *plugin;
    void *memory; /* the one allocation, which holds this struct too */
    unsigned channels;
    double rate_hz;

    /* What the host has connected; NULL where it has not. */
    const float *enabled_port;
    const float *audition_port;
    float *latency_port;
    const float *control_port[PLUGIN_MAX_CONTROLS];
    const float *in_port[PLUGIN_MAX_CHANNELS];
    const float *key_port[PLUGIN_MAX_CHANNELS];
    float *out_port[PLUGIN_MAX_CHANNELS];

    float control[PLUGIN_MAX_CONTROLS];
    Meter meter[METERS]; /* reduction, then the plugin's own */
    size_t n_meters;
    uint32_t hop_at; /* frames into the meters' hop */
    bool momentary;  /* LAYOUT_MOMENTARY: a hop is a run() */

    bool fresh; /* nothing has sounded since activation: the plugin has not run */
    Ramp enabled;
    Ramp audition;
    Delay delay[PLUGIN_MAX_CHANNELS];
    size_t tap;      /* frames: where dry is read */
    size_t last_tap; /* where dry was read before the latency changed */
    Ramp tap_fade;   /* from last_tap to tap */

    Chunk in, key, dry, wet;
} Shell;

/* ---- ramps ---- */

static float ramp_step(Ramp *ramp) {
    if (ramp->up && ramp->at < ramp->length)
        ramp->at++;
    else if (!ramp->up && ramp->at > 0)
        ramp->at--;
    return (float)ramp->at / (float)ramp->length;
}

/* One frame of a crossfade. Its ends are exact: a fade that ends within a block and one that ends
 * with it go on with the same bits. */
static float blend(float from, float to, Ramp *ramp) {
    float weight = ramp_step(ramp);
    if (ramp->at == 0)
        return from;
    return ramp->at == ramp->length ? to : from + weight * (to - from);
}

static bool ramp_rests(const Ramp *ramp) {
    return ramp->at == (ramp->up ? ramp->length : 0);
}

static void ramp_jump(Ramp *ramp) {
    ramp->at = ramp->up ? ramp->length : 0;
}

/* ---- controls in ---- */

static float control_value(const float *port, const PortSpec *spec) {
    return layout_clamp(spec, port ? *port : spec->initial);
}

/* Whether the plugin's own have changed. */
static bool read_controls(Shell *s) {
    s->enabled.up = control_value(s->enabled_port, &layout_enabled) > 0.0f;
    s->audition.up = control_value(s->audition_port, &layout_audition) > 0.0f;

    bool changed = false;
    for (size_t i = 0; i < s->spec->n_controls; i++) {
        float value = control_value(s->control_port[i], &s->spec->controls[i]);
        changed |= value != s->control[i];
        s->control[i] = value;
    }
    return changed;
}

/* ---- meters out ---- */

static void meter_prepare(Meter *meter, PortSpec spec, double rate_hz) {
    double hops = rate_hz / METER_HOP; /* a second */
    meter->spec = spec;
    meter->fall = (float)(layout_fall(&spec) / hops);
    meter->hold = (uint32_t)ceil(layout_hold_s(&spec) * hops);
}

static void meter_reset(Meter *meter) {
    meter->now = meter->spec.meter == METER_NOW ? meter->spec.initial : meter->spec.minimum;
    meter->shown = layout_clamp(&meter->spec, meter->now);
    meter->largest = meter->spec.minimum;
    meter->held = 0;
}

static void meter_take(Meter *meter, float value) {
    meter->now = layout_clamp(&meter->spec, value);
    if (meter->now > meter->largest)
        meter->largest = meter->now;
}

/* The end of a hop. */
static void meter_step(Meter *meter) {
    if (meter->spec.meter == METER_NOW) {
        meter->shown = meter->now;
    } else if (meter->largest >= meter->shown) {
        meter->shown = meter->largest;
        meter->held = meter->hold;
    } else if (meter->held > 0) {
        meter->held--;
    } else {
        float fallen = meter->shown - meter->fall;
        meter->shown = fallen > meter->largest ? fallen : meter->largest;
    }
    meter->largest = meter->spec.minimum;
}

static void step_meters(Shell *s) {
    for (size_t i = 0; i < s->n_meters; i++)
        meter_step(&s->meter[i]);
}

static void write_meters(const Shell *s) {
    for (size_t i = 0; i < s->n_meters; i++)
        if (s->meter[i].port)
            *s->meter[i].port = s->meter[i].shown;
}

/* ---- before the first sound ---- */

/* What is not audio (NaN, infinite, beyond +60 dBFS) is silence. */
static float clean_sample(float x) {
    return fabsf(x) <= LARGEST_SAMPLE ? x : 0.0f;
}

/* Frames of silence that a port's n frames begin with. The bits are looked at, since a processor
 * that takes the smallest numbers for zero would find them equal to it. */
static size_t silent_frames(const float *port, size_t n) {
    for (size_t i = 0; port && i < n; i++) {
        float x = clean_sample(port[i]);
        uint32_t bits;
        memcpy(&bits, &x, sizeof bits);
        if (bits << 1 != 0)
            return i;
    }
    return n;
}

/* The plugin's clock stands until something sounds in input or key, so that where a take lies after
 * silence decides nothing: its hops fall on the same frames of it, and come out bit for bit the
 * same. Returns the frames of this block for which it still stands; they are silent. */
static size_t wait(const Shell *s, size_t frames) {
    for (unsigned c = 0; c < s->channels; c++) {
        frames = silent_frames(s->in_port[c], frames);
        if (s->spec->has_key)
            frames = silent_frames(s->key_port[c], frames);
    }
    for (unsigned c = 0; c < s->channels; c++)
        if (s->out_port[c])
            memset(s->out_port[c], 0, frames * sizeof(float));
    return frames;
}

/* ---- one chunk ---- */

static void clean(const float *port, size_t at, float *chunk, size_t n) {
    if (!port) {
        memset(chunk, 0, n * sizeof *chunk);
        return;
    }
    for (size_t i = 0; i < n; i++)
        chunk[i] = clean_sample(port[at + i]);
}

/* Moves the dry tap to the latency now wanted, unless it is already on the way elsewhere. */
static void aim_tap(Shell *s) {
    size_t wanted = s->spec->latency(s->plugin, s->control);
    if (s->fresh)
        s->tap = wanted;
    if (s->tap != wanted && ramp_rests(&s->tap_fade)) {
        s->last_tap = s->tap;
        s->tap = wanted;
        s->tap_fade.at = 0;
    }
}

/* Frames until something happens that aim_tap waits for, or the meters step: chunks end there. */
static size_t chunk_room(const Shell *s) {
    size_t hop = METER_HOP - s->hop_at;
    size_t fade = ramp_rests(&s->tap_fade) ? hop : s->tap_fade.length - s->tap_fade.at;
    return fade < hop ? fade : hop;
}

static void read_dry(Shell *s, size_t n) {
    for (unsigned c = 0; c < s->channels; c++) {
        delay_write(&s->delay[c], s->in[c], n);
        delay_read(&s->delay[c], s->tap, s->dry[c], n);
    }
    if (ramp_rests(&s->tap_fade))
        return;
    Ramp after = s->tap_fade;
    for (unsigned c = 0; c < s->channels; c++) {
        float old[PLUGIN_CHUNK];
        delay_read(&s->delay[c], s->last_tap, old, n);
        after = s->tap_fade;
        for (size_t i = 0; i < n; i++)
            s->dry[c][i] = blend(old[i], s->dry[c][i], &after);
    }
    s->tap_fade = after;
}

static bool all_finite(const Shell *s, size_t n) {
    uint32_t carry = 0; /* the top bit: an exponent of all ones, raised by one */
    for (unsigned c = 0; c < s->channels; c++)
        for (size_t i = 0; i < n; i++) {
            uint32_t bits;
            memcpy(&bits, &s->wet[c][i], sizeof bits);
            carry |= (bits & 0x7f800000u) + 0x00800000u;
        }
    return (carry & 0x80000000u) == 0;
}

static void run_plugin(Shell *s, size_t n) {
    const float *in[PLUGIN_MAX_CHANNELS], *dry[PLUGIN_MAX_CHANNELS], *key[PLUGIN_MAX_CHANNELS];
    float *out[PLUGIN_MAX_CHANNELS];
    for (unsigned c = 0; c < PLUGIN_MAX_CHANNELS; c++) {
        in[c] = s->in[c];
        dry[c] = s->dry[c];
        key[c] = s->key[c];
        out[c] = s->wet[c];
    }
    float reduction_db = 0.0f, meter[PLUGIN_MAX_METERS];
    for (size_t i = 1; i < s->n_meters; i++)
        meter[i - 1] = s->meter[i].now;
    const Io io = {
        .n = n,
        .channels = s->channels,
        .in = in,
        .dry = dry,
        .key = s->spec->has_key ? key : NULL,
        .out = out,
        .meter = meter,
        .reduction_db = &reduction_db,
    };
    s->spec->process(s->plugin, &io);
    meter_take(&s->meter[0], reduction_db);
    for (size_t i = 1; i < s->n_meters; i++)
        meter_take(&s->meter[i], meter[i - 1]);

    /* No plugin makes non-finite output of finite input. Should one ever, the speakers must not
     * hear it. */
    if (!all_finite(s, n)) {
        s->spec->reset(s->plugin);
        s->spec->set(s->plugin, s->control);
        for (unsigned c = 0; c < s->channels; c++)
            memcpy(s->wet[c], s->dry[c], n * sizeof(float));
    }
}

/* Audition and bypass, into wet. At rest the chosen signal passes bit for bit. */
static void choose_output(Shell *s, size_t n) {
    Ramp audition = s->audition, enabled = s->enabled;
    for (unsigned c = 0; c < s->channels; c++) {
        float *wet = s->wet[c];
        const float *dry = s->dry[c];
        audition = s->audition;
        enabled = s->enabled;
        if (!ramp_rests(&audition)) {
            for (size_t i = 0; i < n; i++)
                wet[i] = blend(wet[i], dry[i] - wet[i], &audition);
        } else if (audition.up) {
            for (size_t i = 0; i < n; i++)
                wet[i] = dry[i] - wet[i];
        }
        if (!ramp_rests(&enabled)) {
            for (size_t i = 0; i < n; i++)
                wet[i] = blend(dry[i], wet[i], &enabled);
        } else if (!enabled.up) {
            memcpy(wet, dry, n * sizeof *wet);
        }
    }
    s->audition = audition;
    s->enabled = enabled;
}

static void run_chunk(Shell *s, size_t at, size_t n) {
    for (unsigned c = 0; c < s->channels; c++) {
        clean(s->in_port[c], at, s->in[c], n);
        if (s->spec->has_key)
            clean(s->key_port[c], at, s->key[c], n);
    }
    read_dry(s, n);
    run_plugin(s, n);
    choose_output(s, n);
    for (unsigned c = 0; c < s->channels; c++)
        if (s->out_port[c])
            memcpy(s->out_port[c] + at, s->wet[c], n * sizeof(float));
}

static void run(LV2_Handle instance, uint32_t frames) {
    Shell *s = instance;
    uint64_t found = flush_zero_begin();

    bool changed = read_controls(s);
    aim_tap(s);
    if (s->latency_port)
        *s->latency_port = (float)s->spec->latency(s->plugin, s->control);
    size_t first = s->fresh ? wait(s, frames) : 0;
    bool begins = s->fresh && first < frames;
    if (begins || (changed && !s->fresh))
        s->spec->set(s->plugin, s->control);
    if (begins) {
        ramp_jump(&s->enabled);
        ramp_jump(&s->audition);
        s->fresh = false;
    }

    for (size_t at = first; at < frames;) {
        size_t n = frames - at, most = chunk_room(s);
        n = n < most ? n : most;
        run_chunk(s, at, n);
        at += n;
        aim_tap(s);
        s->hop_at += (uint32_t)n;
        if (s->hop_at == METER_HOP)
            s->hop_at = 0;
        if (s->momentary ? at == frames : s->hop_at == 0)
            step_meters(s);
    }
    write_meters(s);

    flush_zero_end(found);
}

/* ---- life ---- */

static void activate(LV2_Handle instance) {
    Shell *s = instance;
    s->spec->reset(s->plugin);
    for (unsigned c = 0; c < s->channels; c++)
        delay_reset(&s->delay[c]);
    for (size_t i = 0; i < s->n_meters; i++)
        meter_reset(&s->meter[i]);
    s->hop_at = 0;
    ramp_jump(&s->tap_fade);
    s->fresh = true;
}

static size_t largest_latency(const Shell *s) {
    float most[PLUGIN_MAX_CONTROLS];
    for (size_t i = 0; i < s->spec->n_controls; i++)
        most[i] = s->spec->controls[i].maximum;
    return s->spec->latency(s->plugin, most);
}

/* The shell and its plugin in `memory`; NULL when they do not fit, or the plugin cannot be
 * prepared. */
static Shell *build(const PluginSpec *spec, unsigned channels, double rate_hz, Arena *arena) {
    Shell *s = arena_take(arena, 1, sizeof *s);
    void *plugin = arena_take(arena, 1, spec->state_size);
    if (!s || !plugin || !spec->prepare(plugin, rate_hz, channels, arena))
        return NULL;
    s->spec = spec;
    s->plugin = plugin;
    s->channels = channels;
    s->rate_hz = rate_hz;
    for (unsigned c = 0; c < channels; c++)
        if (!delay_prepare(&s->delay[c], largest_latency(s), arena))
            return NULL;
    uint32_t fade = (uint32_t)lrint(CROSSFADE_MS * 1e-3 * rate_hz);
    s->enabled = (Ramp){.length = fade, .up = true};
    s->audition = (Ramp){.length = fade, .up = false};
    s->tap_fade = (Ramp){.length = fade, .up = true};
    for (size_t i = 0; i < spec->n_controls; i++)
        s->control[i] = spec->controls[i].initial;
    s->n_meters = 1 + spec->n_meters;
    meter_prepare(&s->meter[0], layout_reduction(spec), rate_hz);
    for (size_t i = 0; i < spec->n_meters; i++)
        meter_prepare(&s->meter[1 + i], spec->meters[i], rate_hz);
    activate(s);
    return s;
}

static Shell *shell_new(const PluginSpec *spec, unsigned channels, double rate_hz) {
    const size_t first = (size_t)1 << 16, last = (size_t)1 << 28;
    for (size_t size = first; size <= last; size *= 2) {
        void *memory = malloc(size);
        if (!memory)
            return NULL;
        Arena arena = arena_over(memory, size);
        Shell *s = build(spec, channels, rate_hz, &arena);
        if (s) {
            s->memory = memory;
            return s;
        }
        bool too_small = arena.used > arena.size;
        free(memory);
        if (!too_small)
            return NULL;
    }
    return NULL;
}

static bool spec_fits(const PluginSpec *spec) {
    return spec->n_controls <= PLUGIN_MAX_CONTROLS && spec->n_meters <= PLUGIN_MAX_METERS;
}

static const char URI_MONO[] = "urn:siskin:" SISKIN_ID "#mono";
static const char URI_STEREO[] = "urn:siskin:" SISKIN_ID "#stereo";

/* Some hosts offer no features at all. */
static bool offers(const LV2_Feature *const *features, const char *uri) {
    for (; features && *features; features++)
        if (strcmp((*features)->URI, uri) == 0)
            return true;
    return false;
}

static LV2_Handle instantiate(const LV2_Descriptor *descriptor, double rate_hz,
                              const char *bundle_path, const LV2_Feature *const *features) {
    (void)bundle_path;
    if (!(rate_hz >= 8000.0 && rate_hz <= 192000.0) || !spec_fits(&plugin_spec))
        return NULL;
    Shell *s = shell_new(&plugin_spec, descriptor->URI == URI_MONO ? 1 : 2, rate_hz);
    if (s && offers(features, LAYOUT_MOMENTARY)) {
        s->momentary = true;
        for (size_t i = 0; i < s->n_meters; i++) {
            s->meter[i].fall = INFINITY;
            s->meter[i].hold = 0;
        }
    }
    return s;
}

static void cleanup(LV2_Handle instance) {
    Shell *s = instance;
    free(s->memory);
}

static void connect_port(LV2_Handle instance, uint32_t index, void *data) {
    Shell *s = instance;
    if (index >= layout_count(s->spec, s->channels))
        return;
    Port port = layout_port(s->spec, s->channels, index);
    switch (port.role) {
    case ROLE_ENABLED:
        s->enabled_port = data;
        break;
    case ROLE_AUDITION:
        s->audition_port = data;
        break;
    case ROLE_LATENCY:
        s->latency_port = data;
        break;
    case ROLE_CONTROL:
        s->control_port[port.number] = data;
        break;
    case ROLE_REDUCTION:
        s->meter[0].port = data;
        break;
    case ROLE_METER:
        s->meter[1 + port.number].port = data;
        break;
    case ROLE_IN:
        s->in_port[port.number] = data;
        break;
    case ROLE_KEY:
        s->key_port[port.number] = data;
        break;
    case ROLE_OUT:
        s->out_port[port.number] = data;
        break;
    }
}

static const LV2_Descriptor DESCRIPTORS[2] = {
    {.URI = URI_MONO,
     .instantiate = instantiate,
     .connect_port = connect_port,
     .activate = activate,
     .run = run,
     .cleanup = cleanup},
    {.URI = URI_STEREO,
     .instantiate = instantiate,
     .connect_port = connect_port,
     .activate = activate,
     .run = run,
     .cleanup = cleanup},
};

LV2_SYMBOL_EXPORT const LV2_Descriptor *lv2_descriptor(uint32_t index) {
    return index < 2 ? &DESCRIPTORS[index] : NULL;
}
