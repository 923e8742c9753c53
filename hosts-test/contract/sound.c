/* SPDX-License-Identifier: ISC */
/* The output depends on the input and the controls, and on nothing else: not on how the host cuts
 * its blocks, where it keeps its buffers, what ran before a reset, what memory held, or what other
 * instances do. All comparisons here are of bits. */
#include "contract/contract.h"

#include "contract/guard.h"
#include "signals.h"

#include <math.h>
#include <pthread.h>
#include <stdlib.h>
#include <string.h>

/* ---- block cutting ---- */

/* The pairs are those in which a workstation was seen to split its blocks around a loop. */
static const struct {
    size_t block, other;
    bool random;
} CUTS[] = {{1, 0, false},   {37, 0, false},   {8192, 0, false}, {700, 0, true},
            {52, 12, false}, {960, 64, false}, {1000, 24, false}};

enum { N_CUTS = sizeof CUTS / sizeof *CUTS, FIRST_CUTS = 4 };

/* turn: which two of the cuts are tried; SIZE_MAX: all of them. */
static bool same_for_cuts(const Subject *subject, const Setting *setting, Stimulus stimulus,
                          size_t turn, const char *what, HostError *why) {
    Response expected, got;
    if (!contract_play_new(subject, setting, &stimulus, &expected, why))
        return false;
    size_t cuts = subject->thorough ? N_CUTS : FIRST_CUTS;
    for (size_t i = 0; i < cuts; i++) {
        if (turn != SIZE_MAX && i != turn % cuts && i != (turn + 3) % cuts)
            continue;
        stimulus.block = CUTS[i].block;
        stimulus.other = CUTS[i].other;
        stimulus.cuts = CUTS[i].random ? contract_seed() + i : 0;
        if (!contract_play_new(subject, setting, &stimulus, &got, why) ||
            !contract_same(subject, &expected, &got, stimulus.frames, why,
                           "%s, %s: blocks of %zu%s and %zu against 512", what, setting->name,
                           CUTS[i].block, CUTS[i].random ? " at most, at random" : "",
                           CUTS[i].other))
            return false;
    }
    return true;
}

/* All cuts at the default, two in turn at the others. */
static bool any_cutting(const Subject *subject, HostError *why) {
    Setting settings[CONTRACT_MAX_SETTINGS];
    size_t count = contract_settings(subject, settings);
    for (size_t i = 0; i < count; i++)
        if (!same_for_cuts(subject, &settings[i], contract_stimulus(subject),
                           i == 0 || contract_asks_all() ? SIZE_MAX : i, "steady", why))
            return false;
    return true;
}

static float random_value(const HostPort *port, Random *random) {
    double value = random_range(random, (double)port->minimum, (double)port->maximum);
    return (float)(port->integer || port->toggled ? rint(value) : value);
}

/* One random control, enabled and audition included, moves to a random place every 1000 frames or
 * so, at frames that are no multiples of anything. */
static size_t random_moves(const Subject *subject, size_t frames, Event *events, size_t most) {
    const HostPlugin *plugin = subject->plugin;
    Random random = random_seeded(contract_seed() + 77);
    size_t count = 0;
    for (size_t at = random_below(&random, 2000); at < frames && count < most;) {
        uint32_t port = (uint32_t)random_below(&random, plugin->n_ports);
        if (plugin->ports[port].role != HOST_CONTROL)
            continue;
        events[count++] = (Event){at, port, random_value(&plugin->ports[port], &random)};
        at += 1 + random_below(&random, 2000);
    }
    return count;
}

static bool any_cutting_while_controls_move(const Subject *subject, HostError *why) {
    enum { MOST = 1024 };
    Event *events = contract_memory(MOST, sizeof *events);
    Setting settings[CONTRACT_MAX_SETTINGS];
    contract_settings(subject, settings);
    Stimulus stimulus = contract_stimulus(subject);
    stimulus.events = events;
    stimulus.n_events = random_moves(subject, stimulus.frames, events, MOST);
    return same_for_cuts(subject, &settings[0], stimulus, SIZE_MAX, "controls moving", why);
}

/* ---- buffers ---- */

