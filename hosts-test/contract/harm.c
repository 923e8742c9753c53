/* SPDX-License-Identifier: ISC */
/* What hosts and signals may do to a plugin, and what a plugin may not do to them: numbers that
 * are no audio, ports left unconnected, the processor's floating-point mode, and everything that
 * has no place in a real-time thread. */
#include "contract/contract.h"

#include "basic/flush_zero.h"
#include "contract/guard.h"
#include "signals.h"

#include <fcntl.h>
#include <float.h>
#include <lilv/lilv.h>
#include <link.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/stat.h>
#include <unistd.h>

/* ---- audio that is none ---- */

static const float BAD[] = {NAN, -NAN, INFINITY, -INFINITY, 1e30f, -1e30f, FLT_MAX, -FLT_MAX};
enum { N_BAD = sizeof BAD / sizeof *BAD };

/* Copies `audio` with bad numbers in places: each alone, and 50 ms full of all. `cleaned` gets the
 * same with silence there. */
static void spoil(const float *audio, size_t frames, double rate_hz, float *spoilt,
                  float *cleaned) {
    size_t burst = (size_t)(0.05 * rate_hz), apart = frames / (N_BAD + 1);
    memcpy(spoilt, audio, frames * sizeof *audio);
    memcpy(cleaned, audio, frames * sizeof *audio);
    for (size_t i = 0; i < N_BAD; i++) {
        size_t single = i * apart + apart / 3, run = i * apart + apart / 2;
        spoilt[single] = BAD[i];
        cleaned[single] = 0.0f;
        for (size_t t = run; t < run + burst; t++) {
            spoilt[t] = BAD[(i + t) % N_BAD];
            cleaned[t] = 0.0f;
        }
    }
}

/* Bad numbers count as silence. So nothing of them can stay: the output is finite, and from the
 * first frame on the one of an instance that never met them. */
static bool bad_audio_is_silence(const Subject *subject, HostError *why) {
    Setting settings[CONTRACT_MAX_SETTINGS];
    size_t count = contract_settings(subject, settings);
    Stimulus bad = contract_stimulus(subject), clean = bad;
    for (size_t c = 0; c < subject->plugin->n_in; c++) {
        float *spoilt = contract_frames(bad.frames), *cleaned = contract_frames(bad.frames);
        spoil(bad.in[c], bad.frames, subject->rate_hz, spoilt, cleaned);
        bad.in[c] = spoilt;
        clean.in[c] = cleaned;
        if (!bad.key[c])
            continue;
        spoilt = contract_frames(bad.frames), cleaned = contract_frames(bad.frames);
        spoil(bad.key[c], bad.frames, subject->rate_hz, spoilt, cleaned);
        bad.key[c] = spoilt;
        clean.key[c] = cleaned;
    }
    for (size_t i = 0; i < count; i++) {
        Response a, b;
        if (!contract_play_new(subject, &settings[i], &bad, &a, why) ||
            !contract_play_new(subject, &settings[i], &clean, &b, why))
            return false;
        if (!a.output_finite)
            return host_fail(why, "%s: the output is not finite", settings[i].name);
        if (a.meter_outside)
            return host_fail(why, "%s: the meter '%s' leaves its range", settings[i].name,
                             a.meter_outside->symbol);
        if (!contract_same(subject, &b, &a, bad.frames, why,
                           "%s: silence where the input was no audio", settings[i].name))
            return false;
    }
    return true;
}

/* Half a second at the loudest that still is audio, +60 dBFS, as when a plugin before this one
 * fails. Whatever follows levels may need a while to come back, but must: after 20 s of singing
 * the output has to be within -20 dB of the output of an instance that was spared. Not closer:
 * where a level that is still a hair off decides what an event is, one of them may differ. */
