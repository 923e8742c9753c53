/* SPDX-License-Identifier: ISC */
/* contract.h: what every plugin promises, as functions that find out whether a bundle keeps it.
 *
 * Nothing here knows any plugin: all is learnt from the bundle, by lilv, as any host would. The
 * same functions judge the real plugins, the floors, and the broken ones that they must refuse.
 *
 * play.c     the material, the settings, and running a plugin over them
 * sound.c    the output depends on the input and the controls, and on nothing else
 * harm.c     bad numbers, missing ports, memory, locks, system calls
 * shell.c    latency, off, audition, bounds, image
 * moves.c    controls that move while somebody sings
 * meters.c   what a view sees
 * turtle.c   what the bundle says about itself */
#ifndef SISKIN_CONTRACT_CONTRACT_H
#define SISKIN_CONTRACT_CONTRACT_H

#include "host/host.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

typedef struct {
    Host *host;
    const HostPlugin *plugin;
    const char *bundle; /* its folder */
    double rate_hz;
    bool thorough; /* every setting and the whole take; otherwise a few and the middle half */
} Subject;

typedef enum { NEEDS_NOTHING, NEEDS_GUARD, NEEDS_FILTER, NEEDS_VALIDATOR } PromiseNeeds;

typedef struct {
    const char *name;
    /* Whether the subject keeps the promise; if not, `why` says what was seen. */
    bool (*kept)(const Subject *subject, HostError *why);
    bool at_every_rate; /* else it is enough to ask once */
    bool not_of_floors; /* they are the least that there can be, and smooth nothing */
    PromiseNeeds needs; /* without which nobody can tell whether it is kept */
} Promise;

/* Ended by an entry without a name. */
extern const Promise contract_sound[], contract_harm[], contract_shell[], contract_moves[],
    contract_meters[], contract_turtle[];

/* Whether this build and this machine can tell. The validator is needed where CI is set. */
bool contract_can_tell(const Promise *promise);

/* A question being answered in a child process, so that a crash or an endless loop is an answer
 * too, and several can be answered at once. */
typedef struct {
    int pid; /* -1: could not be asked */
    int from;
} Question;

Question contract_ask(const Promise *promise, const Subject *subject);
/* Waits for the answer: whether the promise is kept. *seconds: processor time that it took. */
bool contract_answer(const Question *question, double *seconds, HostError *why);

/* ---- material ---- */

enum {
    CONTRACT_CHANNELS = 2,
    CONTRACT_MAX_PORTS = 64,
    CONTRACT_MAX_SETTINGS = 24,
    CONTRACT_BLOCK = 8192, /* longest run that an instance is made for */
};

typedef struct {
    double rate_hz;
    size_t frames;
    float *in[CONTRACT_CHANNELS];
    float *key[CONTRACT_CHANNELS];
} Take;

/* Seeds everything random here; the seed is printed with a refusal. Call once, first. */
void contract_prepare(uint64_t seed);
uint64_t contract_seed(void);

/* Whether SISKIN_ALL asks for every case. Otherwise, where two lists would be tried in all pairs,
 * each entry of both is tried, but not with every one of the other. */
bool contract_asks_all(void);

/* A sung take of some seconds, with breaths, hot sibilants and clicks, so that a processor has
 * something to do: two unlike channels, and another voice as the key. Made once for each rate. */
const Take *contract_take(double rate_hz);

/* Zeroed memory for `count` elements that lives as long as the process; never NULL. */
void *contract_memory(size_t count, size_t size);
float *contract_frames(size_t frames);

/* ---- settings ---- */

typedef struct {
    char name[64];
    float value[CONTRACT_MAX_PORTS]; /* by port; only those of controls count */
} Setting;

/* The default, every preset, all lowest, all highest, and some at random; if not thorough, the
 * default, the first preset and one at random. enabled is 1 and audition 0 in all of them. */
size_t contract_settings(const Subject *subject, Setting settings[CONTRACT_MAX_SETTINGS]);

/* A control that belongs to the plugin and not to every plugin: not enabled, not audition. */
bool contract_own_control(const HostPlugin *plugin, const HostPort *port);

/* A new active instance; setting NULL: the defaults. NULL, with `why` written, on failure. */
HostInstance *contract_instance(const Subject *subject, const Setting *setting, HostError *why);
void contract_apply(HostInstance *instance, const Setting *setting);

/* ---- playing ---- */

typedef struct {
    size_t frame;
    uint32_t port;
    float value;
} Event;

typedef enum {
    ALIAS_NONE,
    ALIAS_IN_OUT,  /* every output on the buffer of its input */
    ALIAS_CROSSED, /* the left output on the right input and the other way round */
    ALIAS_KEY_OUT, /* every output on the buffer of its key */
    ALIAS_ALL,     /* every port on one buffer, which holds in[0] */
} Alias;

typedef struct {
    const float *in[CONTRACT_CHANNELS];
    const float *key[CONTRACT_CHANNELS]; /* NULL: not connected */
    size_t frames;
    const Event *events; /* by frame; runs are cut there */
    size_t n_events;
    size_t block;  /* longest run, 1..CONTRACT_BLOCK */
    size_t other;  /* 0, or the length of every second run, <= block */
    uint64_t cuts; /* 0: all runs as long as `block`; else seeds lengths 0..block */
    Alias alias;
} Stimulus;

typedef struct {
    float *out[CONTRACT_CHANNELS];
    float meter[CONTRACT_MAX_PORTS]; /* as last written, by port */
    size_t latency;                  /* as reported before the first frame */
    size_t events_at_latency_change; /* events done when it first changed; SIZE_MAX: it did not */
    bool latency_whole;              /* every report a whole number >= 0 */
    bool output_finite;
    const HostPort *meter_outside; /* a meter seen not finite or outside its range, or NULL */
    bool input_kept;               /* no input buffer was written to (unless aliased) */
    bool output_whole;             /* every frame was written, and none beyond */
} Response;

/* The take (if not thorough, its middle half), runs of 512, no events. */
Stimulus contract_stimulus(const Subject *subject);

/* Runs an active instance over the stimulus; output as it comes, not aligned. */
Response contract_play(HostInstance *instance, const Stimulus *stimulus);

/* The same with an instance of its own. */
bool contract_play_new(const Subject *subject, const Setting *setting, const Stimulus *stimulus,
                       Response *response, HostError *why);

/* ---- comparing ---- */

/* Whether the plugin declares that it may do this (PluginMay in plugin.h, as ttlgen words it). */
bool contract_may(const Subject *subject, const char *word);

/* Gain that its controls may add, dB, as declared. */
double contract_most_gain_db(const Subject *subject);

/* Whether both outputs are the same, bit for bit; `what` begins the sentence that says not. */
bool contract_same(const Subject *subject, const Response *a, const Response *b, size_t frames,
                   HostError *why, const char *what, ...) __attribute__((format(printf, 6, 7)));

/* in[channel] `latency` frames earlier: what "off" must give at frame t. */
float contract_delayed(const Stimulus *stimulus, size_t channel, size_t latency, size_t t);

/* The most that the output may exceed the input, as a ratio. */
double contract_headroom(const Subject *subject);

double contract_peak(const float *const *audio, size_t channels, size_t frames);

#endif
