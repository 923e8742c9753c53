/* SPDX-License-Identifier: ISC */
/* Delays the audio by 32 frames of its own and reports none of them. */
#include "broken.h"

enum { DELAY = 32 };

typedef struct {
    float ring[PLUGIN_MAX_CHANNELS][DELAY];
    size_t at;
} Late;

static void reset(void *self) {
    memset(self, 0, sizeof(Late));
}

static void process(void *self, const Io *io) {
    Late *p = self;
    for (size_t i = 0; i < io->n; i++, p->at = (p->at + 1) % DELAY)
        for (unsigned c = 0; c < io->channels; c++) {
            io->out[c][i] = p->ring[c][p->at];
            p->ring[c][p->at] = io->dry[c][i];
        }
    *io->reduction_db = 0.0f;
}

const PluginSpec plugin_spec = {
    .id = "late",
    .name = "late",
    .state_size = sizeof(Late),
    .prepare = broken_prepare,
    .reset = reset,
    .set = broken_set,
    .process = process,
    .latency = broken_latency,
};
