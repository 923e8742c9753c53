/* SPDX-License-Identifier: ISC */
/* Moves its gain once for each call of process(), so that a host with short blocks hears it move
 * faster. */
#include "broken.h"

typedef struct {
    float gain;
} SmoothsPerBlock;

static void reset(void *self) {
    ((SmoothsPerBlock *)self)->gain = 0.0f;
}

static void process(void *self, const Io *io) {
    SmoothsPerBlock *p = self;
    p->gain += 0.1f * (0.5f - p->gain);
    broken_gain(io, p->gain);
}

const PluginSpec plugin_spec = {
    .id = "smooths-per-block",
    .name = "smooths-per-block",
    .state_size = sizeof(SmoothsPerBlock),
    .prepare = broken_prepare,
    .reset = reset,
    .set = broken_set,
    .process = process,
    .latency = broken_latency,
};