static bool recovers_from_loud_input(const Subject *subject, HostError *why) {
    Setting settings[CONTRACT_MAX_SETTINGS];
    contract_settings(subject, settings);
    Stimulus take = contract_stimulus(subject), loud = take;
    loud.frames = (size_t)(0.5 * subject->rate_hz);
    Random random = random_seeded(contract_seed() + 5);
    for (size_t c = 0; c < subject->plugin->n_in; c++) {
        float *noise = contract_frames(loud.frames);
        for (size_t t = 0; t < loud.frames; t++)
            noise[t] = random_unit(&random) < 0.5 ? -1000.0f : 1000.0f;
        loud.in[c] = noise;
        if (loud.key[c])
            loud.key[c] = noise;
    }
    HostInstance *hit = contract_instance(subject, NULL, why);
    HostInstance *spared = contract_instance(subject, NULL, why);
    if (!hit || !spared)
        return false;
    Response r = contract_play(hit, &loud);
    Stimulus quiet = take; /* as long, so that what goes in hops goes on in step */
    quiet.frames = loud.frames;
    contract_play(spared, &quiet);
    if (!r.output_finite || r.meter_outside)
        return host_fail(why, "at +60 dBFS an output or a meter is not finite or leaves its range");
    Response a = {.latency = 0}, b = {.latency = 0};
    size_t takes = (size_t)ceil(20.0 * subject->rate_hz / (double)take.frames);
    for (size_t i = 0; i < takes; i++) {
        a = contract_play(hit, &take);
        b = contract_play(spared, &take);
    }
    host_free(hit);
    host_free(spared);
    for (size_t c = 0; c < subject->plugin->n_out; c++) {
        double off = signals_difference_db(a.out[c], b.out[c], take.frames) -
                     signals_rms_db(b.out[c], take.frames);
        if (!(off <= -20.0))
            return host_fail(why,
                             "20 s after a burst at +60 dBFS the output still differs by %.1f dB "
                             "of its level",
                             off);
    }
    return true;
}

/* Everything bad at once and then a reset: as new, to the bit. */
static bool reset_heals(const Subject *subject, HostError *why) {
    Stimulus take = contract_stimulus(subject), bad = take;
    float *worst = contract_frames(bad.frames);
    for (size_t t = 0; t < bad.frames; t++)
        worst[t] = t % 3 == 0 ? BAD[t / 3 % N_BAD] : t % 3 == 1 ? 1000.0f : -1000.0f;
    for (size_t c = 0; c < subject->plugin->n_in; c++) {
        bad.in[c] = worst;
        bad.key[c] = bad.key[c] ? worst : NULL;
    }
    Response expected;
    if (!contract_play_new(subject, NULL, &take, &expected, why))
        return false;
    HostInstance *instance = contract_instance(subject, NULL, why);
    if (!instance)
        return false;
    contract_play(instance, &bad);
    host_deactivate(instance);
    host_activate(instance);
    Response got = contract_play(instance, &take);
    host_free(instance);
    return contract_same(subject, &expected, &got, take.frames, why, "bad input, then a reset");
}

/* ---- controls that are none ---- */

/* NaN means the default; what lies outside means the bound it lies beyond. */
static const struct {
    float given[2];
    int meant; /* -1 the lowest, 0 the default, 1 the highest */
} BAD_CONTROLS[] = {
    {{NAN, -NAN}, 0},
    {{INFINITY, 1e30f}, 1},
    {{-INFINITY, -1e30f}, -1},
};

static bool clamps(const Subject *subject, const HostPort *port, HostError *why) {
    Subject half = *subject;
    half.thorough = false; /* half the take: there are seven runs for each control */
    Stimulus stimulus = contract_stimulus(&half);
    stimulus.n_events = 1;
    for (size_t i = 0; i < sizeof BAD_CONTROLS / sizeof *BAD_CONTROLS; i++) {
        int meant = BAD_CONTROLS[i].meant;
        float value = meant < 0 ? port->minimum : meant > 0 ? port->maximum : port->initial;
        Event good = {0, port->index, value};
        Response expected, got;
        stimulus.events = &good;
        if (!contract_play_new(subject, NULL, &stimulus, &expected, why))
            return false;
        for (size_t k = 0; k < 2; k++) {
            Event bad = {0, port->index, BAD_CONTROLS[i].given[k]};
            stimulus.events = &bad;
            if (!contract_play_new(subject, NULL, &stimulus, &got, why))
                return false;
            if (got.latency != expected.latency)
                return host_fail(why, "%s = %g: latency %zu, not %zu as for %g", port->symbol,
                                 (double)bad.value, got.latency, expected.latency, (double)value);
            if (!contract_same(subject, &expected, &got, stimulus.frames, why,
                               "%s = %g, which means %g", port->symbol, (double)bad.value,
                               (double)value))
                return false;
        }
    }
    return true;
}

