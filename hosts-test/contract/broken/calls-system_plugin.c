/* SPDX-License-Identifier: ISC */
/* Yields the processor now and then: a system call, without memory or lock. */
#include "broken.h"

#include <sched.h>

typedef struct {
    unsigned calls;
} CallsSystem;

static void process(void *self, const Io *io) {
    CallsSystem *p = self;
    if (++p->calls % 100 == 0)
        sched_yield();
    broken_gain(io, 0.5f);
}

const PluginSpec plugin_spec = {
    .id = "calls-system",
    .name = "calls-system",
    .state_size = sizeof(CallsSystem),
    .prepare = broken_prepare,
    .reset = broken_reset,
    .set = broken_set,
    .process = process,
    .latency = broken_latency,
};
