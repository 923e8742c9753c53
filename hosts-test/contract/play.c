/* SPDX-License-Identifier: ISC */
/* The material, the settings, and running a plugin over them. */
#include "contract/contract.h"

#include "busy_take.h"
#include "signals.h"

#include <errno.h>
#include <math.h>
#include <signal.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

enum {
    CANARY = 16, /* frames watched past the end of every port buffer */
    MOST_TAKES = 16,
    LONGEST_ANSWER_S = 300, /* an endless loop is a refusal */
    RANDOM_SETTINGS = 3,
};

/* What no plugin writes by chance: in outputs before each run, and past the end of every buffer. */
static const float UNWRITTEN = -123456.789f;

static uint64_t the_seed;
static Take takes[MOST_TAKES];
static size_t n_takes;

void contract_prepare(uint64_t seed) {
    the_seed = seed;
}

uint64_t contract_seed(void) {
    return the_seed;
}

bool contract_asks_all(void) {
    const char *all = getenv("SISKIN_ALL");
    return all && *all && strcmp(all, "0") != 0;
}

/* ---- memory ---- */

/* Judging ends with its process, so nothing is given back; the list keeps leak checkers quiet. */
typedef struct Block {
    struct Block *next;
    max_align_t memory[];
} Block;
static Block *blocks;

void *contract_memory(size_t count, size_t size) {
    Block *block = calloc(1, sizeof *block + count * size);
    if (!block) {
        fputs("out of memory\n", stderr);
        abort();
    }
    block->next = blocks;
    blocks = block;
    return block->memory;
}

float *contract_frames(size_t frames) {
    return contract_memory(frames ? frames : 1, sizeof(float));
}

/* ---- asking in a child ---- */

typedef struct {
    bool kept;
    HostError why;
} Answer;

static void answer(const Promise *promise, const Subject *subject, int to) {
    Answer a = {.why.text = ""};
    alarm(LONGEST_ANSWER_S);
    a.kept = promise->kept(subject, &a.why);
    if (write(to, &a, sizeof a) != (ssize_t)sizeof a)
        abort();
    _exit(0);
}

Question contract_ask(const Promise *promise, const Subject *subject) {
    int ends[2];
    if (pipe(ends) != 0)
        return (Question){.pid = -1};
    fflush(NULL);
    pid_t pid = fork();
    if (pid == 0) {
        close(ends[0]);
        answer(promise, subject, ends[1]);
    }
    close(ends[1]);
    return (Question){pid, ends[0]};
}

bool contract_answer(const Question *question, double *seconds, HostError *why) {
    Answer a = {.kept = false};
    struct rusage used = {.ru_utime = {0}};
    int status = 0;
    *seconds = 0.0;
    if (question->pid < 0)
        return host_fail(why, "it cannot be asked: %s", strerror(errno));
    bool answered = read(question->from, &a, sizeof a) == (ssize_t)sizeof a;
    close(question->from);
    wait4(question->pid, &status, 0, &used);
    *seconds = (double)(used.ru_utime.tv_sec + used.ru_stime.tv_sec) +
               1e-6 * (double)(used.ru_utime.tv_usec + used.ru_stime.tv_usec);
    if (!answered)
        return WIFSIGNALED(status) ? host_fail(why, "it crashed: %s", strsignal(WTERMSIG(status)))
                                   : host_fail(why, "it crashed: exit %d", WEXITSTATUS(status));
    return a.kept || host_fail(why, "%s", a.why.text);
}

/* ---- material ---- */

static Take new_take(double rate_hz) {
    Take take = {.rate_hz = rate_hz, .frames = (size_t)(3.5 * rate_hz)};
    Random random = random_seeded(the_seed);
    for (size_t c = 0; c < CONTRACT_CHANNELS; c++) {
        take.in[c] = contract_frames(take.frames);
        take.key[c] = contract_frames(take.frames);
    }
    busy_take(take.in[0], take.frames, rate_hz, SINGER_WOMAN, the_seed);
    busy_take(take.key[0], take.frames, rate_hz, SINGER_MAN, the_seed + 1);
    signals_noise(take.in[1], take.frames, 1e-3, &random);
    for (size_t t = 0; t < take.frames; t++) {
        take.in[1][t] += 0.6f * take.in[0][t];
        take.key[1][t] = 0.5f * take.key[0][t];
    }
    /* What a bit-exact path must keep: a zero below zero and numbers too small to be normal. */
    for (size_t t = 100; t + 2 < take.frames; t += take.frames / 7) {
        take.in[0][t] = -0.0f;
        take.in[0][t + 1] = 1e-40f;
        take.in[0][t + 2] = -3e-42f;
    }
    return take;
}

