/* SPDX-License-Identifier: ISC */
/* broken.h: what the broken plugins have in common: no controls, no latency, nothing to prepare.
 * Each of them is a plugin of the shell with one fault, and the tests of bundles must refuse it. */
#ifndef SISKIN_CONTRACT_BROKEN_BROKEN_H
#define SISKIN_CONTRACT_BROKEN_BROKEN_H

#include "plugin.h"

#include <string.h>

static inline bool broken_prepare(void *self, double rate_hz, unsigned channels, Arena *arena) {
    (void)self, (void)rate_hz, (void)channels, (void)arena;
    return true;
}

static inline void broken_reset(void *self) {
    (void)self;
}

static inline void broken_set(void *self, const float *control) {
    (void)self, (void)control;
}

static inline size_t broken_latency(const void *self, const float *control) {
    (void)self, (void)control;
    return 0;
}

/* out = gain * dry: what is left when the fault is elsewhere. */
static inline void broken_gain(const Io *io, float gain) {
    for (unsigned c = 0; c < io->channels; c++)
        for (size_t i = 0; i < io->n; i++)
            io->out[c][i] = gain * io->dry[c][i];
    *io->reduction_db = 0.0f;
}

#endif
