/* SPDX-License-Identifier: ISC */
/* A filter whose reset() forgets the right channel, or the only one. */
#include "broken.h"

#include "filter/svf.h"

typedef struct {
    Svf svf[PLUGIN_MAX_CHANNELS];
} ResetsHalf;

static bool prepare(void *self, double rate_hz, unsigned channels, Arena *arena) {
    (void)channels, (void)arena;
    ResetsHalf *p = self;
    for (unsigned c = 0; c < PLUGIN_MAX_CHANNELS; c++)
        svf_set(&p->svf[c], rate_hz,
                &(SvfParams){.kind = SVF_HIGH_PASS, .frequency_hz = 100.0f, .q = 0.7f});
    return true;
}

static void reset(void *self) {
    svf_reset(&((ResetsHalf *)self)->svf[1]);
}

static void process(void *self, const Io *io) {
    ResetsHalf *p = self;
    for (unsigned c = 0; c < io->channels; c++)
        svf_process(&p->svf[c], io->dry[c], io->out[c], io->n);
    *io->reduction_db = 0.0f;
}

const PluginSpec plugin_spec = {
    .id = "resets-half",
    .name = "resets-half",
    .state_size = sizeof(ResetsHalf),
    .prepare = prepare,
    .reset = reset,
    .set = broken_set,
    .process = process,
    .latency = broken_latency,
};