static bool bad_controls_are_clamped(const Subject *subject, HostError *why) {
    const HostPlugin *plugin = subject->plugin;
    for (size_t i = 0; i < plugin->n_ports; i++)
        if (plugin->ports[i].role == HOST_CONTROL && !clamps(subject, &plugin->ports[i], why))
            return false;
    return true;
}

/* Some hosts begin with every control at 0, whatever the default. */
static bool all_controls_zero(const Subject *subject, HostError *why) {
    const HostPlugin *plugin = subject->plugin;
    Stimulus stimulus = contract_stimulus(subject);
    Event *events = contract_memory(2 * plugin->n_ports + 1, sizeof *events);
    for (size_t i = 0; i < plugin->n_ports; i++)
        if (plugin->ports[i].role == HOST_CONTROL)
            events[stimulus.n_events++] = (Event){0, (uint32_t)i, 0.0f};
    if (plugin->enabled)
        events[stimulus.n_events++] = (Event){stimulus.frames / 2, plugin->enabled->index, 1.0f};
    stimulus.events = events;
    Response r;
    if (!contract_play_new(subject, NULL, &stimulus, &r, why))
        return false;
    double peak = contract_peak((const float *const *)r.out, plugin->n_out, stimulus.frames);
    double in = contract_peak(stimulus.in, plugin->n_in, stimulus.frames);
    return (r.output_finite && !r.meter_outside && peak <= contract_headroom(subject) * in) ||
           host_fail(why, "controls all 0: peak %g in, %g out", in, peak);
}

/* ---- ports that are not there ---- */

/* Where a port of the stimulus is at frame `at`; *control for those that are no audio. */
static const float *place(const HostPort *port, const Subject *subject, const Stimulus *stimulus,
                          size_t at) {
    const HostPlugin *plugin = subject->plugin;
    for (size_t c = 0; c < plugin->n_in; c++) {
        if (port->index == plugin->in[c])
            return stimulus->in[c] + at;
        if (plugin->n_key && port->index == plugin->key[c])
            return stimulus->key[c] + at;
    }
    return NULL;
}

static float *place_out(const HostPort *port, const Subject *subject, const Response *r,
                        size_t at) {
    for (size_t c = 0; c < subject->plugin->n_out; c++)
        if (port->index == subject->plugin->out[c])
            return r->out[c] + at;
    return NULL;
}

static void connect_all(LilvInstance *lilv, const Subject *subject, const Stimulus *stimulus,
                        size_t at, bool (*missing)(const HostPort *, size_t), size_t which,
                        Response *r) {
    for (uint32_t i = 0; i < subject->plugin->n_ports; i++) {
        const HostPort *port = &subject->plugin->ports[i];
        union {
            const float *from;
            void *to;
        } pointer = {.from = place(port, subject, stimulus, at)};
        if (!pointer.to)
            pointer.to = place_out(port, subject, r, at);
        if (!pointer.to)
            pointer.to = &r->meter[i];
        lilv_instance_connect_port(lilv, i, missing(port, which) ? NULL : pointer.to);
    }
}

