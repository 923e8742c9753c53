/* SPDX-License-Identifier: ISC */
/* Reads a key that it did not ask for. */
#include "broken.h"

typedef struct {
    float unused;
} ReadsKey;

static void process(void *self, const Io *io) {
    (void)self;
    for (unsigned c = 0; c < io->channels; c++)
        for (size_t i = 0; i < io->n; i++)
            io->out[c][i] = io->dry[c][i] * (1.0f - io->key[c][i]);
    *io->reduction_db = 0.0f;
}

const PluginSpec plugin_spec = {
    .id = "reads-key",
    .name = "reads-key",
    .state_size = sizeof(ReadsKey),
    .prepare = broken_prepare,
    .reset = broken_reset,
    .set = broken_set,
    .process = process,
    .latency = broken_latency,
};
