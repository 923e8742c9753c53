/* SPDX-License-Identifier: ISC */
#include "host/host.h"
#include "host/describe.h"
#include "layout.h"

#include <dirent.h>
#include <errno.h>
#include <lv2/atom/atom.h>
#include <lv2/buf-size/buf-size.h>
#include <lv2/core/lv2.h>
#include <lv2/options/options.h>
#include <lv2/parameters/parameters.h>
#include <lv2/urid/urid.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

typedef struct Described {
    HostPlugin plugin;
    struct Described *next;
} Described;

struct Host {
    LilvWorld *own;
    LilvWorld *others; /* NULL until the first plugin that is not ours is asked for */
    char **own_uris;
    size_t n_own;
    char **other_uris; /* NULL until asked for */
    size_t n_others;
    Described *described;
    char **urids; /* URID u is urids[u - 1] */
    size_t n_urids;
    LV2_URID_Map map;
    LV2_URID_Unmap unmap;
    LV2_Feature map_feature, unmap_feature, bounded_feature, momentary_feature;
    bool live;
};

struct HostInstance {
    Host *host;
    const HostPlugin *plugin;
    LilvInstance *lilv;
    double rate_hz;
    size_t max_block;
    float *value;   /* [n_ports] controls and meters */
    float *silence; /* [max_block] what an unconnected, non-optional audio input hears */
    float *discard; /* [max_block] where an output goes when there is none to write to */
    bool active;
    int32_t block_min, block_max;
    float option_rate;
    LV2_Options_Option options[5];
    LV2_Feature options_feature;
    const LV2_Feature *features[6];
};

/* ---- URIDs ---- */

static LV2_URID map_uri(LV2_URID_Map_Handle handle, const char *uri) {
    Host *host = handle;
    for (size_t i = 0; i < host->n_urids; i++)
        if (strcmp(host->urids[i], uri) == 0)
            return (LV2_URID)(i + 1);
    host->urids = host_must(realloc(host->urids, (host->n_urids + 1) * sizeof *host->urids));
    host->urids[host->n_urids] = host_copy(uri);
    return (LV2_URID)++host->n_urids;
}

static const char *unmap_urid(LV2_URID_Unmap_Handle handle, LV2_URID urid) {
    const Host *host = handle;
    return urid >= 1 && urid <= host->n_urids ? host->urids[urid - 1] : NULL;
}

/* ---- the world ---- */

static bool load_own_bundles(Host *host, const char *directory, HostError *error) {
    DIR *dir = opendir(directory);
    if (!dir)
        return host_fail(error, "cannot read the bundle directory %s: %s", directory,
                         strerror(errno));
    for (const struct dirent *entry; (entry = readdir(dir));) {
        if (entry->d_name[0] == '.')
            continue;
        size_t length = strlen(directory) + strlen(entry->d_name) + sizeof "//manifest.ttl";
        char *path = host_take(length, 1);
        struct stat status;
        snprintf(path, length, "%s/%s/manifest.ttl", directory, entry->d_name);
        if (stat(path, &status) == 0) {
            snprintf(path, length, "%s/%s/", directory, entry->d_name);
            LilvNode *bundle = lilv_new_file_uri(host->own, NULL, path);
            lilv_world_load_bundle(host->own, bundle);
            lilv_node_free(bundle);
        }
        free(path);
    }
    closedir(dir);
    return true;
}

static int by_text(const void *a, const void *b) {
    return strcmp(*(char *const *)a, *(char *const *)b);
}

static void load_others(Host *host) {
    if (host->others)
        return;
    host->others = host_must(lilv_world_new());
    lilv_world_load_all(host->others);
}

