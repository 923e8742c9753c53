/* SPDX-License-Identifier: ISC */
/* Meters as a view sees them, which looks some 25 times a second at what the last run() left. */
#include "contract/contract.h"

#include "signals.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { LOOK = 1024 }; /* frames between two looks; every run ends there at the latest */

typedef struct {
    size_t looks;
    float (*seen)[CONTRACT_MAX_PORTS]; /* [looks], by port */
} Watch;

static bool is_meter(const HostPlugin *plugin, const HostPort *port) {
    return port->role == HOST_METER && port != plugin->latency;
}

static void run_to(HostInstance *instance, const Stimulus *s, size_t at, size_t n,
                   float *const *out) {
    const float *in[CONTRACT_CHANNELS], *key[CONTRACT_CHANNELS];
    for (size_t c = 0; c < host_plugin(instance)->n_in; c++) {
        in[c] = s->in[c] + at;
        key[c] = s->key[c] ? s->key[c] + at : NULL;
    }
    host_run(instance, n, in, s->key[0] ? key : NULL, out);
}

/* Plays the stimulus in runs of at most `block`, or, if cuts is not 0, of random length up to
 * that. */
static bool watch(const Subject *subject, const Setting *setting, const Stimulus *s, Watch *w,
                  HostError *why) {
    HostInstance *instance = contract_instance(subject, setting, why);
    float *out[CONTRACT_CHANNELS];
    Random random = random_seeded(s->cuts);
    if (!instance)
        return false;
    for (size_t c = 0; c < CONTRACT_CHANNELS; c++)
        out[c] = contract_frames(LOOK);
    w->looks = s->frames / LOOK;
    w->seen = contract_memory(w->looks, sizeof *w->seen);
    for (size_t look = 0; look < w->looks; look++) {
        for (size_t done = 0; done < LOOK;) {
            size_t n = s->cuts ? random_below(&random, s->block + 1) : s->block;
            n = n < LOOK - done ? n : LOOK - done;
            run_to(instance, s, look * LOOK + done, n, out);
            done += n;
        }
        for (size_t i = 0; i < subject->plugin->n_ports; i++)
            w->seen[look][i] = host_get(instance, subject->plugin->ports[i].symbol);
    }
    host_free(instance);
    return true;
}

static bool same_meters(const Subject *subject, const Watch *a, const Watch *b, const char *setting,
                        HostError *why) {
    const HostPlugin *plugin = subject->plugin;
    for (size_t look = 0; look < a->looks; look++)
        for (size_t i = 0; i < plugin->n_ports; i++)
            if (is_meter(plugin, &plugin->ports[i]) && a->seen[look][i] != b->seen[look][i])
                return host_fail(
                    why, "%s: after %zu frames the meter '%s' is at %.9g or %.9g, by the blocks",
                    setting, (look + 1) * LOOK, plugin->ports[i].symbol, (double)a->seen[look][i],
                    (double)b->seen[look][i]);
    return true;
}

static bool any_cutting(const Subject *subject, HostError *why) {
    static const size_t blocks[] = {1024, 64, 1};
    Setting settings[CONTRACT_MAX_SETTINGS];
    size_t count = contract_settings(subject, settings);
    for (size_t i = 0; i < count; i++) {
        Stimulus stimulus = contract_stimulus(subject);
        Watch expected, got;
        stimulus.block = 300; /* at random */
        stimulus.cuts = contract_seed() + i;
        if (!watch(subject, &settings[i], &stimulus, &expected, why))
            return false;
        stimulus.cuts = 0;
        stimulus.block = blocks[i % 3];
        if (!watch(subject, &settings[i], &stimulus, &got, why) ||
            !same_meters(subject, &expected, &got, settings[i].name, why))
            return false;
    }
    return true;
}

/* Looked at after each run of 64: what falls by 12 dB a second, once in 256 frames, cannot be lower
 * by more than that. It is added up in floats below 100 dB, whose rounding is under 1e-5. */
static bool holds_reduction(const Subject *subject, HostError *why) {
    enum { BLOCK = 64, STEP = 256 };
    const double fall = 12.0 * STEP / subject->rate_hz + 1e-5;
    Setting settings[CONTRACT_MAX_SETTINGS];
    size_t count = contract_settings(subject, settings);
    float *out[CONTRACT_CHANNELS];
    for (size_t c = 0; c < CONTRACT_CHANNELS; c++)
        out[c] = contract_frames(BLOCK);
    for (size_t i = 0; i < count; i++) {
        Stimulus s = contract_stimulus(subject);
        HostInstance *instance = contract_instance(subject, &settings[i], why);
        if (!instance)
            return false;
        for (size_t at = 0, last = 0; at + BLOCK <= s.frames; at += BLOCK) {
            double before = (double)host_get(instance, "reduction");
            run_to(instance, &s, at, BLOCK, out);
            double now = (double)host_get(instance, "reduction");
            if (!(now >= before - fall) || (now < before && at > 0 && at - last < STEP && last > 0))
                return host_fail(why,
                                 "%s: the meter 'reduction' falls from %.3f to %.3f dB at frame "
                                 "%zu, faster than 12 dB "
                                 "a second",
                                 settings[i].name, before, now, at);
            last = now < before ? at : last;
        }
        host_free(instance);
    }
    return true;
}

const Promise contract_meters[] = {
    {"meters do not depend on how blocks are cut", any_cutting, true, false, NEEDS_NOTHING},
    {"the reduction shown falls slowly", holds_reduction, true, false, NEEDS_NOTHING},
    {.name = NULL},
};