const Take *contract_take(double rate_hz) {
    for (size_t i = 0; i < n_takes; i++)
        if (takes[i].rate_hz == rate_hz)
            return &takes[i];
    if (n_takes == MOST_TAKES)
        abort();
    takes[n_takes] = new_take(rate_hz);
    return &takes[n_takes++];
}

/* ---- settings ---- */

bool contract_own_control(const HostPlugin *plugin, const HostPort *port) {
    return port->role == HOST_CONTROL && port != plugin->enabled &&
           strcmp(port->symbol, "audition") != 0;
}

static Setting *add(Setting *settings, size_t *count, const HostPlugin *plugin, const char *name) {
    Setting *s = &settings[(*count)++];
    *s = (Setting){.name = ""};
    snprintf(s->name, sizeof s->name, "%s", name);
    for (size_t i = 0; i < plugin->n_ports; i++)
        s->value[i] = plugin->ports[i].initial;
    return s;
}

static void add_preset(Setting *settings, size_t *count, const Subject *subject, size_t which) {
    const HostPlugin *plugin = subject->plugin;
    Setting *s = add(settings, count, plugin, plugin->presets[which].label);
    HostInstance *instance =
        host_instantiate(subject->host, plugin, subject->rate_hz, CONTRACT_BLOCK, NULL);
    if (instance && host_load_preset(instance, plugin->presets[which].uri, NULL))
        for (size_t i = 0; i < plugin->n_ports; i++)
            if (contract_own_control(plugin, &plugin->ports[i]))
                s->value[i] = host_get(instance, plugin->ports[i].symbol);
    host_free(instance);
}

static void add_bounds(Setting *settings, size_t *count, const HostPlugin *plugin, bool highest) {
    Setting *s = add(settings, count, plugin, highest ? "all highest" : "all lowest");
    for (size_t i = 0; i < plugin->n_ports; i++)
        if (contract_own_control(plugin, &plugin->ports[i]))
            s->value[i] = highest ? plugin->ports[i].maximum : plugin->ports[i].minimum;
}

static void add_random(Setting *settings, size_t *count, const HostPlugin *plugin, uint64_t seed) {
    char name[64];
    snprintf(name, sizeof name, "random, seed %llu", (unsigned long long)seed);
    Setting *s = add(settings, count, plugin, name);
    Random random = random_seeded(seed);
    for (size_t i = 0; i < plugin->n_ports; i++) {
        const HostPort *port = &plugin->ports[i];
        if (!contract_own_control(plugin, port))
            continue;
        double low = (double)port->minimum, high = (double)port->maximum;
        double x = random_unit(&random);
        double value = port->logarithmic ? low * pow(high / low, x) : low + x * (high - low);
        s->value[i] = (float)(port->integer || port->toggled ? rint(value) : value);
    }
}

size_t contract_settings(const Subject *subject, Setting settings[CONTRACT_MAX_SETTINGS]) {
    const HostPlugin *plugin = subject->plugin;
    size_t count = 0;
    size_t most_presets = CONTRACT_MAX_SETTINGS - RANDOM_SETTINGS - 3;
    size_t presets = plugin->n_presets < most_presets ? plugin->n_presets : most_presets;
    add(settings, &count, plugin, "default");
    for (size_t i = 0; i < presets && (subject->thorough || i == 0); i++)
        add_preset(settings, &count, subject, i);
    if (subject->thorough) {
        add_bounds(settings, &count, plugin, false);
        add_bounds(settings, &count, plugin, true);
    }
    for (uint64_t i = 0; i < (subject->thorough ? RANDOM_SETTINGS : 1); i++)
        add_random(settings, &count, plugin, the_seed + i);
    return count;
}

void contract_apply(HostInstance *instance, const Setting *setting) {
    const HostPlugin *plugin = host_plugin(instance);
    for (size_t i = 0; i < plugin->n_ports; i++)
        if (contract_own_control(plugin, &plugin->ports[i]))
            host_set(instance, plugin->ports[i].symbol, setting->value[i], NULL);
}

HostInstance *contract_instance(const Subject *subject, const Setting *setting, HostError *why) {
    const HostPlugin *plugin = subject->plugin;
    if (plugin->n_ports > CONTRACT_MAX_PORTS || plugin->n_in < 1 ||
        plugin->n_in > CONTRACT_CHANNELS || plugin->n_out != plugin->n_in ||
        (plugin->n_key && plugin->n_key != plugin->n_in)) {
        host_fail(why, "%zu audio inputs, %zu keys, %zu outputs, %zu ports in all", plugin->n_in,
                  plugin->n_key, plugin->n_out, plugin->n_ports);
        return NULL;
    }
    HostInstance *instance =
        host_instantiate(subject->host, plugin, subject->rate_hz, CONTRACT_BLOCK, why);
    if (!instance)
        return NULL;
    if (setting)
        contract_apply(instance, setting);
    host_activate(instance);
    return instance;
}

