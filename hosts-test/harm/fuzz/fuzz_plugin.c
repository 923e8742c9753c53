/* SPDX-License-Identifier: ISC */
/* fuzz_plugin: the shell and one plugin under libFuzzer.
 *
 * The input is a list of what a host may do, read byte by byte: choose variant and rate, set a
 * control to any bit pattern, feed audio of any bit pattern or of a kind that makes detectors work,
 * put ports on one buffer, leave the key unconnected, restart, run any number of frames. Linked
 * with the shell's and the plugin's own objects, so that the sanitizers see all of it. A finding is
 * a report of a sanitizer, output that is not finite, or output over the bound: what the shell lets
 * in is at most 1000, and no plugin raises by more than 24 dB. */
#include "layout.h"

#include <lv2/core/lv2.h>

#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

enum { MOST_FRAMES = 700, MOST_IN_ALL = 30000, PORTS = 64, BUFFERS = 6 };

typedef struct {
    const uint8_t *at;
    size_t left;
} Bytes;

static uint8_t next(Bytes *bytes) {
    if (bytes->left == 0)
        return 0;
    bytes->left--;
    return *bytes->at++;
}

static uint32_t next_word(Bytes *bytes) {
    uint32_t word = 0;
    for (int i = 0; i < 4; i++)
        word = word << 8 | next(bytes);
    return word;
}

static float next_float(Bytes *bytes) {
    uint32_t word = next_word(bytes);
    float value;
    memcpy(&value, &word, sizeof value);
    return value;
}

typedef struct {
    LV2_Handle handle;
    const LV2_Descriptor *descriptor;
    unsigned channels;
    size_t ports;
    float control[PORTS];
    float audio[BUFFERS][MOST_FRAMES];
    uint32_t noise;
    double phase;
} Session;

static void connect_audio(Session *s, uint8_t how) {
    size_t buffer = 0;
    for (size_t i = 0; i < s->ports; i++) {
        Port port = layout_port(&plugin_spec, s->channels, i);
        if (port.role != ROLE_IN && port.role != ROLE_KEY && port.role != ROLE_OUT)
            continue;
        float *to = s->audio[how & 1 ? 0 : buffer++ % BUFFERS];
        if (how & 2 && port.role == ROLE_OUT)
            to = s->audio[port.number]; /* in place */
        if (how & 4 && port.role == ROLE_KEY)
            to = NULL;
        s->descriptor->connect_port(s->handle, (uint32_t)i, to);
    }
}

static bool begin(Session *s, Bytes *bytes) {
    static const double rates[] = {8000.0, 16000.0, 44100.0, 48000.0};
    uint8_t choice = next(bytes);
    s->channels = 1 + (choice & 1);
    s->descriptor = lv2_descriptor(choice & 1);
    s->handle = s->descriptor->instantiate(s->descriptor, rates[choice >> 1 & 3], "", NULL);
    if (!s->handle)
        return false;
    s->ports = layout_count(&plugin_spec, s->channels);
    for (size_t i = 0; i < s->ports; i++) {
        Port port = layout_port(&plugin_spec, s->channels, i);
        s->control[i] = port.role <= ROLE_METER ? port.spec.initial : 0.0f;
        s->descriptor->connect_port(s->handle, (uint32_t)i, &s->control[i]);
    }
    connect_audio(s, 0);
    s->descriptor->activate(s->handle);
    return true;
}

/* A stretch of audio: raw bits, silence, noise, a tone, or a pulse train, at a level of 2^-k. */
static void fill(Session *s, Bytes *bytes, float *audio, size_t n) {
    uint8_t kind = next(bytes);
    float level = ldexpf(1.0f, -(int)(kind >> 4));
    for (size_t i = 0; i < n; i++) {
        s->noise = s->noise * 1664525u + 1013904223u;
        s->phase += 0.01 + 0.0001 * (kind >> 4);
        float white = (float)(int32_t)s->noise / 2147483648.0f;
        switch (kind & 7) {
        case 0:
            audio[i] = next_float(bytes);
            break;
        case 1:
            audio[i] = 0.0f;
            break;
        case 2:
            audio[i] = level * (float)sin(6.283185307 * s->phase);
            break;
        case 3:
            audio[i] = s->phase - floor(s->phase) < 0.02 ? level : 0.0f;
            break;
        default:
            audio[i] = level * white;
            break;
        }
    }
}

static void run(Session *s, Bytes *bytes, size_t n) {
    for (size_t b = 0; b < BUFFERS; b++)
        fill(s, bytes, s->audio[b], n);
    s->descriptor->run(s->handle, (uint32_t)n);
}

static void check(const Session *s, const float *audio, size_t n) {
    (void)s;
    for (size_t i = 0; i < n; i++) {
        if (!(fabsf(audio[i]) <= 16000.0f)) {
            fprintf(stderr, "fuzz_plugin: output %g at frame %zu of %zu\n", (double)audio[i], i, n);
            abort();
        }
    }
}

/* Runs with outputs apart from inputs, so that the outputs are known. */
static void run_and_check(Session *s, Bytes *bytes, size_t n, uint8_t how) {
    connect_audio(s, how);
    float out[PLUGIN_MAX_CHANNELS][MOST_FRAMES];
    size_t outs = 0;
    for (size_t i = 0; i < s->ports && !(how & 3); i++)
        if (layout_port(&plugin_spec, s->channels, i).role == ROLE_OUT)
            s->descriptor->connect_port(s->handle, (uint32_t)i, out[outs++]);
    run(s, bytes, n);
    for (size_t c = 0; c < outs; c++)
        check(s, out[c], n);
    connect_audio(s, 0);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size) {
    static Session s;
    Bytes bytes = {data, size};
    memset(&s, 0, sizeof s);
    if (!begin(&s, &bytes))
        return 0;
    for (size_t frames = 0; bytes.left > 0 && frames < MOST_IN_ALL;) {
        uint8_t what = next(&bytes);
        size_t n = next_word(&bytes) % MOST_FRAMES;
        switch (what & 7) {
        case 0:
            s.control[next(&bytes) % s.ports] = next_float(&bytes);
            break;
        case 1: {
            Port port = layout_port(&plugin_spec, s.channels, next(&bytes) % s.ports);
            float share = (float)next(&bytes) / 255.0f;
            for (size_t i = 0; i < s.ports; i++)
                if (layout_port(&plugin_spec, s.channels, i).spec.symbol == port.spec.symbol)
                    s.control[i] =
                        port.spec.minimum + share * (port.spec.maximum - port.spec.minimum);
            break;
        }
        case 2:
            s.descriptor->activate(s.handle);
            break;
        default:
            run_and_check(&s, &bytes, n, what >> 3);
            frames += n + 16;
            break;
        }
    }
    s.descriptor->cleanup(s.handle);
    return 0;
}
