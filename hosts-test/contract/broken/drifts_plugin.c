/* SPDX-License-Identifier: ISC */
/* Its latency depends on what it has heard. */
#include "broken.h"

typedef struct {
    float peak;
} Drifts;

static void reset(void *self) {
    ((Drifts *)self)->peak = 0.0f;
}

static void process(void *self, const Io *io) {
    Drifts *p = self;
    for (size_t i = 0; i < io->n; i++)
        p->peak = io->in[0][i] > p->peak ? io->in[0][i] : p->peak;
    broken_gain(io, 0.5f);
}

static size_t latency(const void *self, const float *control) {
    (void)control;
    return ((const Drifts *)self)->peak > 0.1f ? 10 : 20;
}

const PluginSpec plugin_spec = {
    .id = "drifts",
    .name = "drifts",
    .state_size = sizeof(Drifts),
    .prepare = broken_prepare,
    .reset = reset,
    .set = broken_set,
    .process = process,
    .latency = latency,
};