/* Sorted copies of the URIs in a world that begin with `prefix`. */
static char **list_uris(LilvWorld *world, const char *prefix, size_t *count) {
    const LilvPlugins *plugins = lilv_world_get_all_plugins(world);
    char **uris = host_take(lilv_plugins_size(plugins), sizeof *uris);
    LILV_FOREACH(plugins, i, plugins) {
        const char *uri = lilv_node_as_uri(lilv_plugin_get_uri(lilv_plugins_get(plugins, i)));
        if (strncmp(uri, prefix, strlen(prefix)) == 0)
            uris[(*count)++] = host_copy(uri);
    }
    qsort(uris, *count, sizeof *uris, by_text);
    return uris;
}

Host *host_open(const char *bundles, HostError *error) {
    Host *host = host_take(1, sizeof *host);
    host->own = host_must(lilv_world_new());
    host->map = (LV2_URID_Map){host, map_uri};
    host->unmap = (LV2_URID_Unmap){host, unmap_urid};
    host->map_feature = (LV2_Feature){LV2_URID__map, &host->map};
    host->unmap_feature = (LV2_Feature){LV2_URID__unmap, &host->unmap};
    host->bounded_feature = (LV2_Feature){LV2_BUF_SIZE__boundedBlockLength, NULL};
    host->momentary_feature = (LV2_Feature){LAYOUT_MOMENTARY, NULL};
    if (bundles && !load_own_bundles(host, bundles, error)) {
        host_close(host);
        return NULL;
    }
    if (!bundles)
        load_others(host);
    host->own_uris =
        list_uris(bundles ? host->own : host->others, bundles ? "" : HOST_OWN_PREFIX, &host->n_own);
    return host;
}

void host_be_live(Host *host) {
    host->live = true;
}

void host_close(Host *host) {
    if (!host)
        return;
    while (host->described) {
        Described *next = host->described->next;
        host_describe_free(&host->described->plugin);
        free(host->described);
        host->described = next;
    }
    for (size_t i = 0; i < host->n_own; i++)
        free(host->own_uris[i]);
    for (size_t i = 0; i < host->n_urids; i++)
        free(host->urids[i]);
    for (size_t i = 0; i < host->n_others; i++)
        free(host->other_uris[i]);
    free(host->own_uris);
    free(host->other_uris);
    free(host->urids);
    lilv_world_free(host->own);
    if (host->others)
        lilv_world_free(host->others);
    free(host);
}

const char *const *host_own_uris(const Host *host, size_t *count) {
    *count = host->n_own;
    return (const char *const *)host->own_uris;
}

const char *const *host_other_uris(Host *host, size_t *count) {
    load_others(host);
    if (!host->other_uris)
        host->other_uris = list_uris(host->others, "", &host->n_others);
    *count = host->n_others;
    return (const char *const *)host->other_uris;
}

/* ---- finding a plugin ---- */

static const LilvPlugin *look_up(LilvWorld *world, const char *uri) {
    LilvNode *node = lilv_new_uri(world, uri);
    const LilvPlugin *plugin =
        node ? lilv_plugins_get_by_uri(lilv_world_get_all_plugins(world), node) : NULL;
    lilv_node_free(node);
    return plugin;
}

static const HostPlugin *find_uri(Host *host, const char *uri, HostError *error) {
    for (const Described *d = host->described; d; d = d->next)
        if (strcmp(d->plugin.uri, uri) == 0)
            return &d->plugin;
    LilvWorld *world = host->own;
    const LilvPlugin *lilv = look_up(world, uri);
    if (!lilv) {
        load_others(host);
        world = host->others;
        lilv = look_up(world, uri);
    }
    if (!lilv) {
        host_fail(error, "there is no LV2 plugin <%s>", uri);
        return NULL;
    }
    Described *described = host_take(1, sizeof *described);
    described->plugin.uri = host_copy(uri);
    described->plugin.lilv = lilv;
    described->plugin.world = world;
    if (!host_describe(&described->plugin, error)) {
        host_describe_free(&described->plugin);
        free(described);
        return NULL;
    }
    described->next = host->described;
    host->described = described;
    return &described->plugin;
}

