/* SPDX-License-Identifier: ISC */
#include "host/describe.h"

#include <lv2/core/lv2.h>
#include <lv2/port-groups/port-groups.h>
#include <lv2/port-props/port-props.h>
#include <lv2/presets/presets.h>
#include <lv2/units/units.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define RDFS "http://www.w3.org/2000/01/rdf-schema#"
#define RDFS_COMMENT RDFS "comment"
#define RDFS_LABEL RDFS "label"

/* Memory for descriptions is small; a process without it cannot say anything useful any more. */
void *host_must(void *memory) {
    if (!memory) {
        fputs("siskin: out of memory\n", stderr);
        abort();
    }
    return memory;
}

void *host_take(size_t count, size_t size) {
    return host_must(calloc(count ? count : 1, size));
}

char *host_copy(const char *text) {
    return host_must(strdup(text));
}

static bool is_uri(const LilvNode *node, const char *uri) {
    return node && lilv_node_is_uri(node) && strcmp(lilv_node_as_uri(node), uri) == 0;
}

LilvNode *host_node(const HostPlugin *plugin, const char *uri) {
    return host_must(lilv_new_uri(plugin->world, uri));
}

static bool port_is_a(const HostPlugin *plugin, const LilvPort *port, const char *class_uri) {
    LilvNode *node = host_node(plugin, class_uri);
    bool is = lilv_port_is_a(plugin->lilv, port, node);
    lilv_node_free(node);
    return is;
}

static bool port_has(const HostPlugin *plugin, const LilvPort *port, const char *property_uri) {
    LilvNode *node = host_node(plugin, property_uri);
    bool has = lilv_port_has_property(plugin->lilv, port, node);
    lilv_node_free(node);
    return has;
}

/* The first value of `predicate`; the caller frees it. */
static LilvNode *port_get(const HostPlugin *plugin, const LilvPort *port, const char *predicate) {
    LilvNode *node = host_node(plugin, predicate);
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
        LilvNode *predicate = host_node(plugin, LV2_PORT_GROUPS__sideChainOf);
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
    port->points = host_take(lilv_scale_points_size(points), sizeof *port->points);
    LILV_FOREACH(scale_points, i, points) {
        const LilvScalePoint *point = lilv_scale_points_get(points, i);
        port->points[port->n_points++] = (HostScalePoint){
            lilv_node_as_float(lilv_scale_point_get_value(point)),
            host_copy(lilv_node_as_string(lilv_scale_point_get_label(point))),
        };
    }
    lilv_scale_points_free(points);
    qsort(port->points, port->n_points, sizeof *port->points, by_value);
}

/* Units of the LV2 vocabulary, by table, since the vocabulary itself is not loaded for own bundles.
 * NULL: not one of them. */
static const char *known_unit(const LilvNode *unit) {
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
    for (size_t i = 0; i < sizeof known / sizeof *known; i++)
        if (is_uri(unit, known[i].uri))
            return known[i].print;
    return NULL;
}

/* The unit as printed; one that is not known by the symbol it gives; else "". */
static char *describe_unit(const HostPlugin *plugin, const LilvPort *lilv) {
    LilvNode *unit = port_get(plugin, lilv, LV2_UNITS__unit);
    LilvNode *symbol = NULL;
    const char *print = unit ? known_unit(unit) : "";
    if (!print) {
        LilvNode *predicate = host_node(plugin, LV2_UNITS__symbol);
        symbol = lilv_world_get(plugin->world, unit, predicate, NULL);
        lilv_node_free(predicate);
        print = symbol ? lilv_node_as_string(symbol) : "";
    }
    char *copy = host_copy(print);
    lilv_node_free(symbol);
    lilv_node_free(unit);
    return copy;
}

