/* SPDX-License-Identifier: ISC */
/* A plain gain: the least a plugin can do, the floor that `make bench` compares with. */
#include "basic/decibel.h"
#include "plugin.h"

typedef struct {
    float gain;
} Gain;

static const PortSpec CONTROLS[] = {{.symbol = "gain",
                                     .name = "Gain",
                                     .doc = "How much louder or quieter.",
                                     .minimum = -24.0f,
                                     .initial = -6.0f,
                                     .maximum = 24.0f,
                                     .unit = UNIT_DB}};

static bool prepare(void *self, double rate_hz, unsigned channels, Arena *arena) {
    (void)self, (void)rate_hz, (void)channels, (void)arena;
    return true;
}

static void reset(void *self) {
    (void)self;
}

static void set(void *self, const float *control) {
    Gain *p = self;
    p->gain = (float)decibel_to_gain((double)control[0]);
}

static void process(void *self, const Io *io) {
    const Gain *p = self;
    for (unsigned c = 0; c < io->channels; c++)
        for (size_t i = 0; i < io->n; i++)
            io->out[c][i] = p->gain * io->dry[c][i];
    *io->reduction_db = 0.0f;
}

static size_t latency(const void *self, const float *control) {
    (void)self, (void)control;
    return 0;
}

const PluginSpec plugin_spec = {
    .id = "gain",
    .name = "Gain",
    .controls = CONTROLS,
    .n_controls = sizeof CONTROLS / sizeof *CONTROLS,
    .most_gain_db = 24.0f,
    .state_size = sizeof(Gain),
    .prepare = prepare,
    .reset = reset,
    .set = set,
    .process = process,
    .latency = latency,
};
