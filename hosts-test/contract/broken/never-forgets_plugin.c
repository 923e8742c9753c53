/* SPDX-License-Identifier: ISC */
/* Normalises to the largest peak it has ever heard: one loud moment, and it is quiet until it is
 * reset. */
#include "broken.h"

#include <math.h>

typedef struct {
    float peak;
} NeverForgets;

static void reset(void *self) {
    ((NeverForgets *)self)->peak = 1.0f;
}

static void process(void *self, const Io *io) {
    NeverForgets *p = self;
    for (size_t i = 0; i < io->n; i++) {
        for (unsigned c = 0; c < io->channels; c++)
            p->peak = fmaxf(p->peak, fabsf(io->in[c][i]));
        for (unsigned c = 0; c < io->channels; c++)
            io->out[c][i] = 0.5f * io->dry[c][i] / p->peak;
    }
    *io->reduction_db = 0.0f;
}

const PluginSpec plugin_spec = {
    .id = "never-forgets",
    .name = "never-forgets",
    .state_size = sizeof(NeverForgets),
    .prepare = broken_prepare,
    .reset = reset,
    .set = broken_set,
    .process = process,
    .latency = broken_latency,
};