/* Runs without connecting the ports for which `missing` holds. */
static bool play_without(const Subject *subject, bool (*missing)(const HostPort *, size_t),
                         size_t which, Response *r, HostError *why) {
    Stimulus stimulus = contract_stimulus(subject);
    HostInstance *instance = contract_instance(subject, NULL, why);
    if (!instance)
        return false;
    for (size_t c = 0; c < subject->plugin->n_out; c++)
        r->out[c] = contract_frames(stimulus.frames);
    for (size_t i = 0; i < subject->plugin->n_ports; i++)
        r->meter[i] = subject->plugin->ports[i].initial;
    for (size_t at = 0; at < stimulus.frames; at += CONTRACT_BLOCK) {
        size_t left = stimulus.frames - at;
        connect_all(host_lilv(instance), subject, &stimulus, at, missing, which, r);
        lilv_instance_run(host_lilv(instance),
                          (uint32_t)(left < CONTRACT_BLOCK ? left : CONTRACT_BLOCK));
    }
    host_free(instance);
    return true;
}

static bool is_port(const HostPort *port, size_t which) {
    return port->index == which;
}

static bool is_any(const HostPort *port, size_t which) {
    (void)which;
    return port->role != HOST_UNUSED;
}

static bool is_no_audio(const HostPort *port, size_t which) {
    (void)which;
    return port->role == HOST_CONTROL || port->role == HOST_METER;
}

/* Hosts leave ports unconnected, optional or not. A control that is not there has its default, a
 * meter goes nowhere, an input hears silence; the other outputs go on. */
static bool ports_may_be_missing(const Subject *subject, HostError *why) {
    const HostPlugin *plugin = subject->plugin;
    Stimulus stimulus = contract_stimulus(subject);
    Response all = {.latency = 0}, r = {.latency = 0};
    if (!play_without(subject, is_port, SIZE_MAX, &all, why))
        return false;
    for (size_t i = 0; i < plugin->n_ports; i++) {
        HostRole role = plugin->ports[i].role;
        if (!play_without(subject, is_port, i, &r, why))
            return false;
        if ((role == HOST_CONTROL || role == HOST_METER) &&
            !contract_same(subject, &all, &r, stimulus.frames, why, "without the port '%s'",
                           plugin->ports[i].symbol))
            return false;
        for (size_t c = 0; c < plugin->n_out; c++) {
            if (role == HOST_OUT && plugin->out[c] != i &&
                !signals_same_bits(all.out[c], r.out[c], stimulus.frames))
                return host_fail(why, "without the port '%s' the other output changes",
                                 plugin->ports[i].symbol);
            if (!signals_all_finite(r.out[c], stimulus.frames))
                return host_fail(why, "without the port '%s' the output is not finite",
                                 plugin->ports[i].symbol);
        }
    }
    if (!play_without(subject, is_no_audio, 0, &r, why) ||
        !contract_same(subject, &all, &r, stimulus.frames, why, "without controls and meters"))
        return false;
    return play_without(subject, is_any, 0, &r, why);
}

/* Runs of no frames may come at any time, also before buffers are connected, and change nothing
 * but the meters and the latency. That they do not change the sound is part of the random cuts. */
static bool no_frames_at_all(const Subject *subject, HostError *why) {
    const HostPlugin *plugin = subject->plugin;
    HostInstance *instance = contract_instance(subject, NULL, why);
    if (!instance)
        return false;
    float *untouched = contract_frames(1);
    *untouched = 42.0f;
    LilvInstance *lilv = host_lilv(instance);
    for (uint32_t i = 0; i < plugin->n_ports; i++)
        if (plugin->ports[i].role != HOST_CONTROL && plugin->ports[i].role != HOST_METER)
            lilv_instance_connect_port(lilv, i, NULL);
    lilv_instance_run(lilv, 0);
    for (uint32_t i = 0; i < plugin->n_ports; i++)
        if (plugin->ports[i].role != HOST_CONTROL && plugin->ports[i].role != HOST_METER)
            lilv_instance_connect_port(lilv, i, untouched);
    lilv_instance_run(lilv, 0);
    host_free(instance);
    return *untouched == 42.0f || host_fail(why, "a run of no frames writes to a buffer");
}

/* ---- the floating-point mode ---- */