static bool shared_buffers(const Subject *subject, HostError *why) {
    Setting settings[CONTRACT_MAX_SETTINGS];
    size_t count = contract_settings(subject, settings);
    static const char *const names[] = {[ALIAS_IN_OUT] = "outputs on their inputs",
                                        [ALIAS_CROSSED] = "left output on right input",
                                        [ALIAS_KEY_OUT] = "outputs on the keys"};
    for (size_t i = 0; i < count; i++) {
        Response expected, got;
        Stimulus stimulus = contract_stimulus(subject);
        if (!contract_play_new(subject, &settings[i], &stimulus, &expected, why))
            return false;
        for (Alias alias = ALIAS_IN_OUT; alias <= ALIAS_KEY_OUT; alias++) {
            stimulus.alias = alias;
            if (!contract_play_new(subject, &settings[i], &stimulus, &got, why) ||
                !contract_same(subject, &expected, &got, stimulus.frames, why, "%s, %s",
                               settings[i].name, names[alias]))
                return false;
        }
    }
    return true;
}

/* Some hosts begin so. Every input hears the same; the output written last is what is left. */
static bool one_buffer_for_all(const Subject *subject, HostError *why) {
    Response expected, got;
    Stimulus stimulus = contract_stimulus(subject);
    for (size_t c = 0; c < subject->plugin->n_in; c++) {
        stimulus.in[c] = stimulus.in[0];
        stimulus.key[c] = stimulus.key[c] ? stimulus.in[0] : NULL;
    }
    if (!contract_play_new(subject, NULL, &stimulus, &expected, why))
        return false;
    stimulus.alias = ALIAS_ALL;
    if (!contract_play_new(subject, NULL, &stimulus, &got, why))
        return false;
    size_t last = subject->plugin->n_out - 1;
    if (signals_same_bits(got.out[0], expected.out[0], stimulus.frames) ||
        signals_same_bits(got.out[0], expected.out[last], stimulus.frames))
        return true;
    size_t t = signals_first_difference(got.out[0], expected.out[0], stimulus.frames);
    return host_fail(why, "all ports on one buffer: frame %zu is %.9g instead of %.9g", t,
                     (double)got.out[0][t], (double)expected.out[0][t]);
}

static bool only_outputs_written(const Subject *subject, HostError *why) {
    static const size_t blocks[] = {1, 37, 8192};
    for (size_t i = 0; i < sizeof blocks / sizeof *blocks; i++) {
        Response r;
        Stimulus stimulus = contract_stimulus(subject);
        stimulus.block = blocks[i];
        if (!contract_play_new(subject, NULL, &stimulus, &r, why))
            return false;
        if (!r.input_kept)
            return host_fail(why, "blocks of %zu: it writes to an input", blocks[i]);
        if (!r.output_whole)
            return host_fail(why,
                             "blocks of %zu: it leaves output frames unwritten, or writes "
                             "past the last",
                             blocks[i]);
    }
    return true;
}

/* ---- history ---- */

/* Plays two takes' worth, deactivates, activates, and plays again. `first` may hold anything. */
static bool as_new_after(const Subject *subject, const Stimulus *first, const Setting *setting,
                         HostError *why, const char *what) {
    Stimulus stimulus = contract_stimulus(subject);
    Response expected;
    if (!contract_play_new(subject, setting, &stimulus, &expected, why))
        return false;
    HostInstance *instance = contract_instance(subject, setting, why);
    if (!instance)
        return false;
    contract_play(instance, first);
    host_deactivate(instance);
    contract_apply(instance, setting);
    host_activate(instance);
    Response got = contract_play(instance, &stimulus);
    host_free(instance);
    if (!contract_same(subject, &expected, &got, stimulus.frames, why, "%s, %s", setting->name,
                       what))
        return false;
    for (size_t i = 0; i < subject->plugin->n_ports; i++)
        if (got.meter[i] != expected.meter[i])
            return host_fail(why, "%s, %s: the meter '%s' ends at %g instead of %g", setting->name,
                             what, subject->plugin->ports[i].symbol, (double)got.meter[i],
                             (double)expected.meter[i]);
    return true;
}

static bool as_new_when_activated(const Subject *subject, HostError *why) {
    enum { MOST = 1024 };
    Event *events = contract_memory(MOST, sizeof *events);
    Setting settings[CONTRACT_MAX_SETTINGS];
    size_t count = contract_settings(subject, settings);
    for (size_t i = 0; i < count; i++) {
        Stimulus whole = contract_stimulus(subject);
        if (!as_new_after(subject, &whole, &settings[i], why, "activated again after a take"))
            return false;
        Stimulus part = whole; /* stopped within whatever goes in hops */
        part.frames = part.frames * 2 / 3 + 29;
        if (!as_new_after(subject, &part, &settings[i], why, "activated again within a phrase"))
            return false;
    }
    Stimulus moved = contract_stimulus(subject);
    moved.events = events;
    moved.n_events = random_moves(subject, moved.frames, events, MOST);
    /* enabled and audition are the shell's: back to what the settings mean */
    for (size_t i = 0; i < moved.n_events; i++)
        if (!contract_own_control(subject->plugin, &subject->plugin->ports[events[i].port]))
            events[i].value = subject->plugin->ports[events[i].port].initial;
    return as_new_after(subject, &moved, &settings[0], why, "activated again after controls moved");
}

