/* SPDX-License-Identifier: ISC */
/* host.h: a small LV2 host over lilv, shared by the offline program and by the tests of bundles.
 *
 * A Host sees two sets of bundles. "Own" bundles come from one directory, given to host_open, and
 * nothing else can shadow them. Any other plugin is looked up, by URI and only when asked for, in
 * LV2_PATH (or lilv's default places when that is not set).
 *
 * Not for threads: one Host and its instances belong to one thread. After fork() the child may go
 * on with its copy.
 *
 * Every function that can fail takes a HostError, writes one line of plain text into it (no final
 * newline or full stop), and returns false or NULL. */
#ifndef SISKIN_HOST_HOST_H
#define SISKIN_HOST_HOST_H

#include "host/plugin.h"

enum { HOST_MAX_BLOCK = 65536 }; /* most frames of one run() that an instance may be made for */

typedef struct Host Host;
typedef struct HostInstance HostInstance;

/* ---- the world ---- */

/* Loads every bundle directly under `bundles`. NULL: own plugins are looked for in LV2_PATH with
 * all the others, by their URI. Fails when the directory cannot be read; one without bundles gives
 * an empty list. */
Host *host_open(const char *bundles, HostError *error);
void host_close(Host *host); /* after all instances are freed; NULL is fine */

/* Meters of instances made from now on hold their peaks and fall slowly, as in a host with a
 * screen. Without this they tell of the last run() alone, if the plugin can do so: what curves and
 * figures are made of. */
void host_be_live(Host *host);

/* URIs of the own plugins, sorted; owned by the host. */
const char *const *host_own_uris(const Host *host, size_t *count);

/* URIs of every plugin in LV2_PATH (or lilv's default places), sorted; owned by the host. */
const char *const *host_other_uris(Host *host, size_t *count);

/* `name` is a URI, or the short name of an own plugin, such as "de-esser": then `channels` (1 or 2)
 * picks urn:siskin:<name>#mono or #stereo. The description stays valid until host_close. Fails when
 * there is no such plugin, or when its ports cannot be served by this host. */
const HostPlugin *host_find(Host *host, const char *name, unsigned channels, HostError *error);

/* ---- an instance ---- */

/* Instantiates for `rate_hz`, with every control at its default, not activated. `max_block`:
 * 1..HOST_MAX_BLOCK frames, given to the plugin as its longest block. Features offered: urid:map,
 * urid:unmap, opts:options (block lengths, sample rate), bufsz:boundedBlockLength; a plugin that
 * requires another is refused with its name. */
HostInstance *host_instantiate(Host *host, const HostPlugin *plugin, double rate_hz,
                               size_t max_block, HostError *error);
void host_free(HostInstance *instance); /* deactivates if needed; NULL is fine */

const HostPlugin *host_plugin(const HostInstance *instance);
LilvInstance *host_lilv(HostInstance *instance);
size_t host_max_block(const HostInstance *instance);

/* Sets a control by symbol, whatever the value (NaN included: tests want that). Fails only when
 * there is no such control. */
bool host_set(HostInstance *instance, const char *symbol, float value, HostError *error);
/* The present value of a control or meter; NAN when there is no such port. */
float host_get(const HostInstance *instance, const char *symbol);

/* Applies a preset, by such a word: port values, and state for plugins that keep any. */
bool host_load_preset(HostInstance *instance, const char *preset, HostError *error);

void host_activate(HostInstance *instance);
void host_deactivate(HostInstance *instance);

/* Calls the plugin's run() for n frames; n may be 0, and more than max_block is handed on in
 * pieces. The instance must be active. in, key and out hold one pointer per port of that role, in
 * the order of the description, each with n frames; in[i] == out[i] processes in place. With n == 0
 * they may be NULL. key == NULL: ports are left unconnected if optional, else they hear silence. */
void host_run(HostInstance *instance, size_t n, const float *const *in, const float *const *key,
              float *const *out);

/* Frames by which the output is late, from the latency port as the last run() left it; 0 for a
 * plugin that reports none. Call host_run with n = 0 first for the value before any audio. Fails
 * when the plugin reports what cannot be a latency. */
bool host_latency(const HostInstance *instance, size_t *frames, HostError *error);

/* The latency before any audio, with the controls as they are: activates, runs (no frames for an
 * own plugin; a block of silence for others, since some know only then) and deactivates. */
bool host_probe_latency(HostInstance *instance, size_t *frames, HostError *error);

/* ---- whole buffers, for tests ---- */

typedef struct {
    const float *const *in;  /* [n_in] */
    const float *const *key; /* [n_key], or NULL for an unconnected key */
    float *const *out;       /* [n_out]; may not overlap in or key */
    size_t frames;           /* in each of them */
    size_t block;            /* frames of one run(), 1..max_block */
    bool in_place;           /* hand the plugin one buffer for in[i] and out[i] */
    /* Called after each run(), or NULL: the run covered input frames from..from + n - 1, some of
     * them past the end while the latency is drained. For reading meters. */
    void (*after_run)(void *user, HostInstance *instance, size_t from, size_t n);
    void *user;
} HostRender;

/* Activates, runs over all frames and over as many more of silence as the latency asks for, and
 * deactivates. The output is aligned: out[i][t] belongs to in[i][t]. Fails on an impossible latency
 * or one that changes on the way, on in_place with a plugin that cannot, and on lack of memory. */
bool host_render_aligned(HostInstance *instance, const HostRender *render, HostError *error);

#endif
