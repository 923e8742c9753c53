/* SPDX-License-Identifier: ISC */
#include "host.h"

#include <dirent.h>
#include <errno.h>
#include <lv2/atom/atom.h>
#include <lv2/buf-size/buf-size.h>
#include <lv2/core/lv2.h>
#include <lv2/options/options.h>
#include <lv2/parameters/parameters.h>
#include <lv2/port-groups/port-groups.h>
#include <lv2/port-props/port-props.h>
#include <lv2/presets/presets.h>
#include <lv2/state/state.h>
#include <lv2/units/units.h>
#include <lv2/urid/urid.h>
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <sys/stat.h>

#define RDFS "http://www.w3.org/2000/01/rdf-schema#"
#define RDFS_COMMENT RDFS "comment"
#define RDFS_LABEL RDFS "label"

static const char own_prefix[] = "urn:siskin:";

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
    LV2_Feature map_feature, unmap_feature, bounded_feature;
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
    const LV2_Feature *features[5];
};

/* ---- small helpers ---- */

bool host_fail(HostError *error, const char *format, ...) {
    if (!error)
        return false;
    va_list args;
    va_start(args, format);
    vsnprintf(error->text, sizeof error->text, format, args);
    va_end(args);
    return false;
}

/* Memory for descriptions is small; a process without it cannot say anything useful any more. */
static void *must(void *memory) {
    if (!memory) {
        fputs("siskin: out of memory\n", stderr);
        abort();
    }
    return memory;
}

static void *take(size_t count, size_t size) {
    return must(calloc(count ? count : 1, size));
}

static char *copy_text(const char *text) {
    return must(strdup(text));
}

static bool is_uri(const LilvNode *node, const char *uri) {
    return node && lilv_node_is_uri(node) && strcmp(lilv_node_as_uri(node), uri) == 0;
}

/* ---- URIDs ---- */

static LV2_URID map_uri(LV2_URID_Map_Handle handle, const char *uri) {
    Host *host = handle;
    for (size_t i = 0; i < host->n_urids; i++)
        if (strcmp(host->urids[i], uri) == 0)
            return (LV2_URID)(i + 1);
    host->urids = must(realloc(host->urids, (host->n_urids + 1) * sizeof *host->urids));
    host->urids[host->n_urids] = copy_text(uri);
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
        char *path = take(length, 1);
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
    host->others = must(lilv_world_new());
    lilv_world_load_all(host->others);
}

/* Sorted copies of the URIs in a world that begin with `prefix`. */
static char **list_uris(LilvWorld *world, const char *prefix, size_t *count) {
    const LilvPlugins *plugins = lilv_world_get_all_plugins(world);
    char **uris = take(lilv_plugins_size(plugins), sizeof *uris);
    LILV_FOREACH(plugins, i, plugins) {
        const char *uri = lilv_node_as_uri(lilv_plugin_get_uri(lilv_plugins_get(plugins, i)));
        if (strncmp(uri, prefix, strlen(prefix)) == 0)
            uris[(*count)++] = copy_text(uri);
    }
    qsort(uris, *count, sizeof *uris, by_text);
    return uris;
}

Host *host_open(const char *bundles, HostError *error) {
    Host *host = take(1, sizeof *host);
    host->own = must(lilv_world_new());
    host->map = (LV2_URID_Map){host, map_uri};
    host->unmap = (LV2_URID_Unmap){host, unmap_urid};
    host->map_feature = (LV2_Feature){LV2_URID__map, &host->map};
    host->unmap_feature = (LV2_Feature){LV2_URID__unmap, &host->unmap};
    host->bounded_feature = (LV2_Feature){LV2_BUF_SIZE__boundedBlockLength, NULL};
    if (bundles && !load_own_bundles(host, bundles, error)) {
        host_close(host);
        return NULL;
    }
    if (!bundles)
        load_others(host);
    host->own_uris =
        list_uris(bundles ? host->own : host->others, bundles ? "" : own_prefix, &host->n_own);
    return host;
}