/* ---- playing ---- */

typedef struct {
    HostInstance *instance;
    const HostPlugin *plugin;
    const Stimulus *stimulus;
    Response *response;
    float *in[CONTRACT_CHANNELS], *key[CONTRACT_CHANNELS], *out[CONTRACT_CHANNELS];
} Player;

Stimulus contract_stimulus(const Subject *subject) {
    const Take *take = contract_take(subject->rate_hz);
    size_t from = subject->thorough ? 0 : take->frames / 4;
    Stimulus s = {.frames = take->frames - 2 * from, .block = 512};
    for (size_t c = 0; c < subject->plugin->n_in; c++) {
        s.in[c] = take->in[c] + from;
        s.key[c] = subject->plugin->n_key ? take->key[c] + from : NULL;
    }
    return s;
}

static void place_buffers(Player *p) {
    size_t size = p->stimulus->block + CANARY;
    for (size_t c = 0; c < p->plugin->n_in; c++) {
        p->in[c] = contract_frames(size);
        p->key[c] = p->stimulus->key[c] ? contract_frames(size) : NULL;
        p->out[c] = contract_frames(size);
    }
    for (size_t c = 0; c < p->plugin->n_in; c++) {
        switch (p->stimulus->alias) {
        case ALIAS_NONE:
            break;
        case ALIAS_IN_OUT:
            p->out[c] = p->in[c];
            break;
        case ALIAS_CROSSED:
            p->out[c] = p->in[p->plugin->n_in - 1 - c];
            break;
        case ALIAS_KEY_OUT:
            p->out[c] = p->key[c] ? p->key[c] : p->out[c];
            break;
        case ALIAS_ALL:
            p->in[c] = p->out[c] = p->in[0];
            p->key[c] = p->key[c] ? p->in[0] : NULL;
            break;
        }
    }
}

/* A buffer with n frames of `audio` from `at`, and a watch kept behind them. */
static void load(float *buffer, const float *audio, size_t at, size_t n) {
    if (!buffer)
        return;
    if (audio && n)
        memcpy(buffer, audio + at, n * sizeof *buffer);
    for (size_t i = n; i < n + CANARY; i++)
        buffer[i] = UNWRITTEN;
}

static void load_buffers(Player *p, size_t at, size_t n) {
    for (size_t c = 0; c < p->plugin->n_in; c++) {
        for (size_t i = 0; i < n; i++)
            p->out[c][i] = UNWRITTEN;
        load(p->out[c], NULL, 0, n);
    }
    for (size_t c = p->plugin->n_in; c-- > 0;) { /* backwards: in[0] wins when all are one */
        load(p->key[c], p->stimulus->key[c], at, n);
        load(p->in[c], p->stimulus->in[c], at, n);
    }
    if (p->stimulus->alias == ALIAS_ALL)
        load(p->in[0], p->stimulus->in[0], at, n);
}

static bool same_bits(const float *a, const float *b, size_t n) {
    return n == 0 || memcmp(a, b, n * sizeof *a) == 0;
}

static void look_at_buffers(Player *p, size_t at, size_t n) {
    const float unwritten[CANARY] = {
        UNWRITTEN, UNWRITTEN, UNWRITTEN, UNWRITTEN, UNWRITTEN, UNWRITTEN, UNWRITTEN, UNWRITTEN,
        UNWRITTEN, UNWRITTEN, UNWRITTEN, UNWRITTEN, UNWRITTEN, UNWRITTEN, UNWRITTEN, UNWRITTEN};
    Response *r = p->response;
    for (size_t c = 0; c < p->plugin->n_in; c++) {
        for (size_t i = 0; i < n; i++) {
            r->output_finite &= isfinite(p->out[c][i]) != 0;
            r->output_whole &= p->out[c][i] != UNWRITTEN;
        }
        r->output_whole &= same_bits(p->out[c] + n, unwritten, CANARY);
        if (p->stimulus->alias != ALIAS_NONE)
            continue;
        r->input_kept &= same_bits(p->in[c], p->stimulus->in[c] + at, n);
        r->input_kept &= same_bits(p->in[c] + n, unwritten, CANARY);
        if (p->key[c])
            r->input_kept &= same_bits(p->key[c], p->stimulus->key[c] + at, n);
    }
}

