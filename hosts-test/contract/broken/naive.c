/* SPDX-License-Identifier: ISC */
/* naive.c: an LV2 plugin made without the shell, once whole and once with each fault that the
 * shell would mend. The tests of bundles must pass the whole one and refuse the others.
 *
 * It has the ports of the floor `keyed`, whose Turtle the Makefile copies for each fault, and does
 * a part of what that does: the gain falls as the key's level rises; the latency is fixed. */
#include "basic/flush_zero.h"

#include <lv2/core/lv2.h>

#include <math.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

#define FAULTS(F)                                                                                  \
    F(WHOLE, "whole")                                                                              \
    F(IN_PLACE, "in-place")                 /* writes one channel before it reads the other */     \
    F(ONE_BUFFER, "one-buffer")             /* reads the key after it has written */               \
    F(LEAVES_MODE, "leaves-mode")           /* leaves flush-to-zero on */                          \
    F(HEARS_MODE, "hears-mode")             /* computes in the host's floating-point mode */       \
    F(NOT_CLEANED, "not-cleaned")           /* takes NaN and infinities for audio */               \
    F(NOT_CLAMPED, "not-clamped")           /* takes any number for a control */                   \
    F(NEEDS_PORTS, "needs-ports")           /* reads every control without asking */               \
    F(NEEDS_FRAMES, "needs-frames")         /* writes the first frame even if there is none */     \
    F(OFF_SCALED, "off-scaled")             /* off is almost the input */                          \
    F(OFF_EARLY, "off-early")               /* off is the input, not delayed */                    \
    F(SWITCHES_HARD, "switches-hard")       /* no crossfade */                                     \
    F(FADE_SHORT, "fade-short")             /* 20 ms at 44.1 kHz only */                           \
    F(AUDITION_HARD, "audition-hard")       /* no crossfade */                                     \
    F(REMOVED_EARLY, "removed-early")       /* removed is taken from the input, not delayed */     \
    F(KEEPS_HISTORY, "keeps-history")       /* activate() forgets to clear */                      \
    F(WRITES_BEYOND, "writes-beyond")       /* one frame too many */                               \
    F(WRITES_INPUT, "writes-input")         /* cleans the host's own buffer */                     \
    F(LEAVES_FRAMES, "leaves-frames")       /* does not write silence */                           \
    F(SHARED_STATE, "shared-state")         /* one level for all instances */                      \
    F(NOT_CLEARED, "not-cleared")           /* trusts malloc to give zeros */                      \
    F(LATE_LATENCY, "late-latency")         /* reports only once there are frames */               \
    F(DRIFTING_LATENCY, "drifting-latency") /* reports what the level suggests */                  \
    F(STALE_LATENCY, "stale-latency")       /* reports another with another depth, and stays */    \
    F(WRONG_LATENCY, "wrong-latency")       /* one frame less than it takes */                     \
    F(TWO_GAINS, "two-gains")               /* each channel its own level */                       \
    F(LEFT_LISTENS, "left-listens")         /* only the left key counts */                         \
    F(LOUD, "loud")                         /* far above its input */                              \
    F(WILD_METER, "wild-meter")             /* a meter beyond its range */                         \
    F(METERS_BLOCKS, "meters-blocks")       /* a meter that falls a little each block */           \
    F(METERS_NOW, "meters-now")             /* a meter that shows the last frame alone */          \
    F(HUMS, "hums")                         /* sounds by itself */                                 \
    F(IDLE, "idle")                         /* does nothing */                                     \
    F(DEAF, "deaf")                         /* does not hear its key */                            \
    F(KEYLESS_NOISE, "keyless-noise")       /* takes a missing key for a full one */               \
    F(COUNTS_SILENCE, "counts-silence")     /* its hops are counted from activation */             \
    F(LOW_RATES, "low-rates")               /* no room above 48 kHz */                             \
    F(LEAKS, "leaks")                       /* cleanup() forgets the ring */

#define NUMBER(name, text) name,
typedef enum { FAULTS(NUMBER) N_FAULTS } Fault;

enum { ENABLED, AUDITION, LATENCY, DEPTH, REDUCTION = 8, KEY_LEVEL, FIRST_AUDIO };
enum { MAX_PORTS = FIRST_AUDIO + 6, DELAY = 64 };

typedef struct {
    Fault fault;
    unsigned channels;
    double rate_hz;
    float *ports[MAX_PORTS];
    int fade;
    float pole;
    bool fresh;
    int enabled, audition; /* frames into their crossfades */
    unsigned at;
    float level, other_level, held, shown;
    float *ring; /* [channels][DELAY] */
} Naive;

static float shared_level;

