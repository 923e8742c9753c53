/* SPDX-License-Identifier: ISC */
/* Keeps its filter in a variable that all instances share. */
#include "broken.h"

typedef struct {
    float unused;
} Shares;

static float level;

static void reset(void *self) {
    (void)self;
    level = 0.0f;
}

static void process(void *self, const Io *io) {
    (void)self;
    for (size_t i = 0; i < io->n; i++) {
        level += 0.01f * (io->in[0][i] - level);
        for (unsigned c = 0; c < io->channels; c++)
            io->out[c][i] = io->dry[c][i] - level;
    }
    *io->reduction_db = 0.0f;
}

const PluginSpec plugin_spec = {
    .id = "shares",
    .name = "shares",
    .state_size = sizeof(Shares),
    .prepare = broken_prepare,
    .reset = reset,
    .set = broken_set,
    .process = process,
    .latency = broken_latency,
};