static void free_description(HostPlugin *plugin) {
    for (size_t i = 0; i < plugin->n_ports; i++) {
        HostPort *port = &plugin->ports[i];
        for (size_t p = 0; p < port->n_points; p++)
            free(port->points[p].label);
        free(port->points);
        free(port->symbol);
        free(port->name);
        free(port->doc);
        free(port->unit);
    }
    for (size_t i = 0; i < plugin->n_presets; i++) {
        free(plugin->presets[i].uri);
        free(plugin->presets[i].label);
    }
    free(plugin->presets);
    free(plugin->ports);
    free(plugin->uri);
    free(plugin->name);
    free(plugin->doc);
    free(plugin->id);
}

void host_close(Host *host) {
    if (!host)
        return;
    while (host->described) {
        Described *next = host->described->next;
        free_description(&host->described->plugin);
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

/* ---- describing a plugin ---- */

static LilvNode *uri_node(const HostPlugin *plugin, const char *uri) {
    return must(lilv_new_uri(plugin->world, uri));
}

static bool port_is_a(const HostPlugin *plugin, const LilvPort *port, const char *class_uri) {
    LilvNode *node = uri_node(plugin, class_uri);
    bool is = lilv_port_is_a(plugin->lilv, port, node);
    lilv_node_free(node);
    return is;
}

static bool port_has(const HostPlugin *plugin, const LilvPort *port, const char *property_uri) {
    LilvNode *node = uri_node(plugin, property_uri);
    bool has = lilv_port_has_property(plugin->lilv, port, node);
    lilv_node_free(node);
    return has;
}

/* The first value of `predicate`; the caller frees it. */
static LilvNode *port_get(const HostPlugin *plugin, const LilvPort *port, const char *predicate) {
    LilvNode *node = uri_node(plugin, predicate);
    LilvNode *value = lilv_port_get(plugin->lilv, port, node);
    lilv_node_free(node);
    return value;
}

static bool port_designated(const HostPlugin *plugin, const LilvPort *port, const char *uri) {
    LilvNode *value = port_get(plugin, port, LV2_CORE__designation);
    bool same = is_uri(value, uri);
    lilv_node_free(value);
    return same;
}

static bool port_is_key(const HostPlugin *plugin, const LilvPort *port) {
    if (port_has(plugin, port, LV2_CORE_PREFIX "isSideChain"))
        return true;
    LilvNode *group = port_get(plugin, port, LV2_PORT_GROUPS__group);
    bool key = false;
    if (group) {
        LilvNode *predicate = uri_node(plugin, LV2_PORT_GROUPS__sideChainOf);
        key = lilv_world_ask(plugin->world, group, predicate, NULL);
        lilv_node_free(predicate);
    }
    lilv_node_free(group);
    return key;
}

static bool describe_role(HostPlugin *plugin, HostPort *port, const LilvPort *lilv,
                          HostError *error) {
    bool input = port_is_a(plugin, lilv, LV2_CORE__InputPort);
    if (!input && !port_is_a(plugin, lilv, LV2_CORE__OutputPort))
        return host_fail(error, "<%s>: port '%s' is neither an input nor an output", plugin->uri,
                         port->symbol);
    if (port_is_a(plugin, lilv, LV2_CORE__ControlPort)) {
        port->role = input ? HOST_CONTROL : HOST_METER;
    } else if (port_is_a(plugin, lilv, LV2_CORE__AudioPort)) {
        port->role = !input ? HOST_OUT : port_is_key(plugin, lilv) ? HOST_KEY : HOST_IN;
    } else if (port->optional) {
        port->role = HOST_UNUSED;
    } else {
        return host_fail(error,
                         "<%s>: port '%s' is neither audio nor control and may not be left "
                         "unconnected; this host serves audio and control ports only",
                         plugin->uri, port->symbol);
    }
    return true;
}

static void describe_range(const HostPlugin *plugin, HostPort *port, const LilvPort *lilv) {
    LilvNode *initial = NULL;
    LilvNode *minimum = NULL;
    LilvNode *maximum = NULL;
    lilv_port_get_range(plugin->lilv, lilv, &initial, &minimum, &maximum);
    port->minimum = minimum ? lilv_node_as_float(minimum) : -INFINITY;
    port->maximum = maximum ? lilv_node_as_float(maximum) : INFINITY;
    port->initial =
        initial ? lilv_node_as_float(initial) : fminf(fmaxf(0.0f, port->minimum), port->maximum);
    lilv_node_free(initial);
    lilv_node_free(minimum);
    lilv_node_free(maximum);
    port->by_rate = port_has(plugin, lilv, LV2_CORE__sampleRate);
    port->integer = port_has(plugin, lilv, LV2_CORE__integer);
    port->toggled = port_has(plugin, lilv, LV2_CORE__toggled);
    port->enumeration = port_has(plugin, lilv, LV2_CORE__enumeration);
    port->logarithmic = port_has(plugin, lilv, LV2_PORT_PROPS__logarithmic);
}

static int by_value(const void *a, const void *b) {
    float x = ((const HostScalePoint *)a)->value;
    float y = ((const HostScalePoint *)b)->value;
    return (x > y) - (x < y);
}

static void describe_points(const HostPlugin *plugin, HostPort *port, const LilvPort *lilv) {
    LilvScalePoints *points = lilv_port_get_scale_points(plugin->lilv, lilv);
    if (!points)
        return;
    port->points = take(lilv_scale_points_size(points), sizeof *port->points);
    LILV_FOREACH(scale_points, i, points) {
        const LilvScalePoint *point = lilv_scale_points_get(points, i);
        port->points[port->n_points++] = (HostScalePoint){
            lilv_node_as_float(lilv_scale_point_get_value(point)),
            copy_text(lilv_node_as_string(lilv_scale_point_get_label(point))),
        };
    }
    lilv_scale_points_free(points);
    qsort(port->points, port->n_points, sizeof *port->points, by_value);
}

/* The unit as printed. Units of the LV2 vocabulary by table, since the vocabulary itself is not
 * loaded for own bundles; another unit by the symbol it gives; else none. */
static char *describe_unit(const HostPlugin *plugin, const LilvPort *lilv) {
    static const struct {
        const char *uri, *print;
    } known[] = {
        {LV2_UNITS__db, "dB"},
        {LV2_UNITS__ms, "ms"},
        {LV2_UNITS__s, "s"},
        {LV2_UNITS__min, "min"},
        {LV2_UNITS__hz, "Hz"},
        {LV2_UNITS__khz, "kHz"},
        {LV2_UNITS__pc, "%"},
        {LV2_UNITS__coef, ""},
        {LV2_UNITS__degree, "deg"},
        {LV2_UNITS__oct, "oct"},
        {LV2_UNITS__semitone12TET, "semitones"},
        {LV2_UNITS__cent, "ct"},
        {LV2_UNITS__beat, "beats"},
        {LV2_UNITS__bpm, "BPM"},
        {LV2_UNITS__frame, "frames"},
    };
    LilvNode *unit = port_get(plugin, lilv, LV2_UNITS__unit);
    char *print = NULL;
    for (size_t i = 0; unit && i < sizeof known / sizeof *known; i++)
        if (is_uri(unit, known[i].uri))
            print = copy_text(known[i].print);
    if (unit && !print) {
        LilvNode *predicate = uri_node(plugin, LV2_UNITS__symbol);
        LilvNode *symbol = lilv_world_get(plugin->world, unit, predicate, NULL);
        if (symbol)
            print = copy_text(lilv_node_as_string(symbol));
        lilv_node_free(symbol);
        lilv_node_free(predicate);
    }
    lilv_node_free(unit);
    return print ? print : copy_text("");
}

static bool describe_port(HostPlugin *plugin, uint32_t index, HostError *error) {
    HostPort *port = &plugin->ports[index];
    const LilvPort *lilv = lilv_plugin_get_port_by_index(plugin->lilv, index);
    port->index = index;
    LilvNode *name = lilv_port_get_name(plugin->lilv, lilv);
    const char *symbol = lilv_node_as_string(lilv_port_get_symbol(plugin->lilv, lilv));
    port->symbol = copy_text(symbol);
    port->name = copy_text(name ? lilv_node_as_string(name) : symbol);
    lilv_node_free(name);
    LilvNode *doc = port_get(plugin, lilv, RDFS_COMMENT);
    port->doc = copy_text(doc ? lilv_node_as_string(doc) : "");
    lilv_node_free(doc);
    port->unit = describe_unit(plugin, lilv);
    port->optional = port_has(plugin, lilv, LV2_CORE__connectionOptional);
    if (!describe_role(plugin, port, lilv, error))
        return false;
    if (port->role == HOST_CONTROL || port->role == HOST_METER) {
        describe_range(plugin, port, lilv);
        describe_points(plugin, port, lilv);
    }
    if (port->role == HOST_CONTROL && port_designated(plugin, lilv, LV2_CORE__enabled))
        plugin->enabled = port;
    if (port->role == HOST_CONTROL && port_designated(plugin, lilv, LV2_CORE__freeWheeling))
        plugin->free_wheeling = port;
    if (port->role == HOST_METER && (port_designated(plugin, lilv, LV2_CORE__latency) ||
                                     port_has(plugin, lilv, LV2_CORE__reportsLatency)))
        plugin->latency = port;
    return true;
}

/* Collects the ports of a role in port order, then puts a port designated right after its left. */
static bool collect(const HostPlugin *plugin, HostRole role, uint32_t *indices, size_t *count,
                    HostError *error) {
    *count = 0;
    for (uint32_t i = 0; i < plugin->n_ports; i++) {
        if (plugin->ports[i].role != role)
            continue;
        if (*count == HOST_MAX_AUDIO)
            return host_fail(error, "<%s> has more than %d audio ports of one kind", plugin->uri,
                             HOST_MAX_AUDIO);
        indices[(*count)++] = i;
    }
    if (*count == 2) {
        const LilvPort *first = lilv_plugin_get_port_by_index(plugin->lilv, indices[0]);
        const LilvPort *second = lilv_plugin_get_port_by_index(plugin->lilv, indices[1]);
        if (port_designated(plugin, first, LV2_PORT_GROUPS__right) &&
            port_designated(plugin, second, LV2_PORT_GROUPS__left)) {
            uint32_t swap = indices[0];
            indices[0] = indices[1];
            indices[1] = swap;
        }
    }
    return true;
}

static int by_label(const void *a, const void *b) {
    return strcmp(((const HostPreset *)a)->label, ((const HostPreset *)b)->label);
}

static void describe_presets(HostPlugin *plugin) {
    LilvNode *class_node = uri_node(plugin, LV2_PRESETS__Preset);
    LilvNode *label_node = uri_node(plugin, RDFS_LABEL);
    LilvNodes *presets = lilv_plugin_get_related(plugin->lilv, class_node);
    plugin->presets = take(lilv_nodes_size(presets), sizeof *plugin->presets);
    LILV_FOREACH(nodes, i, presets) {
        const LilvNode *preset = lilv_nodes_get(presets, i);
        lilv_world_load_resource(plugin->world, preset);
        LilvNode *label = lilv_world_get(plugin->world, preset, label_node, NULL);
        const char *uri = lilv_node_as_uri(preset);
        plugin->presets[plugin->n_presets++] =
            (HostPreset){copy_text(uri), copy_text(label ? lilv_node_as_string(label) : uri)};
        lilv_node_free(label);
    }
    lilv_nodes_free(presets);
    lilv_node_free(label_node);
    lilv_node_free(class_node);
    qsort(plugin->presets, plugin->n_presets, sizeof *plugin->presets, by_label);
}

static char *own_id(const char *uri) {
    const char *hash = strchr(uri, '#');
    if (strncmp(uri, own_prefix, sizeof own_prefix - 1) != 0 || !hash)
        return NULL;
    return must(strndup(uri + sizeof own_prefix - 1, (size_t)(hash - uri) - sizeof own_prefix + 1));
}

static char *describe_doc(const HostPlugin *plugin) {
    LilvNode *predicate = uri_node(plugin, LV2_CORE__documentation);
    LilvNodes *docs = lilv_plugin_get_value(plugin->lilv, predicate);
    const LilvNode *doc = docs ? lilv_nodes_get_first(docs) : NULL;
    char *text = copy_text(doc ? lilv_node_as_string(doc) : "");
    lilv_nodes_free(docs);
    lilv_node_free(predicate);
    return text;
}

static bool describe(HostPlugin *plugin, HostError *error) {
    plugin->n_ports = lilv_plugin_get_num_ports(plugin->lilv);
    plugin->ports = take(plugin->n_ports, sizeof *plugin->ports);
    LilvNode *name = lilv_plugin_get_name(plugin->lilv);
    plugin->name = copy_text(name ? lilv_node_as_string(name) : plugin->uri);
    lilv_node_free(name);
    plugin->doc = describe_doc(plugin);
    plugin->id = own_id(plugin->uri);
    if (plugin->n_ports == 0)
        return host_fail(error, "<%s> has no ports that can be read", plugin->uri);
    for (uint32_t i = 0; i < plugin->n_ports; i++)
        if (!describe_port(plugin, i, error))
            return false;
    LilvNode *broken = uri_node(plugin, LV2_CORE__inPlaceBroken);
    plugin->in_place_broken = lilv_plugin_has_feature(plugin->lilv, broken);
    lilv_node_free(broken);
    describe_presets(plugin);
    return collect(plugin, HOST_IN, plugin->in, &plugin->n_in, error) &&
           collect(plugin, HOST_KEY, plugin->key, &plugin->n_key, error) &&
           collect(plugin, HOST_OUT, plugin->out, &plugin->n_out, error);
}

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
    Described *described = take(1, sizeof *described);
    described->plugin.uri = copy_text(uri);
    described->plugin.lilv = lilv;
    described->plugin.world = world;
    if (!describe(&described->plugin, error)) {
        free_description(&described->plugin);
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
    int length =
        snprintf(uri, sizeof uri, "%s%s#%s", own_prefix, name, channels == 2 ? "stereo" : "mono");
    if (length < (int)sizeof uri)
        for (size_t i = 0; i < host->n_own; i++)
            if (strcmp(host->own_uris[i], uri) == 0)
                return find_uri(host, uri, error);
    host_fail(error, "there is no processor '%s'", name);
    return NULL;
}

const HostPort *host_port(const HostPlugin *plugin, const char *symbol) {
    for (size_t i = 0; i < plugin->n_ports; i++)
        if (strcmp(plugin->ports[i].symbol, symbol) == 0)
            return &plugin->ports[i];
    return NULL;
}

HostRange host_range(const HostPort *port, double rate_hz) {
    float scale = port->by_rate ? (float)rate_hz : 1.0f;
    return (HostRange){port->minimum * scale, port->initial * scale, port->maximum * scale};
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
    LilvNode *predicate = uri_node(plugin, LV2_OPTIONS__requiredOption);
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
    HostInstance *instance = take(1, sizeof *instance);
    instance->host = host;
    instance->plugin = plugin;
    instance->rate_hz = rate_hz;
    instance->max_block = max_block;
    instance->value = take(plugin->n_ports, sizeof(float));
    instance->silence = take(max_block, sizeof(float));
    instance->discard = take(max_block, sizeof(float));
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

/* ---- controls, meters, presets ---- */

bool host_set(HostInstance *instance, const char *symbol, float value, HostError *error) {
    const HostPort *port = host_port(instance->plugin, symbol);
    if (!port || port->role != HOST_CONTROL)
        return host_fail(error, "%s has no control '%s'", instance->plugin->name, symbol);
    instance->value[port->index] = value;
    return true;
}

static bool check_points(const HostPort *port, double value, HostError *error) {
    char allowed[512] = "";
    size_t used = 0;
    for (size_t i = 0; i < port->n_points; i++) {
        if ((double)port->points[i].value == value)
            return true;
        if (used < sizeof allowed)
            used +=
                (size_t)snprintf(allowed + used, sizeof allowed - used, "%s%g (%s)", i ? ", " : "",
                                 (double)port->points[i].value, port->points[i].label);
    }
    return host_fail(error, "%s = %g: allowed are %s", port->symbol, value, allowed);
}

bool host_check(const HostPlugin *plugin, const char *symbol, double value, double rate_hz,
                HostError *error) {
    const HostPort *port = host_port(plugin, symbol);
    if (!port || port->role != HOST_CONTROL)
        return host_fail(error, "%s has no control '%s'", plugin->name, symbol);
    if (port->enumeration && port->n_points)
        return check_points(port, value, error);
    HostRange range = host_range(port, rate_hz);
    if (port->toggled && value != 0.0 && value != 1.0)
        return host_fail(error, "%s = %g: allowed are 0 and 1", symbol, value);
    /* Compared as the plugin will see it: 0.1 typed must pass for a bound of 0.1f. */
    float seen = (float)value;
    if (!isfinite(seen) || seen < range.minimum || seen > range.maximum)
        return host_fail(error, "%s = %g: allowed are %g to %g%s%s", symbol, value,
                         (double)range.minimum, (double)range.maximum, *port->unit ? " " : "",
                         port->unit);
    if (port->integer && value != floor(value))
        return host_fail(error, "%s = %g: allowed are whole numbers from %g to %g", symbol, value,
                         (double)range.minimum, (double)range.maximum);
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

const char *host_preset_name(const HostPreset *preset) {
    const char *last = preset->uri;
    for (const char *c = preset->uri; *c; c++)
        if (strchr(":/#", *c) && c[1])
            last = c + 1;
    return last;
}

bool host_preset_is(const HostPreset *preset, const char *word) {
    return strcasecmp(preset->label, word) == 0 || strcmp(preset->uri, word) == 0 ||
           strcmp(host_preset_name(preset), word) == 0;
}

bool host_load_preset(HostInstance *instance, const char *preset, HostError *error) {
    const HostPlugin *plugin = instance->plugin;
    for (size_t i = 0; i < plugin->n_presets; i++) {
        if (!host_preset_is(&plugin->presets[i], preset))
            continue;
        LilvNode *node = uri_node(plugin, plugin->presets[i].uri);
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

/* ---- whole buffers ---- */

typedef struct {
    float *in[HOST_MAX_AUDIO], *key[HOST_MAX_AUDIO], *out[HOST_MAX_AUDIO];
    float *memory;
} Blocks;

static bool make_blocks(Blocks *blocks, const HostPlugin *plugin, const HostRender *render,
                        HostError *error) {
    size_t total = plugin->n_in + plugin->n_key + plugin->n_out;
    blocks->memory = calloc(total ? total * render->block : 1, sizeof(float));
    if (!blocks->memory)
        return host_fail(error, "out of memory");
    float *next = blocks->memory;
    for (size_t i = 0; i < plugin->n_in; i++, next += render->block)
        blocks->in[i] = next;
    for (size_t i = 0; i < plugin->n_key; i++, next += render->block)
        blocks->key[i] = next;
    for (size_t i = 0; i < plugin->n_out; i++, next += render->block)
        blocks->out[i] = render->in_place && i < plugin->n_in ? blocks->in[i] : next;
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

static bool render_blocks(HostInstance *instance, const HostRender *render, Blocks *blocks,
                          size_t latency, HostError *error) {
    const HostPlugin *plugin = instance->plugin;
    for (size_t from = 0; from < render->frames + latency; from += render->block) {
        size_t left = render->frames + latency - from;
        size_t n = left < render->block ? left : render->block;
        fill(blocks->in, render->in, plugin->n_in, render->frames, from, n);
        if (render->key)
            fill(blocks->key, render->key, plugin->n_key, render->frames, from, n);
        host_run(instance, n, (const float *const *)blocks->in,
                 render->key ? (const float *const *)blocks->key : NULL, blocks->out);
        keep(render->out, blocks->out, plugin->n_out, latency, from, n);
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
    if (render->block < 1 || render->block > instance->max_block)
        return host_fail(error, "a block of %zu frames: the instance was made for 1..%zu",
                         render->block, instance->max_block);
    if (render->in_place && instance->plugin->in_place_broken)
        return host_fail(error, "%s cannot work in place", instance->plugin->name);
    Blocks blocks = {0};
    size_t latency = 0;
    if (!host_probe_latency(instance, &latency, error) ||
        !make_blocks(&blocks, instance->plugin, render, error))
        return false;
    host_activate(instance);
    bool fine = render_blocks(instance, render, &blocks, latency, error);
    host_deactivate(instance);
    free(blocks.memory);
    return fine;
}