static bool memory_does_not_matter(const Subject *subject, HostError *why) {
    Response expected, got;
    Stimulus stimulus = contract_stimulus(subject);
    guard_fill_memory(0x00);
    bool fine = contract_play_new(subject, NULL, &stimulus, &expected, why);
    guard_fill_memory(0x41); /* floats of about 12 */
    fine = fine && contract_play_new(subject, NULL, &stimulus, &got, why);
    guard_fill_memory(-1);
    return fine && contract_same(subject, &expected, &got, stimulus.frames, why,
                                 "memory not zero before instantiation");
}

/* ---- where a take lies ---- */

/* The stimulus `ahead` frames later, and `setting` from half way there on. */
static Stimulus later(const Subject *subject, const Stimulus *stimulus, size_t ahead,
                      const Setting *setting) {
    const HostPlugin *plugin = subject->plugin;
    Stimulus moved = *stimulus;
    Event *events = contract_memory(plugin->n_ports, sizeof *events);
    for (uint32_t i = 0; i < plugin->n_ports; i++)
        if (contract_own_control(plugin, &plugin->ports[i]))
            events[moved.n_events++] = (Event){ahead / 2, i, setting->value[i]};
    moved.events = events;
    moved.frames += ahead;
    for (size_t c = 0; c < plugin->n_in; c++) {
        float *in = contract_frames(moved.frames), *key = contract_frames(moved.frames);
        memcpy(in + ahead, stimulus->in[c], stimulus->frames * sizeof *in);
        moved.in[c] = in;
        if (!stimulus->key[c])
            continue;
        memcpy(key + ahead, stimulus->key[c], stimulus->frames * sizeof *key);
        moved.key[c] = key;
    }
    return moved;
}

/* A take moved on the time line comes out the same, bit for bit: no hop, walk or oscillator counts
 * from activation. And what is set before the first sound is met at once. */
static bool silence_ahead_changes_nothing(const Subject *subject, HostError *why) {
    static const size_t AHEAD[] = {37, 4801}; /* within any hop, and beyond most */
    Setting settings[CONTRACT_MAX_SETTINGS];
    size_t count = contract_settings(subject, settings);
    for (size_t i = 0; i < count; i++) {
        Stimulus stimulus = contract_stimulus(subject);
        Response expected;
        if (!contract_play_new(subject, &settings[i], &stimulus, &expected, why))
            return false;
        for (size_t k = 0; k < sizeof AHEAD / sizeof *AHEAD; k++) {
            Stimulus moved = later(subject, &stimulus, AHEAD[k], &settings[i]);
            Response got;
            if (!contract_play_new(subject, NULL, &moved, &got, why))
                return false;
            for (size_t c = 0; c < subject->plugin->n_out; c++)
                got.out[c] += AHEAD[k];
            if (!contract_same(subject, &expected, &got, stimulus.frames, why,
                               "%s, %zu frames later", settings[i].name, AHEAD[k]))
                return false;
        }
    }
    return true;
}

/* ---- other instances ---- */

static bool instances_apart(const Subject *subject, HostError *why) {
    enum { PIECE = 4099 };
    Stimulus mine = contract_stimulus(subject), other = mine;
    for (size_t c = 0; c < subject->plugin->n_in; c++)
        other.in[c] = contract_take(subject->rate_hz)->key[c];
    Response expected, got = {.latency = 0};
    if (!contract_play_new(subject, NULL, &mine, &expected, why))
        return false;
    HostInstance *a = contract_instance(subject, NULL, why);
    HostInstance *b = contract_instance(subject, NULL, why);
    if (!a || !b)
        return false;
    for (size_t c = 0; c < subject->plugin->n_out; c++)
        got.out[c] = contract_frames(mine.frames);
    for (size_t at = 0; at + PIECE <= mine.frames; at += PIECE) {
        Stimulus piece = mine, between = other;
        piece.frames = between.frames = PIECE;
        for (size_t c = 0; c < subject->plugin->n_in; c++) {
            piece.in[c] += at;
            between.in[c] += at;
            if (piece.key[c])
                piece.key[c] += at;
        }
        Response r = contract_play(a, &piece);
        contract_play(b, &between);
        for (size_t c = 0; c < subject->plugin->n_out; c++)
            memcpy(got.out[c] + at, r.out[c], PIECE * sizeof(float));
    }
    host_free(a);
    host_free(b);
    return contract_same(subject, &expected, &got, mine.frames / PIECE * PIECE, why,
                         "beside another instance");
}