#if defined(__SSE__)
static uint64_t mode_get(void) {
    return _mm_getcsr();
}
static void mode_set(uint64_t mode) {
    _mm_setcsr((unsigned)mode);
}
/* The default; all rounding upwards; flush-to-zero on; exceptions not masked, with every flag
 * clear; the default with every flag set. */
static const uint64_t MODES[] = {0x1f80, 0x5f80, 0x9fc0, 0x0000, 0x1fbf};
#elif defined(__aarch64__)
static uint64_t mode_get(void) {
    uint64_t mode;
    __asm__ volatile("mrs %0, fpcr" : "=r"(mode));
    return mode;
}
static void mode_set(uint64_t mode) {
    __asm__ volatile("msr fpcr, %0" : : "r"(mode));
}
/* The default; all rounding upwards, or downwards; flush-to-zero on; one NaN for all. (Arm
 * Architecture Reference Manual, FPCR: RMode bits 23:22, FZ 24, DN 25. Traps are optional.) */
static const uint64_t MODES[] = {0, 1u << 22, 2u << 22, 1u << 24, 1u << 25};
#else
static uint64_t mode_get(void) {
    return 0;
}
static void mode_set(uint64_t mode) {
    (void)mode;
}
static const uint64_t MODES[] = {0};
#endif

/* The host's mode is left as found and does not reach the plugin. Only run() is watched: it alone
 * is called in threads whose mode belongs to somebody else. */
static bool mode_kept(const Subject *subject, HostError *why) {
    const HostPlugin *plugin = subject->plugin;
    Stimulus stimulus = contract_stimulus(subject);
    Response expected;
    if (!contract_play_new(subject, NULL, &stimulus, &expected, why))
        return false;
    for (size_t m = 0; m < sizeof MODES / sizeof *MODES; m++) {
        HostInstance *instance = contract_instance(subject, NULL, why);
        if (!instance)
            return false;
        Response r = {.latency = 0};
        for (size_t c = 0; c < plugin->n_out; c++)
            r.out[c] = contract_frames(stimulus.frames);
        uint64_t before = mode_get();
        mode_set(MODES[m]);
        host_run(instance, stimulus.frames, stimulus.in, stimulus.key[0] ? stimulus.key : NULL,
                 r.out);
        uint64_t after = mode_get();
        mode_set(before);
        host_free(instance);
        if (after != MODES[m])
            return host_fail(why, "the floating-point mode was %#jx and is left as %#jx",
                             (uintmax_t)MODES[m], (uintmax_t)after);
        if (!contract_same(subject, &expected, &r, stimulus.frames, why,
                           "with the host's floating-point mode at %#jx", (uintmax_t)MODES[m]))
            return false;
    }
    return true;
}

/* ---- what has no place in a real-time thread ---- */

typedef struct {
    HostInstance *instance;
    const HostPlugin *plugin;
    Stimulus stimulus;
    Setting *settings;
    size_t n_settings;
    float *out[CONTRACT_CHANNELS];
    float *bad[CONTRACT_CHANNELS];
} Workout;

static Workout *new_workout(const Subject *subject, HostError *why) {
    Workout *w = contract_memory(1, sizeof *w);
    w->plugin = subject->plugin;
    w->stimulus = contract_stimulus(subject);
    w->settings = contract_memory(CONTRACT_MAX_SETTINGS, sizeof *w->settings);
    w->n_settings = contract_settings(subject, w->settings);
    w->instance = contract_instance(subject, NULL, why);
    for (size_t c = 0; c < CONTRACT_CHANNELS; c++) {
        w->out[c] = contract_frames(w->stimulus.frames);
        w->bad[c] = contract_frames(w->stimulus.frames);
        for (size_t t = 0; t < w->stimulus.frames; t++)
            w->bad[c][t] = BAD[t % N_BAD];
    }
    return w->instance ? w : NULL;
}

