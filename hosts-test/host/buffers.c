/* SPDX-License-Identifier: ISC */
/* Renders over whole buffers in memory, for tests. */
#include "host/host.h"

#include <stdlib.h>
#include <string.h>

typedef struct {
    float *in[HOST_MAX_AUDIO], *key[HOST_MAX_AUDIO], *out[HOST_MAX_AUDIO];
    size_t n_in, n_key, n_out;
    float *memory;
} Blocks;

static bool make_blocks(Blocks *blocks, const HostPlugin *plugin, const HostRender *render,
                        HostError *error) {
    blocks->n_in = plugin->n_in;
    blocks->n_key = plugin->n_key;
    blocks->n_out = plugin->n_out;
    size_t total = blocks->n_in + blocks->n_key + blocks->n_out;
    blocks->memory = calloc(total ? total * render->block : 1, sizeof(float));
    if (!blocks->memory)
        return host_fail(error, "out of memory");
    float *next = blocks->memory;
    for (size_t i = 0; i < blocks->n_in; i++, next += render->block)
        blocks->in[i] = next;
    for (size_t i = 0; i < blocks->n_key; i++, next += render->block)
        blocks->key[i] = next;
    for (size_t i = 0; i < blocks->n_out; i++, next += render->block)
        blocks->out[i] = render->in_place && i < blocks->n_in ? blocks->in[i] : next;
    return true;
}

/* Frames from..from + n - 1 of each source; silence past the end. */
static void fill(float *const *to, const float *const *source, size_t count, size_t frames,
                 size_t from, size_t n) {
    size_t there = from < frames ? frames - from : 0;
    if (there > n)
        there = n;
    for (size_t i = 0; i < count; i++) {
        if (there)
            memcpy(to[i], source[i] + from, there * sizeof(float));
        memset(to[i] + there, 0, (n - there) * sizeof(float));
    }
}

static void keep(float *const *to, float *const *block, size_t count, size_t latency, size_t from,
                 size_t n) {
    size_t skip = from < latency ? latency - from : 0;
    if (skip >= n)
        return;
    for (size_t i = 0; i < count; i++)
        memcpy(to[i] + (from + skip - latency), block[i] + skip, (n - skip) * sizeof(float));
}

static bool render_blocks(HostInstance *instance, const HostPlugin *plugin,
                          const HostRender *render, Blocks *blocks, size_t latency,
                          HostError *error) {
    for (size_t from = 0; from < render->frames + latency; from += render->block) {
        size_t left = render->frames + latency - from;
        size_t n = left < render->block ? left : render->block;
        fill(blocks->in, render->in, blocks->n_in, render->frames, from, n);
        if (render->key)
            fill(blocks->key, render->key, blocks->n_key, render->frames, from, n);
        host_run(instance, n, (const float *const *)blocks->in,
                 render->key ? (const float *const *)blocks->key : NULL, blocks->out);
        keep(render->out, blocks->out, blocks->n_out, latency, from, n);
        if (render->after_run)
            render->after_run(render->user, instance, from, n);
        size_t now = 0;
        if (!host_latency(instance, &now, error))
            return false;
        if (now != latency)
            return host_fail(error, "%s changed its latency from %zu to %zu frames while running",
                             plugin->name, latency, now);
    }
    return true;
}

bool host_render_aligned(HostInstance *instance, const HostRender *render, HostError *error) {
    const HostPlugin *plugin = host_plugin(instance);
    if (render->block < 1 || render->block > host_max_block(instance))
        return host_fail(error, "a block of %zu frames: the instance was made for 1..%zu",
                         render->block, host_max_block(instance));
    if (render->in_place && plugin->in_place_broken)
        return host_fail(error, "%s cannot work in place", plugin->name);
    Blocks blocks = {0};
    size_t latency = 0;
    if (!host_probe_latency(instance, &latency, error) ||
        !make_blocks(&blocks, plugin, render, error))
        return false;
    host_activate(instance);
    bool fine = render_blocks(instance, plugin, render, &blocks, latency, error);
    host_deactivate(instance);
    free(blocks.memory);
    return fine;
}
