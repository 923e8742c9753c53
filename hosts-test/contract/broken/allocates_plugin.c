/* SPDX-License-Identifier: ISC */
/* Takes memory in process() and gives it back, as a scratch array too long for the stack would. */
#include "broken.h"

#include <stdlib.h>

typedef struct {
    float *volatile scratch;
} Allocates;

static void process(void *self, const Io *io) {
    Allocates *p = self;
    p->scratch = malloc(io->n * sizeof *p->scratch);
    broken_gain(io, 0.5f);
    free(p->scratch);
}

const PluginSpec plugin_spec = {
    .id = "allocates",
    .name = "allocates",
    .state_size = sizeof(Allocates),
    .prepare = broken_prepare,
    .reset = broken_reset,
    .set = broken_set,
    .process = process,
    .latency = broken_latency,
};