static float control(const Naive *p, unsigned index, float initial, float low, float high) {
    if (p->fault == NEEDS_PORTS)
        return *p->ports[index];
    float value = p->ports[index] ? *p->ports[index] : initial;
    if (p->fault == NOT_CLAMPED)
        return value;
    return isnan(value) ? initial : fminf(fmaxf(value, low), high);
}

static float *audio(const Naive *p, unsigned kind, unsigned channel) {
    return p->ports[FIRST_AUDIO + kind * p->channels + channel];
}

static float clean(const Naive *p, float x) {
    return p->fault == NOT_CLEANED || fabsf(x) <= 1000.0f ? x : 0.0f;
}

static float read_audio(const Naive *p, unsigned kind, unsigned channel, uint32_t t) {
    const float *port = audio(p, kind, channel);
    if (!port)
        return p->fault == KEYLESS_NOISE && kind == 1 ? 1.0f : 0.0f;
    return clean(p, port[t]);
}

/* One crossfade, exact at both ends. */
static float blend(int *at, bool up, int length, float from, float to) {
    if (up && *at < length)
        ++*at;
    else if (!up && *at > 0)
        --*at;
    float weight = (float)*at / (float)length;
    return *at == 0 ? from : *at == length ? to : from + weight * (to - from);
}

static float follow(Naive *p, const float key[2]) {
    float loudest = p->channels == 2 && p->fault != LEFT_LISTENS && p->fault != TWO_GAINS
                        ? fmaxf(fabsf(key[0]), fabsf(key[1]))
                        : fabsf(key[0]);
    if (p->fault == DEAF)
        loudest = 0.5f;
    float *level = p->fault == SHARED_STATE ? &shared_level : &p->level;
    *level = loudest + p->pole * (*level - loudest);
    p->other_level = fabsf(key[1]) + p->pole * (p->other_level - fabsf(key[1]));
    return *level;
}

typedef struct {
    bool enabled, removed;
    float depth;
} Controls;

static Controls read_controls(Naive *p) {
    Controls c = {
        .enabled = control(p, ENABLED, 1.0f, 0.0f, 1.0f) > 0.0f,
        .removed = control(p, AUDITION, 0.0f, 0.0f, 1.0f) > 0.5f,
        .depth = 1.0f - powf(10.0f, -control(p, DEPTH, 12.0f, 0.0f, 24.0f) / 20.0f),
    };
    if (p->fresh || p->fault == SWITCHES_HARD)
        p->enabled = c.enabled ? p->fade : 0;
    if (p->fresh || p->fault == AUDITION_HARD)
        p->audition = c.removed ? p->fade : 0;
    return c;
}

static float result(const Naive *p, float gain, float dry) {
    switch (p->fault) {
    case LOUD:
        return 100.0f * dry;
    case HUMS:
        return gain * dry + 1e-6f;
    case IDLE:
        return dry;
    default:
        return gain * dry;
    }
}

static void frame(Naive *p, const Controls *c, uint32_t t) {
    float in[2] = {0.0f, 0.0f}, key[2] = {0.0f, 0.0f};
    for (unsigned k = 0; k < p->channels; k++) {
        in[k] = read_audio(p, 0, k, t);
        key[k] = read_audio(p, 1, k, t);
    }
    float level = follow(p, key);
    if (p->at == 0)
        p->held = level;
    if (p->fault == COUNTS_SILENCE)
        level = p->held;
    int enabled = p->enabled, audition = p->audition;
    for (unsigned k = 0; k < p->channels; k++) {
        float *slot = &p->ring[k * DELAY + p->at];
        float dry = *slot;
        *slot = in[k];
        float wet =
            result(p, 1.0f - c->depth * (k && p->fault == TWO_GAINS ? p->other_level : level), dry);
        float off = p->fault == OFF_EARLY ? in[k] : p->fault == OFF_SCALED ? dry * 0.9999999f : dry;
        enabled = p->enabled, audition = p->audition;
        float heard = blend(&audition, c->removed, p->fade, wet,
                            (p->fault == REMOVED_EARLY ? in[k] : dry) - wet);
        heard = blend(&enabled, c->enabled, p->fade, off, heard);
        if (audio(p, 2, k) && !(p->fault == LEAVES_FRAMES && heard == 0.0f))
            audio(p, 2, k)[t] = heard;
    }
    p->enabled = enabled;
    p->audition = audition;
    p->at = (p->at + 1) % DELAY;
}

/* The faults that need the whole block. */
static void before(Naive *p, uint32_t n) {
    for (unsigned k = 0; k < p->channels; k++) {
        float *in = audio(p, 0, k), *out = audio(p, 2, k), *key = audio(p, 1, k);
        if (p->fault == WRITES_INPUT && in && n)
            in[n / 2] = clean(p, in[n / 2]) * 0.5f;
        if (p->fault == IN_PLACE && out && in)
            for (uint32_t t = 0; t < n; t++)
                out[t] = 0.0f;
        if (p->fault == ONE_BUFFER && out && key && in && in == key && n)
            out[0] = 0.0f;
        if (p->fault == NEEDS_FRAMES && out)
            out[0] = 0.0f;
    }
}

