/* SPDX-License-Identifier: ISC */
/* Locks in process(). Nobody else holds the lock, so that no system call is made and only the lock
 * itself can be seen. */
#include "broken.h"

#include <pthread.h>

typedef struct {
    pthread_mutex_t mutex;
} Locks;

static bool prepare(void *self, double rate_hz, unsigned channels, Arena *arena) {
    (void)rate_hz, (void)channels, (void)arena;
    return pthread_mutex_init(&((Locks *)self)->mutex, NULL) == 0;
}

static void process(void *self, const Io *io) {
    Locks *p = self;
    pthread_mutex_lock(&p->mutex);
    broken_gain(io, 0.5f);
    pthread_mutex_unlock(&p->mutex);
}

const PluginSpec plugin_spec = {
    .id = "locks",
    .name = "locks",
    .state_size = sizeof(Locks),
    .prepare = prepare,
    .reset = broken_reset,
    .set = broken_set,
    .process = process,
    .latency = broken_latency,
};
