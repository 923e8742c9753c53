/* SPDX-License-Identifier: ISC */
/* run_spec.h: runs a plugin over audio by its PluginSpec, as the shell does, result aligned. */
#ifndef SISKIN_TESTS_RUN_SPEC_H
#define SISKIN_TESTS_RUN_SPEC_H

#include "plugin.h"

#include <check.h>
#include <stdlib.h>
#include <string.h>

typedef struct {
    const PluginSpec *spec;
    double rate_hz;
    unsigned channels;
    size_t chunk; /* frames at a time, 1..PLUGIN_CHUNK */
    float control[PLUGIN_MAX_CONTROLS];
    float meter[PLUGIN_MAX_METERS]; /* as last written */
    float reduction_db;             /* largest */
} SpecRun;

/* At the defaults. */
static inline SpecRun spec_run(const PluginSpec *spec, double rate_hz, unsigned channels) {
    SpecRun run = {.spec = spec, .rate_hz = rate_hz, .channels = channels, .chunk = PLUGIN_CHUNK};
    for (size_t i = 0; i < spec->n_controls; i++)
        run.control[i] = spec->controls[i].initial;
    return run;
}

/* Its buffers, for as many channels as there can be. */
typedef struct {
    size_t latency;
    float *late[PLUGIN_MAX_CHANNELS]; /* silence, the input, silence */
    float *made[PLUGIN_MAX_CHANNELS];
} SpecAudio;

static inline void spec_run_chunk(SpecRun *run, void *self, const SpecAudio *audio, size_t at,
                                  size_t n) {
    const float *in[PLUGIN_MAX_CHANNELS], *dry[PLUGIN_MAX_CHANNELS];
    float *to[PLUGIN_MAX_CHANNELS];
    float reduction_db = 0.0f;
    for (unsigned c = 0; c < PLUGIN_MAX_CHANNELS; c++) {
        in[c] = audio->late[c] + audio->latency + at;
        dry[c] = audio->late[c] + at;
        to[c] = audio->made[c] + at;
    }
    const Io io = {.n = n,
                   .channels = run->channels,
                   .in = in,
                   .dry = dry,
                   .out = to,
                   .meter = run->meter,
                   .reduction_db = &reduction_db};
    run->spec->process(self, &io);
    run->reduction_db = reduction_db > run->reduction_db ? reduction_db : run->reduction_db;
}

/* A new instance over n frames; out[c][t] is of in[c][t], the latency taken out. in and out have
 * PLUGIN_MAX_CHANNELS channels, also of a mono plugin. */
static inline void spec_run_over(SpecRun *run, const float *const *in, float *const *out,
                                 size_t n) {
    const size_t room = (size_t)1 << 22;
    void *memory = malloc(room), *self = calloc(1, run->spec->state_size);
    Arena arena = arena_over(memory, room);
    ck_assert(run->spec->prepare(self, run->rate_hz, run->channels, &arena));
    run->spec->reset(self);
    run->spec->set(self, run->control);
    SpecAudio audio = {.latency = run->spec->latency(self, run->control)};
    size_t all = n + audio.latency;
    for (unsigned c = 0; c < PLUGIN_MAX_CHANNELS; c++) {
        audio.late[c] = calloc(all + audio.latency, sizeof(float));
        audio.made[c] = calloc(all, sizeof(float));
        memcpy(audio.late[c] + audio.latency, in[c], n * sizeof(float));
    }
    run->reduction_db = 0.0f;
    for (size_t at = 0; at < all; at += run->chunk)
        spec_run_chunk(run, self, &audio, at, all - at < run->chunk ? all - at : run->chunk);
    for (unsigned c = 0; c < PLUGIN_MAX_CHANNELS; c++) {
        memcpy(out[c], audio.made[c] + audio.latency, n * sizeof(float));
        free(audio.late[c]);
        free(audio.made[c]);
    }
    free(self);
    free(memory);
}

#endif