static void meters(Naive *p, uint32_t n) {
    float latency = DELAY;
    if (p->fault == DRIFTING_LATENCY && p->level > 0.01f)
        latency = DELAY + 1;
    if (p->fault == STALE_LATENCY && control(p, DEPTH, 12.0f, 0.0f, 24.0f) > 18.0f)
        latency = 0.5f * DELAY;
    if (p->fault == WRONG_LATENCY)
        latency = DELAY - 1;
    if (p->ports[LATENCY] && !(p->fault == LATE_LATENCY && n == 0))
        *p->ports[LATENCY] = latency;
    if (p->ports[REDUCTION])
        *p->ports[REDUCTION] = p->fault == METERS_NOW ? fminf(12.0f * p->level, 24.0f) : 0.0f;
    p->shown = fmaxf(p->level, 0.9f * p->shown);
    if (p->ports[KEY_LEVEL])
        *p->ports[KEY_LEVEL] = p->fault == WILD_METER
                                   ? NAN
                                   : fminf(p->fault == METERS_BLOCKS ? p->shown : p->level, 1.0f);
}

static void run(LV2_Handle instance, uint32_t n) {
    Naive *p = instance;
    uint64_t found = flush_zero_begin();
    if (p->fault == HEARS_MODE)
        flush_zero_end(found);
    Controls c = read_controls(p);
    if (n > 0)
        p->fresh = false;
    before(p, n);
    for (uint32_t t = 0; t < n; t++)
        frame(p, &c, t);
    if (p->fault == WRITES_BEYOND && audio(p, 2, 0))
        audio(p, 2, 0)[n] = 0.0f;
    meters(p, n);
    if (p->fault != LEAVES_MODE)
        flush_zero_end(found);
}

static void activate(LV2_Handle instance) {
    Naive *p = instance;
    p->fresh = true;
    p->at = 0;
    if (p->fault == KEEPS_HISTORY)
        return;
    p->level = p->other_level = p->held = p->shown = 0.0f;
    if (p->fault != NOT_CLEARED)
        memset(p->ring, 0, (size_t)p->channels * DELAY * sizeof *p->ring);
}

static const LV2_Descriptor DESCRIPTORS[2 * N_FAULTS];

static LV2_Handle instantiate(const LV2_Descriptor *descriptor, double rate_hz,
                              const char *bundle_path, const LV2_Feature *const *features) {
    (void)bundle_path, (void)features;
    size_t index = (size_t)(descriptor - DESCRIPTORS);
    Naive *p = calloc(1, sizeof *p);
    if (!p)
        return NULL;
    p->fault = (Fault)(index / 2);
    p->channels = 1 + index % 2;
    p->rate_hz = rate_hz;
    p->fade = (int)lrint(0.020 * (p->fault == FADE_SHORT ? 44100.0 : rate_hz));
    p->pole = (float)exp(-100.0 / rate_hz);
    p->ring = malloc((size_t)p->channels * DELAY * sizeof *p->ring);
    if (!p->ring || (p->fault == LOW_RATES && rate_hz > 48000.0)) {
        free(p->ring);
        free(p);
        return NULL;
    }
    if (p->fault != NOT_CLEARED)
        memset(p->ring, 0, (size_t)p->channels * DELAY * sizeof *p->ring);
    return p;
}

static void cleanup(LV2_Handle instance) {
    Naive *p = instance;
    if (p->fault != LEAKS)
        free(p->ring);
    free(p);
}

static void connect_port(LV2_Handle instance, uint32_t index, void *data) {
    Naive *p = instance;
    if (index < MAX_PORTS)
        p->ports[index] = data;
}

#define DESCRIBE(name, text)                                                                       \
    {"urn:siskin:naive-" text "#mono",                                                             \
     instantiate,                                                                                  \
     connect_port,                                                                                 \
     activate,                                                                                     \
     run,                                                                                          \
     NULL,                                                                                         \
     cleanup,                                                                                      \
     NULL},                                                                                        \
        {"urn:siskin:naive-" text "#stereo",                                                       \
         instantiate,                                                                              \
         connect_port,                                                                             \
         activate,                                                                                 \
         run,                                                                                      \
         NULL,                                                                                     \
         cleanup,                                                                                  \
         NULL},
static const LV2_Descriptor DESCRIPTORS[2 * N_FAULTS] = {FAULTS(DESCRIBE)};

LV2_SYMBOL_EXPORT const LV2_Descriptor *lv2_descriptor(uint32_t index) {
    return index < 2 * N_FAULTS ? &DESCRIPTORS[index] : NULL;
}