const HostPlugin *host_find(Host *host, const char *name, unsigned channels, HostError *error) {
    if (strchr(name, ':'))
        return find_uri(host, name, error);
    char uri[256];
    int length = snprintf(uri, sizeof uri, "%s%s#%s", HOST_OWN_PREFIX, name,
                          channels == 2 ? "stereo" : "mono");
    if (length < (int)sizeof uri)
        for (size_t i = 0; i < host->n_own; i++)
            if (strcmp(host->own_uris[i], uri) == 0)
                return find_uri(host, uri, error);
    host_fail(error, "there is no processor '%s'", name);
    return NULL;
}

/* ---- an instance ---- */

static bool feature_offered(const char *uri) {
    static const char *const offered[] = {
        LV2_URID__map,           LV2_URID__unmap,         LV2_OPTIONS__options,
        LV2_CORE__isLive,        LV2_CORE__hardRTCapable, LV2_BUF_SIZE__boundedBlockLength,
        LV2_CORE__inPlaceBroken, /* a statement, not a request: host_render_aligned heeds it */
    };
    for (size_t i = 0; i < sizeof offered / sizeof *offered; i++)
        if (strcmp(uri, offered[i]) == 0)
            return true;
    return false;
}

static bool option_offered(const char *uri) {
    return strcmp(uri, LV2_BUF_SIZE__minBlockLength) == 0 ||
           strcmp(uri, LV2_BUF_SIZE__maxBlockLength) == 0 ||
           strcmp(uri, LV2_BUF_SIZE__nominalBlockLength) == 0 ||
           strcmp(uri, LV2_PARAMETERS__sampleRate) == 0;
}

static bool all_offered(const HostPlugin *plugin, LilvNodes *asked, bool (*offered)(const char *),
                        const char *what, HostError *error) {
    bool fine = true;
    LILV_FOREACH(nodes, i, asked) {
        const char *uri = lilv_node_as_uri(lilv_nodes_get(asked, i));
        if (fine && !offered(uri))
            fine = host_fail(error, "<%s> requires the %s <%s>, which this host does not offer",
                             plugin->uri, what, uri);
    }
    lilv_nodes_free(asked);
    return fine;
}

static bool check_requirements(const HostPlugin *plugin, HostError *error) {
    LilvNode *predicate = host_node(plugin, LV2_OPTIONS__requiredOption);
    LilvNodes *options = lilv_plugin_get_value(plugin->lilv, predicate);
    lilv_node_free(predicate);
    return all_offered(plugin, options, option_offered, "option", error) &&
           all_offered(plugin, lilv_plugin_get_required_features(plugin->lilv), feature_offered,
                       "feature", error);
}

static void offer_features(HostInstance *instance) {
    Host *host = instance->host;
    LV2_URID int_type = map_uri(host, LV2_ATOM__Int);
    instance->block_min = 0;
    instance->block_max = (int32_t)instance->max_block;
    instance->option_rate = (float)instance->rate_hz;
    const struct {
        const char *uri;
        const int32_t *value;
    } lengths[] = {
        {LV2_BUF_SIZE__minBlockLength, &instance->block_min},
        {LV2_BUF_SIZE__maxBlockLength, &instance->block_max},
        {LV2_BUF_SIZE__nominalBlockLength, &instance->block_max},
    };
    for (size_t i = 0; i < 3; i++)
        instance->options[i] =
            (LV2_Options_Option){LV2_OPTIONS_INSTANCE, 0,        map_uri(host, lengths[i].uri),
                                 sizeof(int32_t),      int_type, lengths[i].value};
    instance->options[3] = (LV2_Options_Option){LV2_OPTIONS_INSTANCE,
                                                0,
                                                map_uri(host, LV2_PARAMETERS__sampleRate),
                                                sizeof(float),
                                                map_uri(host, LV2_ATOM__Float),
                                                &instance->option_rate};
    instance->options_feature = (LV2_Feature){LV2_OPTIONS__options, instance->options};
    instance->features[0] = &host->map_feature;
    instance->features[1] = &host->unmap_feature;
    instance->features[2] = &instance->options_feature;
    instance->features[3] = &host->bounded_feature;
    instance->features[4] = host->live ? NULL : &host->momentary_feature;
}