typedef struct {
    HostInstance *instance;
    const Stimulus *stimulus;
    float *out[CONTRACT_CHANNELS];
} Worker;

/* Without contract_play, whose memory is not for threads. */
static void *work(void *user) {
    Worker *w = user;
    for (size_t at = 0; at < w->stimulus->frames; at += 64) {
        const float *in[CONTRACT_CHANNELS], *key[CONTRACT_CHANNELS];
        float *out[CONTRACT_CHANNELS];
        bool keyed = w->stimulus->key[0] != NULL;
        for (size_t c = 0; c < host_plugin(w->instance)->n_in; c++) {
            in[c] = w->stimulus->in[c] + at;
            key[c] = keyed ? w->stimulus->key[c] + at : NULL;
            out[c] = w->out[c] + at;
        }
        size_t left = w->stimulus->frames - at;
        host_run(w->instance, left < 64 ? left : 64, in, keyed ? key : NULL, out);
    }
    return NULL;
}

static bool two_threads(const Subject *subject, HostError *why) {
    Stimulus stimulus = contract_stimulus(subject);
    Response expected;
    if (!contract_play_new(subject, NULL, &stimulus, &expected, why))
        return false;
    enum { THREADS = 2 };
    Worker workers[THREADS];
    pthread_t threads[THREADS];
    for (size_t i = 0; i < THREADS; i++) {
        workers[i].instance = contract_instance(subject, NULL, why);
        workers[i].stimulus = &stimulus;
        if (!workers[i].instance)
            return false;
        for (size_t c = 0; c < CONTRACT_CHANNELS; c++)
            workers[i].out[c] = contract_frames(stimulus.frames);
    }
    for (size_t i = 0; i < THREADS; i++)
        if (pthread_create(&threads[i], NULL, work, &workers[i]) != 0)
            return host_fail(why, "no thread");
    for (size_t i = 0; i < THREADS; i++)
        pthread_join(threads[i], NULL);
    for (size_t i = 0; i < THREADS; i++) {
        Response got = {.out = {workers[i].out[0], workers[i].out[1]}};
        host_free(workers[i].instance);
        if (!contract_same(subject, &expected, &got, stimulus.frames, why,
                           "thread %zu of two at once", i))
            return false;
    }
    return true;
}

/* ---- it does something, and nothing out of nothing ---- */

/* Without this, much of the rest could be true of a plugin that only copies. */
static bool it_acts(const Subject *subject, HostError *why) {
    Setting settings[CONTRACT_MAX_SETTINGS];
    Subject every = *subject;
    every.thorough = true;
    size_t count = contract_settings(&every, settings);
    for (size_t i = 0; i < count; i++) {
        Response r;
        Stimulus stimulus = contract_stimulus(&every); /* half of it may hold no gap, or no click */
        if (!contract_play_new(subject, &settings[i], &stimulus, &r, why))
            return false;
        for (size_t c = 0; c < subject->plugin->n_out; c++)
            for (size_t t = 0; t < stimulus.frames; t++)
                if (r.out[c][t] != contract_delayed(&stimulus, c, r.latency, t))
                    return true;
    }
    return host_fail(why, "at %zu settings the output is only the delayed input", count);
}

/* Twelve seconds of silence: the longest decay of the suite's controls, 5 s, falls by 20 dB, and
 * what a filter rings with has long gone below the smallest number (87 time constants). */
static bool silence_stays_silence(const Subject *subject, HostError *why) {
    Stimulus take = contract_stimulus(subject);
    Stimulus silence = take;
    silence.frames = (size_t)(12.0 * subject->rate_hz);
    const float *nothing = contract_frames(silence.frames);
    for (size_t c = 0; c < subject->plugin->n_in; c++) {
        silence.in[c] = nothing;
        silence.key[c] = take.key[c] ? nothing : NULL;
    }
    HostInstance *instance = contract_instance(subject, NULL, why);
    if (!instance)
        return false;
    Response before = contract_play(instance, &silence);
    contract_play(instance, &take);
    Response after = contract_play(instance, &silence);
    host_free(instance);
    size_t last_second = silence.frames - (size_t)subject->rate_hz;
    for (size_t c = 0; c < subject->plugin->n_out; c++) {
        double peak = signals_peak(before.out[c], silence.frames);
        if (peak != 0.0)
            return host_fail(why, "silence from the start gives %g", peak);
        /* 1e-10 is -200 dBFS, some 55 dB below the last bit of 24 */
        peak = signals_peak(after.out[c] + last_second, (size_t)subject->rate_hz);
        if (!(peak <= 1e-10))
            return host_fail(why, "eleven seconds after the take the output still is %g", peak);
    }
    return true;
}

