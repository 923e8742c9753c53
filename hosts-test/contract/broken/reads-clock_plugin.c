/* SPDX-License-Identifier: ISC */
/* Reads the clock, which needs no system call on most systems. */
#include "broken.h"

#include <time.h>

typedef struct {
    volatile time_t now;
} ReadsClock;

static void process(void *self, const Io *io) {
    ReadsClock *p = self;
    p->now = time(NULL);
    broken_gain(io, 0.5f);
}

const PluginSpec plugin_spec = {
    .id = "reads-clock",
    .name = "reads-clock",
    .state_size = sizeof(ReadsClock),
    .prepare = broken_prepare,
    .reset = broken_reset,
    .set = broken_set,
    .process = process,
    .latency = broken_latency,
};