static bool describe_port(HostPlugin *plugin, uint32_t index, HostError *error) {
    HostPort *port = &plugin->ports[index];
    const LilvPort *lilv = lilv_plugin_get_port_by_index(plugin->lilv, index);
    port->index = index;
    LilvNode *name = lilv_port_get_name(plugin->lilv, lilv);
    const char *symbol = lilv_node_as_string(lilv_port_get_symbol(plugin->lilv, lilv));
    port->symbol = host_copy(symbol);
    port->name = host_copy(name ? lilv_node_as_string(name) : symbol);
    lilv_node_free(name);
    LilvNode *doc = port_get(plugin, lilv, RDFS_COMMENT);
    port->doc = host_copy(doc ? lilv_node_as_string(doc) : "");
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
    LilvNode *class_node = host_node(plugin, LV2_PRESETS__Preset);
    LilvNode *label_node = host_node(plugin, RDFS_LABEL);
    LilvNodes *presets = lilv_plugin_get_related(plugin->lilv, class_node);
    plugin->presets = host_take(lilv_nodes_size(presets), sizeof *plugin->presets);
    LILV_FOREACH(nodes, i, presets) {
        const LilvNode *preset = lilv_nodes_get(presets, i);
        lilv_world_load_resource(plugin->world, preset);
        LilvNode *label = lilv_world_get(plugin->world, preset, label_node, NULL);
        const char *uri = lilv_node_as_uri(preset);
        plugin->presets[plugin->n_presets++] =
            (HostPreset){host_copy(uri), host_copy(label ? lilv_node_as_string(label) : uri)};
        lilv_node_free(label);
    }
    lilv_nodes_free(presets);
    lilv_node_free(label_node);
    lilv_node_free(class_node);
    qsort(plugin->presets, plugin->n_presets, sizeof *plugin->presets, by_label);
}

static char *own_id(const char *uri) {
    const char *hash = strchr(uri, '#');
    if (strncmp(uri, HOST_OWN_PREFIX, sizeof HOST_OWN_PREFIX - 1) != 0 || !hash)
        return NULL;
    return host_must(strndup(uri + sizeof HOST_OWN_PREFIX - 1,
                             (size_t)(hash - uri) - sizeof HOST_OWN_PREFIX + 1));
}

static char *describe_doc(const HostPlugin *plugin) {
    LilvNode *predicate = host_node(plugin, LV2_CORE__documentation);
    LilvNodes *docs = lilv_plugin_get_value(plugin->lilv, predicate);
    const LilvNode *doc = docs ? lilv_nodes_get_first(docs) : NULL;
    char *text = host_copy(doc ? lilv_node_as_string(doc) : "");
    lilv_nodes_free(docs);
    lilv_node_free(predicate);
    return text;
}

bool host_describe(HostPlugin *plugin, HostError *error) {
    plugin->n_ports = lilv_plugin_get_num_ports(plugin->lilv);
    plugin->ports = host_take(plugin->n_ports, sizeof *plugin->ports);
    LilvNode *name = lilv_plugin_get_name(plugin->lilv);
    plugin->name = host_copy(name ? lilv_node_as_string(name) : plugin->uri);
    lilv_node_free(name);
    plugin->doc = describe_doc(plugin);
    plugin->id = own_id(plugin->uri);
    if (plugin->n_ports == 0)
        return host_fail(error, "<%s> has no ports that can be read", plugin->uri);
    for (uint32_t i = 0; i < plugin->n_ports; i++)
        if (!describe_port(plugin, i, error))
            return false;
    LilvNode *broken = host_node(plugin, LV2_CORE__inPlaceBroken);
    plugin->in_place_broken = lilv_plugin_has_feature(plugin->lilv, broken);
    lilv_node_free(broken);
    describe_presets(plugin);
    return collect(plugin, HOST_IN, plugin->in, &plugin->n_in, error) &&
           collect(plugin, HOST_KEY, plugin->key, &plugin->n_key, error) &&
           collect(plugin, HOST_OUT, plugin->out, &plugin->n_out, error);
}

void host_describe_free(HostPlugin *plugin) {
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