static void connect(HostInstance *instance, uint32_t port, const float *data) {
    union {
        const float *from;
        void *to;
    } pointer = {.from = data}; /* LV2 takes void * for inputs too, and writes only to outputs */
    lilv_instance_connect_port(instance->lilv, port, pointer.to);
}

static void connect_at_rest(HostInstance *instance) {
    const HostPlugin *plugin = instance->plugin;
    for (uint32_t i = 0; i < plugin->n_ports; i++) {
        const HostPort *port = &plugin->ports[i];
        if (port->role == HOST_CONTROL || port->role == HOST_METER) {
            instance->value[i] = host_range(port, instance->rate_hz).initial;
            connect(instance, i, &instance->value[i]);
        } else if (port->role == HOST_OUT) {
            connect(instance, i, instance->discard);
        } else if (port->role == HOST_UNUSED || port->optional) {
            connect(instance, i, NULL);
        } else {
            connect(instance, i, instance->silence);
        }
    }
    if (plugin->latency)
        instance->value[plugin->latency->index] = 0.0f;
    if (plugin->free_wheeling)
        instance->value[plugin->free_wheeling->index] = 1.0f;
}

HostInstance *host_instantiate(Host *host, const HostPlugin *plugin, double rate_hz,
                               size_t max_block, HostError *error) {
    if (max_block < 1 || max_block > HOST_MAX_BLOCK) {
        host_fail(error, "a block of %zu frames: 1..%d are allowed", max_block, HOST_MAX_BLOCK);
        return NULL;
    }
    if (!check_requirements(plugin, error))
        return NULL;
    HostInstance *instance = host_take(1, sizeof *instance);
    instance->host = host;
    instance->plugin = plugin;
    instance->rate_hz = rate_hz;
    instance->max_block = max_block;
    instance->value = host_take(plugin->n_ports, sizeof(float));
    instance->silence = host_take(max_block, sizeof(float));
    instance->discard = host_take(max_block, sizeof(float));
    offer_features(instance);
    instance->lilv = lilv_plugin_instantiate(plugin->lilv, rate_hz, instance->features);
    if (!instance->lilv) {
        host_fail(error, "<%s> cannot be instantiated at %g Hz", plugin->uri, rate_hz);
        host_free(instance);
        return NULL;
    }
    connect_at_rest(instance);
    return instance;
}

void host_free(HostInstance *instance) {
    if (!instance)
        return;
    if (instance->lilv) {
        host_deactivate(instance);
        lilv_instance_free(instance->lilv);
    }
    free(instance->value);
    free(instance->silence);
    free(instance->discard);
    free(instance);
}

const HostPlugin *host_plugin(const HostInstance *instance) {
    return instance->plugin;
}

LilvInstance *host_lilv(HostInstance *instance) {
    return instance->lilv;
}

size_t host_max_block(const HostInstance *instance) {
    return instance->max_block;
}

/* ---- controls, meters, presets ---- */

bool host_set(HostInstance *instance, const char *symbol, float value, HostError *error) {
    const HostPort *port = host_port(instance->plugin, symbol);
    if (!port || port->role != HOST_CONTROL)
        return host_fail(error, "%s has no control '%s'", instance->plugin->name, symbol);
    instance->value[port->index] = value;
    return true;
}

float host_get(const HostInstance *instance, const char *symbol) {
    const HostPort *port = host_port(instance->plugin, symbol);
    return port && (port->role == HOST_CONTROL || port->role == HOST_METER)
               ? instance->value[port->index]
               : NAN;
}