static void run_all(Workout *w, const float *const *in, const float *const *key, size_t block) {
    const float *ins[CONTRACT_CHANNELS], *keys[CONTRACT_CHANNELS];
    float *outs[CONTRACT_CHANNELS];
    for (size_t at = 0; at < w->stimulus.frames; at += block) {
        for (size_t c = 0; c < w->plugin->n_in; c++) {
            ins[c] = in[c] + at;
            keys[c] = key ? key[c] + at : NULL;
            outs[c] = w->out[c] + at;
        }
        size_t left = w->stimulus.frames - at;
        host_run(w->instance, left < block ? left : block, ins, key ? keys : NULL, outs);
    }
}

/* Everything that run() may meet: every setting moved to while running, both switches, blocks of
 * several lengths, bad audio, no key, no frames. Takes no memory and calls no system itself. */
static void work_out(void *user) {
    Workout *w = user;
    static const size_t blocks[] = {64, 1, 8192, 999};
    const float *const *key = w->stimulus.key[0] ? w->stimulus.key : NULL;
    for (size_t i = 0; i < w->n_settings; i++) {
        contract_apply(w->instance, &w->settings[i]);
        host_set(w->instance, "audition", (float)(i % 2), NULL);
        host_set(w->instance, "enabled", i % 3 == 2 ? 0.0f : 1.0f, NULL);
        host_run(w->instance, 0, NULL, NULL, NULL);
        run_all(w, w->stimulus.in, i % 4 == 3 ? NULL : key, blocks[i % 4]);
    }
    host_set(w->instance, "enabled", 1.0f, NULL);
    run_all(w, (const float *const *)w->bad, key ? (const float *const *)w->bad : NULL, 512);
}

static bool takes_no_memory_or_lock(const Subject *subject, HostError *why) {
    Workout *w = new_workout(subject, why);
    if (!w)
        return false;
    guard_arm();
    work_out(w);
    const char *name = guard_disarm();
    return !name || host_fail(why, "run() calls %s()", name);
}

static bool calls_no_system(const Subject *subject, HostError *why) {
    Workout *w = new_workout(subject, why);
    int call = 0;
    if (!w)
        return false;
    switch (guard_system_calls(work_out, w, &call)) {
    case GUARD_NO_CALL:
        return true;
    case GUARD_CALLED:
        return host_fail(why, "run() makes system call %d", call);
    case GUARD_CRASHED:
        return host_fail(why, "run() crashed while system calls were watched");
    case GUARD_UNAVAILABLE:
        break;
    }
    return host_fail(why, "there are no seccomp filters here");
}

/* ---- what the library is linked with ---- */

/* All that a plugin may ask of the system's libraries: memory when it is made, mathematics,
 * copying, and what compilers add. Nothing here waits, prints, reads a clock or keeps a state.
 * That memory is not taken in run() is proved elsewhere. */
static bool may_import(const char *name) {
    static const char *const whole[] = {
        "malloc", "memcmp",  "strcmp", "calloc",    "free",  "aligned_alloc", "posix_memalign",
        "memcpy", "memmove", "memset", "acos",      "asin",  "atan",          "atan2",
        "cbrt",   "ceil",    "cos",    "cosh",      "exp",   "exp2",          "expm1",
        "fabs",   "floor",   "fma",    "fmax",      "fmin",  "fmod",          "frexp",
        "hypot",  "ldexp",   "log",    "log10",     "log1p", "log2",          "lrint",
        "lround", "modf",    "pow",    "remainder", "rint",  "round",         "sin",
        "sincos", "sinh",    "sqrt",   "tan",       "tanh",  "trunc",         "nearbyint",
    };
    /* weak entries of the compiler's start files, stack protection (its guard is a variable on
     * arm64, and a word beside the thread's elsewhere), checked copies, and the watch on undefined
     * behaviour, which does not replace what the guard replaces */
    static const char *const fronts[] = {
        "_ITM_",        "__cxa_finalize", "__gmon_start__", "__stack_chk_fail", "__stack_chk_guard",
        "__memcpy_chk", "__memmove_chk",  "__memset_chk",   "__ubsan_handle_"};
    for (size_t i = 0; i < sizeof fronts / sizeof *fronts; i++)
        if (strncmp(name, fronts[i], strlen(fronts[i])) == 0)
            return true;
    size_t length = strlen(name);
    for (size_t i = 0; i < sizeof whole / sizeof *whole; i++) {
        size_t n = strlen(whole[i]);
        if (strncmp(name, whole[i], n) == 0 && (length == n || (length == n + 1 && name[n] == 'f')))
            return true;
    }
    return false;
}

