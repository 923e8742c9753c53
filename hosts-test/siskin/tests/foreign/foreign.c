/* SPDX-License-Identifier: ISC */
/* Plugins as strangers write them, for the tests of the offline program; never installed. They know
 * nothing of our shell.
 *
 * late         in, key (optional) -> out: out[t] = in[t - d] + key[t - d], with the latency d set
 * by a control and reported only once real frames have run. widen        mono -> stereo: left as it
 * came, right inverted. misbehave    mono: does what `fault` says after `after` frames. needy
 * requires a feature that no host has. */
#define _GNU_SOURCE
#include <lv2/core/lv2.h>

#include <math.h>
#include <signal.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define URI "urn:foreign:"

enum { MOST_LATE = 4096, MOST_PORTS = 8 };

typedef struct {
    float *port[MOST_PORTS];
    float ring[MOST_LATE + 1];
    size_t at;
    double seen; /* frames since activation */
} Foreign;

static LV2_Handle instantiate(const LV2_Descriptor *descriptor, double rate, const char *path,
                              const LV2_Feature *const *features) {
    (void)descriptor, (void)rate, (void)path, (void)features;
    return calloc(1, sizeof(Foreign));
}

static void connect_port(LV2_Handle instance, uint32_t port, void *data) {
    Foreign *self = instance;
    if (port < MOST_PORTS)
        self->port[port] = data;
}

static void activate(LV2_Handle instance) {
    Foreign *self = instance;
    memset(self->ring, 0, sizeof self->ring);
    self->at = 0;
    self->seen = 0.0;
}

static void cleanup(LV2_Handle instance) {
    free(instance);
}

enum { LATE_FRAMES, LATE_LATENCY, LATE_PEAK, LATE_IN, LATE_KEY, LATE_OUT };

static void run_late(LV2_Handle instance, uint32_t n) {
    Foreign *self = instance;
    size_t late = (size_t)*self->port[LATE_FRAMES];
    float peak = 0.0f;
    for (uint32_t i = 0; i < n; i++) {
        float key = self->port[LATE_KEY] ? self->port[LATE_KEY][i] : 0.0f;
        self->ring[self->at] = self->port[LATE_IN][i] + key;
        self->port[LATE_OUT][i] = self->ring[(self->at + MOST_LATE + 1 - late) % (MOST_LATE + 1)];
        self->at = (self->at + 1) % (MOST_LATE + 1);
        peak = fmaxf(peak, fabsf(self->port[LATE_OUT][i]));
    }
    *self->port[LATE_PEAK] = peak;
    if (n > 0)
        *self->port[LATE_LATENCY] = (float)late;
}

static void run_plain(LV2_Handle instance, uint32_t n) {
    Foreign *self = instance;
    if (n > 0)
        memmove(self->port[1], self->port[0], n * sizeof(float));
    self->seen += n;
}

static void run_widen(LV2_Handle instance, uint32_t n) {
    Foreign *self = instance;
    for (uint32_t i = 0; i < n; i++) {
        float in = self->port[0][i];
        self->port[1][i] = in;
        self->port[2][i] = -in;
    }
}

enum { BAD_FAULT, BAD_AFTER, BAD_LATENCY, BAD_IN, BAD_OUT };
enum {
    FAULT_NONE,
    FAULT_CRASH,
    FAULT_EXIT,
    FAULT_NAN,
    FAULT_LATENCY,
    FAULT_HUGE_LATENCY,
    FAULT_HANG
};

static void run_misbehave(LV2_Handle instance, uint32_t n) {
    Foreign *self = instance;
    int fault = (int)*self->port[BAD_FAULT];
    if (n > 0)
        memmove(self->port[BAD_OUT], self->port[BAD_IN], n * sizeof(float));
    self->seen += n;
    *self->port[BAD_LATENCY] = fault == FAULT_HUGE_LATENCY ? 1e12f : 0.0f;
    if (self->seen <= (double)*self->port[BAD_AFTER])
        return;
    if (fault == FAULT_CRASH)
        abort();
    if (fault == FAULT_EXIT)
        exit(0);
    if (fault == FAULT_NAN && n > 0)
        self->port[BAD_OUT][0] = NAN;
    if (fault == FAULT_HANG)
        for (;;)
            sleep(1);
    if (fault == FAULT_LATENCY)
        *self->port[BAD_LATENCY] = 7.0f;
}

/* ---- one that hangs in a phase of its life, each by a name of its own ---- */

static void hang(void) {
    sigset_t all;
    sigfillset(&all);
    sigprocmask(SIG_BLOCK, &all, NULL);
    for (;;)
        sleep(1);
}

static LV2_Handle instantiate_hanging(const LV2_Descriptor *descriptor, double rate,
                                      const char *path, const LV2_Feature *const *features) {
    (void)descriptor, (void)rate, (void)path, (void)features;
    hang();
    return NULL;
}

static void hang_at(LV2_Handle instance) {
    (void)instance;
    hang();
}

/* Not yet when a host asks for its latency. */
static void hang_late(LV2_Handle instance) {
    const Foreign *self = instance;
    if (self->seen > 20000.0)
        hang();
}

/* The copy lives on with all that was open. */
static void run_forking(LV2_Handle instance, uint32_t n) {
    Foreign *self = instance;
    if (n > 0 && self->seen == 0.0 && fork() == 0)
        hang();
    if (n > 0)
        memmove(self->port[1], self->port[0], n * sizeof(float));
    self->seen += n;
}

static const LV2_Descriptor descriptors[] = {
    {URI "hangs-instantiate", instantiate_hanging, connect_port, activate, run_forking, NULL,
     cleanup, NULL},
    {URI "hangs-activate", instantiate, connect_port, hang_at, run_forking, NULL, cleanup, NULL},
    {URI "hangs-deactivate", instantiate, connect_port, NULL, run_plain, hang_late, cleanup, NULL},
    {URI "hangs-cleanup", instantiate, connect_port, NULL, run_plain, NULL, hang_at, NULL},
    {URI "forks", instantiate, connect_port, NULL, run_forking, NULL, cleanup, NULL},
    {URI "late", instantiate, connect_port, activate, run_late, NULL, cleanup, NULL},
    {URI "widen", instantiate, connect_port, activate, run_widen, NULL, cleanup, NULL},
    {URI "misbehave", instantiate, connect_port, activate, run_misbehave, NULL, cleanup, NULL},
    {URI "needy", instantiate, connect_port, activate, run_widen, NULL, cleanup, NULL},
};

LV2_SYMBOL_EXPORT const LV2_Descriptor *lv2_descriptor(uint32_t index) {
    return index < sizeof descriptors / sizeof *descriptors ? &descriptors[index] : NULL;
}
