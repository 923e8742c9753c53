/* SPDX-License-Identifier: ISC */
/* Divides by the level, and 0 / 0 in silence is no number. The shell puts the input in its place,
 * but for whole chunks, so that the output depends on how blocks are cut. */
#include "broken.h"

typedef struct {
    float peak;
} MakesNan;

static void process(void *self, const Io *io) {
    (void)self;
    for (unsigned c = 0; c < io->channels; c++)
        for (size_t i = 0; i < io->n; i++) {
            float x = io->dry[c][i] * 1e-18f;
            io->out[c][i] = io->dry[c][i] * 0.5f * (x * x) / (x * x);
        }
    *io->reduction_db = 0.0f;
}

const PluginSpec plugin_spec = {
    .id = "makes-nan",
    .name = "makes-nan",
    .state_size = sizeof(MakesNan),
    .prepare = broken_prepare,
    .reset = broken_reset,
    .set = broken_set,
    .process = process,
    .latency = broken_latency,
};