static void take_preset_value(const char *symbol, void *user, const void *value, uint32_t size,
                              uint32_t type) {
    HostInstance *instance = user;
    const char *type_uri = unmap_urid(instance->host, type);
    float number = NAN;
    if (!type_uri)
        return;
    if (strcmp(type_uri, LV2_ATOM__Float) == 0 && size == sizeof(float))
        number = *(const float *)value;
    else if (strcmp(type_uri, LV2_ATOM__Double) == 0 && size == sizeof(double))
        number = (float)*(const double *)value;
    else if (strcmp(type_uri, LV2_ATOM__Long) == 0 && size == sizeof(int64_t))
        number = (float)*(const int64_t *)value;
    else if ((strcmp(type_uri, LV2_ATOM__Int) == 0 || strcmp(type_uri, LV2_ATOM__Bool) == 0) &&
             size == sizeof(int32_t))
        number = (float)*(const int32_t *)value;
    if (isfinite(number))
        host_set(instance, symbol, number, NULL);
}

bool host_load_preset(HostInstance *instance, const char *preset, HostError *error) {
    const HostPlugin *plugin = instance->plugin;
    for (size_t i = 0; i < plugin->n_presets; i++) {
        if (!host_preset_is(&plugin->presets[i], preset))
            continue;
        LilvNode *node = host_node(plugin, plugin->presets[i].uri);
        LilvState *state = lilv_state_new_from_world(plugin->world, &instance->host->map, node);
        lilv_node_free(node);
        if (!state)
            return host_fail(error, "the preset '%s' of %s cannot be read", preset, plugin->name);
        lilv_state_restore(state, instance->lilv, take_preset_value, instance, 0,
                           instance->features);
        lilv_state_free(state);
        return true;
    }
    return host_fail(error, "%s has no preset '%s'", plugin->name, preset);
}

/* ---- running ---- */

void host_activate(HostInstance *instance) {
    if (!instance->active)
        lilv_instance_activate(instance->lilv);
    instance->active = true;
}

void host_deactivate(HostInstance *instance) {
    if (instance->active)
        lilv_instance_deactivate(instance->lilv);
    instance->active = false;
}

static void run_piece(HostInstance *instance, size_t from, size_t n, const float *const *in,
                      const float *const *key, float *const *out) {
    const HostPlugin *plugin = instance->plugin;
    for (size_t i = 0; i < plugin->n_in; i++)
        connect(instance, plugin->in[i], in ? in[i] + from : instance->silence);
    for (size_t i = 0; i < plugin->n_key; i++) {
        bool optional = plugin->ports[plugin->key[i]].optional;
        connect(instance, plugin->key[i],
                key        ? key[i] + from
                : optional ? NULL
                           : instance->silence);
    }
    for (size_t i = 0; i < plugin->n_out; i++)
        connect(instance, plugin->out[i], out ? out[i] + from : instance->discard);
    lilv_instance_run(instance->lilv, (uint32_t)n);
}

void host_run(HostInstance *instance, size_t n, const float *const *in, const float *const *key,
              float *const *out) {
    size_t from = 0;
    do {
        size_t piece = n - from < instance->max_block ? n - from : instance->max_block;
        run_piece(instance, from, piece, in, key, out);
        from += piece;
    } while (from < n);
}

bool host_latency(const HostInstance *instance, size_t *frames, HostError *error) {
    const HostPort *port = instance->plugin->latency;
    float value = port ? instance->value[port->index] : 0.0f;
    /* A minute's worth of frames is already far beyond any look-ahead; NaN fails both ways. */
    if (!(value >= 0.0f && value <= (float)(60.0 * instance->rate_hz)))
        return host_fail(error, "%s reports an impossible latency of %g frames",
                         instance->plugin->name, (double)value);
    *frames = (size_t)lrintf(value);
    return true;
}

bool host_probe_latency(HostInstance *instance, size_t *frames, HostError *error) {
    host_activate(instance);
    host_run(instance, 0, NULL, NULL, NULL);
    if (!instance->plugin->id) /* some plugins know their latency only after a real block */
        host_run(instance, instance->max_block, NULL, NULL, NULL);
    host_deactivate(instance);
    return host_latency(instance, frames, error);
}