static void look_at_meters(Player *p, size_t events_done) {
    Response *r = p->response;
    for (size_t i = 0; i < p->plugin->n_ports; i++) {
        const HostPort *port = &p->plugin->ports[i];
        if (port->role != HOST_METER)
            continue;
        r->meter[i] = host_get(p->instance, port->symbol);
        if (!(r->meter[i] >= port->minimum && r->meter[i] <= port->maximum) && !r->meter_outside)
            r->meter_outside = port;
    }
    if (!p->plugin->latency)
        return;
    float latency = r->meter[p->plugin->latency->index];
    r->latency_whole &= latency >= 0.0f && latency == rintf(latency);
    if (latency != (float)r->latency && r->events_at_latency_change == SIZE_MAX)
        r->events_at_latency_change = events_done;
}

/* Frames until the next event or the end. */
static size_t until_event(const Stimulus *s, size_t at, size_t done) {
    size_t end = done < s->n_events ? s->events[done].frame : s->frames;
    return end - at;
}

static void run_once(Player *p, size_t at, size_t n, size_t events_done) {
    load_buffers(p, at, n);
    host_run(p->instance, n, (const float *const *)p->in,
             p->key[0] ? (const float *const *)p->key : NULL, p->out);
    look_at_buffers(p, at, n);
    /* not after every run of one frame, which would take longer than all the rest */
    if (n >= 16 || at % 16 < n || at + n == p->stimulus->frames)
        look_at_meters(p, events_done);
    for (size_t c = 0; c < p->plugin->n_in; c++)
        if (n)
            memcpy(p->response->out[c] + at, p->out[c], n * sizeof(float));
}

Response contract_play(HostInstance *instance, const Stimulus *stimulus) {
    const HostPlugin *plugin = host_plugin(instance);
    Response response = {
        .events_at_latency_change = SIZE_MAX,
        .latency_whole = true,
        .output_finite = true,
        .input_kept = true,
        .output_whole = true,
    };
    Player p = {instance, plugin, stimulus, &response, {NULL}, {NULL}, {NULL}};
    Random random = random_seeded(stimulus->cuts);
    place_buffers(&p);
    for (size_t c = 0; c < plugin->n_in; c++)
        response.out[c] = contract_frames(stimulus->frames);

    size_t done = 0;
    for (size_t at = 0, runs = 0; at < stimulus->frames; runs++) {
        for (; done < stimulus->n_events && stimulus->events[done].frame == at; done++)
            host_set(instance, plugin->ports[stimulus->events[done].port].symbol,
                     stimulus->events[done].value, NULL);
        if (at == 0) {
            host_run(instance, 0, NULL, NULL, NULL);
            host_latency(instance, &response.latency, NULL);
        }
        size_t n = stimulus->cuts                ? random_below(&random, stimulus->block + 1)
                   : stimulus->other && runs % 2 ? stimulus->other
                                                 : stimulus->block;
        size_t most = until_event(stimulus, at, done);
        if (n > most)
            n = most;
        run_once(&p, at, n, done);
        at += n;
    }
    return response;
}

bool contract_play_new(const Subject *subject, const Setting *setting, const Stimulus *stimulus,
                       Response *response, HostError *why) {
    HostInstance *instance = contract_instance(subject, setting, why);
    if (!instance)
        return false;
    *response = contract_play(instance, stimulus);
    host_free(instance);
    return true;
}

/* ---- comparing ---- */

bool contract_same(const Subject *subject, const Response *a, const Response *b, size_t frames,
                   HostError *why, const char *what, ...) {
    for (size_t c = 0; c < subject->plugin->n_out; c++) {
        size_t t = signals_first_difference(a->out[c], b->out[c], frames);
        if (t == frames)
            continue;
        char said[256];
        va_list args;
        va_start(args, what);
        vsnprintf(said, sizeof said, what, args);
        va_end(args);
        return host_fail(why, "%s: output %zu differs at frame %zu: %.9g against %.9g", said, c, t,
                         (double)a->out[c][t], (double)b->out[c][t]);
    }
    return true;
}

float contract_delayed(const Stimulus *stimulus, size_t channel, size_t latency, size_t t) {
    return t < latency ? 0.0f : stimulus->in[channel][t - latency];
}

double contract_peak(const float *const *audio, size_t channels, size_t frames) {
    double peak = 0.0;
    for (size_t c = 0; c < channels; c++)
        peak = fmax(peak, signals_peak(audio[c], frames));
    return peak;
}
