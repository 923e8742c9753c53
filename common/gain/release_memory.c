/* SPDX-License-Identifier: ISC */
#include "gain/release_memory.h"

#include "basic/one_pole.h"

void release_memory_prepare(ReleaseMemory *memory, double rate_hz) {
    *memory = (ReleaseMemory){.rate_hz = rate_hz};
    release_memory_set(memory, &(ReleaseMemoryParams){.release_ms = 100.0f, .share = 0.5f});
}

void release_memory_reset(ReleaseMemory *memory) {
    memory->state.fast = 0.0;
    memory->state.slow = 0.0;
}

void release_memory_set(ReleaseMemory *memory, const ReleaseMemoryParams *params) {
    double release_ms = (double)params->release_ms;
    if (params->release_ms != memory->params.release_ms) {
        memory->release = one_pole_coefficient(release_ms, memory->rate_hz);
        memory->charge = one_pole_coefficient(RELEASE_MEMORY_CHARGE * release_ms, memory->rate_hz);
        memory->fall = one_pole_coefficient(RELEASE_MEMORY_FALL * release_ms, memory->rate_hz);
    }
    memory->params = *params;
}

void release_memory_process(ReleaseMemory *memory, const float *wanted_db, float *held_db,
                            size_t n) {
    const double release = memory->release, charge = memory->charge, fall = memory->fall;
    const double share = (double)memory->params.share;
    double fast = memory->state.fast, slow = memory->state.slow;
    for (size_t i = 0; i < n; i++) {
        /* 1e-30 keeps the poles from sinking into denormal numbers, should they not be flushed. */
        double x = (double)wanted_db[i] + 1e-30;
        fast = x > fast ? x : one_pole_step_double(fast, x, release);
        slow = one_pole_step_double(slow, fast, fast > slow ? charge : fall);
        double remembered = share * slow;
        held_db[i] = (float)(fast > remembered ? fast : remembered);
    }
    memory->state.fast = fast;
    memory->state.slow = slow;
}
