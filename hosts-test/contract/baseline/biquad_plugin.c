/* SPDX-License-Identifier: ISC */
/* One second-order filter: the second floor that `make bench` compares with. */
#include "filter/svf.h"
#include "plugin.h"

typedef struct {
    double rate_hz;
    Svf svf[PLUGIN_MAX_CHANNELS];
} Biquad;

static const PortSpec CONTROLS[] = {{.symbol = "frequency",
                                     .name = "Frequency",
                                     .doc = "Centre of the bell.",
                                     .minimum = 100.0f,
                                     .initial = 1000.0f,
                                     .maximum = 3000.0f,
                                     .unit = UNIT_HZ,
                                     .kind = PORT_LOGARITHMIC}};

static bool prepare(void *self, double rate_hz, unsigned channels, Arena *arena) {
    (void)channels, (void)arena;
    ((Biquad *)self)->rate_hz = rate_hz;
    return true;
}

static void reset(void *self) {
    Biquad *p = self;
    for (unsigned c = 0; c < PLUGIN_MAX_CHANNELS; c++)
        svf_reset(&p->svf[c]);
}

static void set(void *self, const float *control) {
    Biquad *p = self;
    for (unsigned c = 0; c < PLUGIN_MAX_CHANNELS; c++)
        svf_set(&p->svf[c], p->rate_hz,
                &(SvfParams){
                    .kind = SVF_BELL, .frequency_hz = control[0], .q = 1.0f, .gain_db = -3.0f});
}

static void process(void *self, const Io *io) {
    Biquad *p = self;
    for (unsigned c = 0; c < io->channels; c++)
        svf_process(&p->svf[c], io->dry[c], io->out[c], io->n);
    *io->reduction_db = 0.0f;
}

static size_t latency(const void *self, const float *control) {
    (void)self, (void)control;
    return 0;
}

const PluginSpec plugin_spec = {
    .id = "biquad",
    .name = "Biquad",
    .controls = CONTROLS,
    .n_controls = sizeof CONTROLS / sizeof *CONTROLS,
    .state_size = sizeof(Biquad),
    .prepare = prepare,
    .reset = reset,
    .set = set,
    .process = process,
    .latency = latency,
};