static bool look_at_symbol(const ElfW(Sym) * symbol, const char *names, bool *entry,
                           HostError *why) {
    const char *name = names + symbol->st_name;
    if (symbol->st_name == 0)
        return true;
    if (symbol->st_shndx == SHN_UNDEF)
        return may_import(name) || host_fail(why, "the library uses %s()", name);
    if (strcmp(name, "lv2_descriptor") != 0)
        return host_fail(why, "the library exports '%s' beside lv2_descriptor", name);
    *entry = true;
    return true;
}

static bool look_at_symbols(const unsigned char *file, size_t size, HostError *why) {
    const ElfW(Ehdr) *header = (const void *)file;
    if (size < sizeof *header || memcmp(header->e_ident, ELFMAG, SELFMAG) != 0 ||
        header->e_ident[EI_CLASS] != (sizeof(void *) == 8 ? ELFCLASS64 : ELFCLASS32))
        return host_fail(why, "the library is not an ELF file of this word size");
    const ElfW(Shdr) *sections = (const void *)(file + header->e_shoff);
    bool entry = false;
    for (size_t i = 0; i < header->e_shnum; i++) {
        if (sections[i].sh_type != SHT_DYNSYM)
            continue;
        const ElfW(Sym) *symbols = (const void *)(file + sections[i].sh_offset);
        const char *names = (const void *)(file + sections[sections[i].sh_link].sh_offset);
        for (size_t s = 0; s < sections[i].sh_size / sizeof *symbols; s++)
            if (!look_at_symbol(&symbols[s], names, &entry, why))
                return false;
    }
    return entry || host_fail(why, "the library does not export lv2_descriptor");
}

static bool library_is_plain(const Subject *subject, HostError *why) {
    const LilvNode *uri = lilv_plugin_get_library_uri(subject->plugin->lilv);
    char *path = lilv_file_uri_parse(lilv_node_as_uri(uri), NULL);
    int fd = open(path, O_RDONLY | O_CLOEXEC);
    struct stat status;
    if (fd < 0 || fstat(fd, &status) != 0)
        return host_fail(why, "cannot read %s", path);
    lilv_free(path);
    void *file = mmap(NULL, (size_t)status.st_size, PROT_READ, MAP_PRIVATE, fd, 0);
    close(fd);
    if (file == MAP_FAILED)
        return host_fail(why, "cannot read the library");
    bool plain = look_at_symbols(file, (size_t)status.st_size, why);
    munmap(file, (size_t)status.st_size);
    return plain;
}

const Promise contract_harm[] = {
    {"what is no audio counts as silence", bad_audio_is_silence, true, false, NEEDS_NOTHING},
    {"it recovers from input at +60 dBFS", recovers_from_loud_input, false, false, NEEDS_NOTHING},
    {"a reset heals everything", reset_heals, true, false, NEEDS_NOTHING},
    {"controls outside their range are clamped", bad_controls_are_clamped, false, false,
     NEEDS_NOTHING},
    {"controls may all be 0", all_controls_zero, true, false, NEEDS_NOTHING},
    {"ports may be unconnected", ports_may_be_missing, false, false, NEEDS_NOTHING},
    {"a run may have no frames", no_frames_at_all, true, false, NEEDS_NOTHING},
    {"the floating-point mode is left as found", mode_kept, false, false, NEEDS_NOTHING},
    {"run() takes no memory and no lock", takes_no_memory_or_lock, true, false, NEEDS_GUARD},
    {"run() makes no system call", calls_no_system, true, false, NEEDS_FILTER},
    {"the library uses nothing that could wait", library_is_plain, false, false, NEEDS_GUARD},
    {.name = NULL},
};