/* ---- many ---- */

/* As in a large session: all there at once, and each gives what it gives alone. */
static bool many_at_once(const Subject *subject, HostError *why) {
    enum { MANY = 500, SHORT = 4096 };
    Stimulus stimulus = contract_stimulus(subject);
    for (size_t c = 0; c < subject->plugin->n_in; c++) {
        stimulus.in[c] += stimulus.frames / 2;
        stimulus.key[c] = stimulus.key[c] ? stimulus.key[c] + stimulus.frames / 2 : NULL;
    }
    stimulus.frames = SHORT;
    Response expected;
    if (!contract_play_new(subject, NULL, &stimulus, &expected, why))
        return false;
    HostInstance *instances[MANY];
    for (size_t i = 0; i < MANY; i++)
        if (!(instances[i] = contract_instance(subject, NULL, why)))
            return false;
    for (size_t i = 0; i < MANY; i++) {
        Response got = contract_play(instances[i], &stimulus);
        if (!contract_same(subject, &expected, &got, SHORT, why, "instance %zu of %d", i, MANY))
            return false;
    }
    for (size_t i = 0; i < MANY; i++)
        host_free(instances[i]);
    return true;
}

/* ---- life ---- */

/* One life, from instantiate() to cleanup(), without lilv, whose tables grow by themselves. */
static bool live_once(const LV2_Descriptor *descriptor, const Subject *subject, float *out) {
    const LV2_Feature *const none[] = {NULL};
    LV2_Handle handle = descriptor->instantiate(descriptor, subject->rate_hz, "/", none);
    if (!handle)
        return false;
    for (size_t c = 0; c < subject->plugin->n_out; c++)
        descriptor->connect_port(handle, subject->plugin->out[c], out);
    if (descriptor->activate)
        descriptor->activate(handle);
    descriptor->run(handle, 64);
    if (descriptor->deactivate)
        descriptor->deactivate(handle);
    descriptor->cleanup(handle);
    return true;
}

static bool lives_end_without_trace(const Subject *subject, HostError *why) {
    enum { WARM = 10, LIVES = 10000 };
    float out[64];
    HostInstance *keeper = contract_instance(subject, NULL, why);
    if (!keeper)
        return false;
    const LV2_Descriptor *descriptor = lilv_instance_get_descriptor(host_lilv(keeper));
    size_t before = 0;
    for (size_t i = 0; i < WARM + LIVES; i++) {
        if (i == WARM)
            before = guard_live_bytes();
        if (!live_once(descriptor, subject, out))
            return host_fail(why, "instance %zu cannot be made", i);
    }
    size_t after = guard_live_bytes();
    host_free(keeper);
    return after <= before || host_fail(why, "%d instances made and freed leave %zu bytes behind",
                                        LIVES, after - before);
}

const Promise contract_sound[] = {
    {"the output does not depend on how blocks are cut", any_cutting, true, false, NEEDS_NOTHING},
    {"nor while controls move", any_cutting_while_controls_move, true, false, NEEDS_NOTHING},
    {"buffers may be shared", shared_buffers, false, false, NEEDS_NOTHING},
    {"all ports may be on one buffer", one_buffer_for_all, false, false, NEEDS_NOTHING},
    {"only the frames of outputs are written, and all of them", only_outputs_written, false, false,
     NEEDS_NOTHING},
    {"activation makes it as new", as_new_when_activated, true, false, NEEDS_NOTHING},
    {"silence ahead changes nothing", silence_ahead_changes_nothing, false, false, NEEDS_NOTHING},
    {"what memory held before does not matter", memory_does_not_matter, false, false, NEEDS_GUARD},
    {"instances do not know of each other", instances_apart, false, false, NEEDS_NOTHING},
    {"instances may run in two threads", two_threads, false, false, NEEDS_NOTHING},
    {"five hundred may live at once", many_at_once, false, false, NEEDS_NOTHING},
    {"it acts on a take", it_acts, true, false, NEEDS_NOTHING},
    {"silence stays silence", silence_stays_silence, false, false, NEEDS_NOTHING},
    {"a life leaves no memory behind", lives_end_without_trace, false, false, NEEDS_GUARD},
    {.name = NULL},
};
