/* SPDX-License-Identifier: ISC */
/* What the bundle says about itself: complete, consistent, and what hosts make use of. Read by
 * lilv, as hosts read it. Where the words come from: the LV2 core specification and those of port
 * groups, port properties, units and presets; what lv2_validate sees is left to it. */
#include "contract/contract.h"

#include "contract/guard.h"

#include <lv2/core/lv2.h>
#include <lv2/options/options.h>
#include <lv2/port-groups/port-groups.h>
#include <lv2/port-props/port-props.h>
#include <lv2/presets/presets.h>
#include <lv2/units/units.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>

#define RDF_TYPE "http://www.w3.org/1999/02/22-rdf-syntax-ns#type"
#define RDFS "http://www.w3.org/2000/01/rdf-schema#"
#define DOAP "http://usefulinc.com/ns/doap#"
#define FOAF "http://xmlns.com/foaf/0.1/"
#define LV2 LV2_CORE_PREFIX
#define OWN "urn:siskin:ns#"

/* ---- asking lilv ---- */

/* A question about `about`: all values of one property. Nodes live as long as the process. */
static LilvNodes *all(const Subject *subject, const LilvNode *about, const char *property) {
    LilvWorld *world = subject->plugin->world;
    return lilv_world_find_nodes(world, about, lilv_new_uri(world, property), NULL);
}

static const LilvNode *one(const Subject *subject, const LilvNode *about, const char *property) {
    LilvNodes *found = all(subject, about, property);
    return found ? lilv_nodes_get_first(found) : NULL;
}

static bool says(const Subject *subject, const LilvNode *about, const char *property,
                 const char *value) {
    LilvWorld *world = subject->plugin->world;
    return lilv_world_ask(world, about, lilv_new_uri(world, property), lilv_new_uri(world, value));
}

static const LilvNode *self(const Subject *subject) {
    return lilv_plugin_get_uri(subject->plugin->lilv);
}

static const LilvNode *node_of(const Subject *subject, const HostPort *port) {
    const LilvPlugin *plugin = subject->plugin->lilv;
    return lilv_port_get_node(plugin, lilv_plugin_get_port_by_index(plugin, port->index));
}

/* A text worth reading: at least so many characters. */
static bool text(const LilvNode *node, size_t least) {
    return node && lilv_node_is_literal(node) && strlen(lilv_node_as_string(node)) >= least;
}

/* By asking, since lilv lists only one of several texts of the same language. */
bool contract_may(const Subject *subject, const char *word) {
    return host_may(subject->plugin, word);
}

double contract_most_gain_db(const Subject *subject) {
    const LilvNode *most = one(subject, self(subject), OWN "mostGain");
    return most && lilv_node_is_float(most) ? (double)lilv_node_as_float(most) : 0.0;
}

/* ---- the plugin ---- */

static bool has_a_class(const Subject *subject, HostError *why) {
    LilvNodes *types = all(subject, self(subject), RDF_TYPE);
    LILV_FOREACH(nodes, i, types) {
        const char *uri = lilv_node_as_uri(lilv_nodes_get(types, i));
        if (strncmp(uri, LV2, strlen(LV2)) == 0 && strcmp(uri, LV2_CORE__Plugin) != 0)
            return true;
    }
    return host_fail(why, "it has no class beside lv2:Plugin, so menus cannot sort it");
}

static bool has_versions(const Subject *subject, HostError *why) {
    const LilvNode *minor = one(subject, self(subject), LV2_CORE__minorVersion);
    const LilvNode *micro = one(subject, self(subject), LV2_CORE__microVersion);
    if (!minor || !micro || !lilv_node_is_int(minor) || !lilv_node_is_int(micro))
        return host_fail(why, "lv2:minorVersion and lv2:microVersion must both be there");
    int a = lilv_node_as_int(minor), b = lilv_node_as_int(micro);
    return (a >= 2 && a % 2 == 0 && b >= 0 && b % 2 == 0) ||
           host_fail(why, "version %d.%d: minor must be even and not 0, micro even, in a release",
                     a, b);
}

/* The licence stands with the plugin too; the maintainer with the project alone, since the
 * vocabulary has maintainers of projects only. Hosts find it there. */
static bool has_origin(const Subject *subject, const LilvNode *project, HostError *why) {
    const LilvNode *own = one(subject, self(subject), DOAP "license");
    const LilvNode *licence = one(subject, project, DOAP "license");
    const LilvNode *maintainer = one(subject, project, DOAP "maintainer");
    if (!own || !lilv_node_is_uri(own))
        return host_fail(why, "the plugin has no doap:license, or none that is a URI");
    if (!licence || !lilv_node_equals(own, licence))
        return host_fail(why, "the project has not the plugin's doap:license");
    if (!maintainer || !text(one(subject, maintainer, FOAF "name"), 3))
        return host_fail(why, "the project has no doap:maintainer with a foaf:name");
    return text(lilv_plugin_get_author_name(subject->plugin->lilv), 3) ||
           host_fail(why, "hosts find no author");
}

static bool says_what_it_is(const Subject *subject, HostError *why) {
    const LilvNode *about = self(subject);
    const LilvNode *project = one(subject, about, LV2_CORE__project);
    if (!text(one(subject, about, DOAP "name"), 3))
        return host_fail(why, "it has no doap:name");
    if (!text(one(subject, about, LV2_CORE__documentation), 40))
        return host_fail(why, "it has no lv2:documentation, or hardly any");
    if (!project || !text(one(subject, project, DOAP "name"), 3))
        return host_fail(why, "it has no lv2:project with a doap:name");
    return has_a_class(subject, why) && has_versions(subject, why) &&
           has_origin(subject, project, why);
}

static bool asks_for_nothing(const Subject *subject, HostError *why) {
    static const char *const requests[] = {LV2_CORE__requiredFeature, LV2_OPTIONS__requiredOption,
                                           LV2_CORE__extensionData};
    for (size_t i = 0; i < sizeof requests / sizeof *requests; i++) {
        const LilvNode *asked = one(subject, self(subject), requests[i]);
        if (asked)
            return host_fail(why, "it asks the host for <%s>", lilv_node_as_uri(asked));
    }
    if (says(subject, self(subject), LV2_CORE__optionalFeature, LV2_CORE__inPlaceBroken))
        return host_fail(why, "it says that it cannot work in place");
    return says(subject, self(subject), LV2_CORE__optionalFeature, LV2_CORE__hardRTCapable) ||
           host_fail(why, "it does not say lv2:hardRTCapable");
}

/* ---- ports ---- */

static bool port_fail(HostError *why, const HostPort *port, const char *what) {
    return host_fail(why, "the port '%s' %s", port->symbol, what);
}

static bool named(const Subject *subject, const HostPort *port, HostError *why) {
    const LilvNode *node = node_of(subject, port);
    if (!text(one(subject, node, LV2_CORE__name), 2))
        return port_fail(why, port, "has no lv2:name");
    if (!text(one(subject, node, RDFS "comment"), 8))
        return port_fail(why, port, "has no rdfs:comment that tells what it does");
    for (size_t i = 0; i < port->index; i++) {
        if (strcmp(subject->plugin->ports[i].symbol, port->symbol) == 0)
            return port_fail(why, port, "has a symbol that another port has too");
        if (strcmp(subject->plugin->ports[i].name, port->name) == 0)
            return port_fail(why, port, "has a name that another port has too");
    }
    return true;
}

static bool is_whole(float value) {
    return value == rintf(value);
}

static bool points_fit(const HostPort *port, HostError *why) {
    bool has_default = false;
    if (!port->enumeration)
        return port->n_points == 0 ||
               port_fail(why, port, "has scale points and is no enumeration");
    if (port->n_points < 2)
        return port_fail(why, port, "is an enumeration of fewer than two points");
    for (size_t i = 0; i < port->n_points; i++) {
        float value = port->points[i].value;
        has_default |= value == port->initial;
        if (!(value >= port->minimum && value <= port->maximum))
            return port_fail(why, port, "has a scale point outside its range");
        if (!*port->points[i].label ||
            (i > 0 && (value == port->points[i - 1].value ||
                       strcmp(port->points[i].label, port->points[i - 1].label) == 0)))
            return port_fail(why, port, "has scale points without a label or twice the same");
    }
    return has_default || port_fail(why, port, "has a default that is none of its scale points");
}

static bool range_fits(const Subject *subject, const HostPort *port, HostError *why) {
    const LilvNode *node = node_of(subject, port);
    bool control = port->role == HOST_CONTROL;
    if (!one(subject, node, LV2_CORE__minimum) || !one(subject, node, LV2_CORE__maximum) ||
        (control && !one(subject, node, LV2_CORE__default)))
        return port_fail(why, port, "must have a minimum, a maximum and a default");
    if (!(port->minimum < port->maximum))
        return port_fail(why, port, "has an empty range");
    if (control && !(port->initial >= port->minimum && port->initial <= port->maximum))
        return port_fail(why, port, "has a default outside its range");
    if (port->by_rate)
        return port_fail(why, port, "has a range in multiples of the sample rate");
    if (port->logarithmic && !(port->minimum > 0.0f))
        return port_fail(why, port, "is logarithmic and reaches 0");
    if (port->integer && !(is_whole(port->minimum) && is_whole(port->maximum) &&
                           is_whole(control ? port->initial : 0.0f)))
        return port_fail(why, port, "is an integer with bounds that are none");
    if (port->toggled &&
        !(port->minimum == 0.0f && port->maximum == 1.0f && (!control || is_whole(port->initial))))
        return port_fail(why, port, "is a toggle that does not go from 0 to 1");
    return points_fit(port, why);
}

/* Frequencies are heard on a logarithmic scale, and the unit goes with the name in every host. */
static bool unit_fits(const Subject *subject, const HostPort *port, HostError *why) {
    LilvNodes *units = all(subject, node_of(subject, port), LV2_UNITS__unit);
    size_t n = units ? lilv_nodes_size(units) : 0;
    if (n > 1)
        return port_fail(why, port, "has several units");
    if (n == 1 && !*port->unit && port->role == HOST_CONTROL)
        return port_fail(why, port, "has a unit that hosts do not know");
    if (n == 1 && (port->toggled || port->enumeration))
        return port_fail(why, port, "is a switch with a unit");
    if (port->role == HOST_CONTROL && strcmp(port->unit, "Hz") == 0 && !port->logarithmic)
        return port_fail(why, port, "is a frequency and not logarithmic");
    return true;
}

static bool ports_say_what_they_are(const Subject *subject, HostError *why) {
    for (size_t i = 0; i < subject->plugin->n_ports; i++) {
        const HostPort *port = &subject->plugin->ports[i];
        bool number = port->role == HOST_CONTROL || port->role == HOST_METER;
        if (port->role == HOST_UNUSED)
            return port_fail(why, port, "is neither audio nor control");
        if (!named(subject, port, why) ||
            (number && !(range_fits(subject, port, why) && unit_fits(subject, port, why))))
            return false;
    }
    return true;
}

/* lv2core: a short name "should be at most 16 characters". */
static bool short_name_fits(const Subject *subject, const HostPort *port, HostError *why) {
    const LilvNode *name = one(subject, node_of(subject, port), LV2 "shortName");
    return (text(name, 2) && strlen(lilv_node_as_string(name)) <= 16) ||
           port_fail(why, port, "has no lv2:shortName of at most 16 characters");
}

/* What a generic view makes of them: the latency is for the host alone, the most important controls
 * come first, and what belongs together stands together. */
static bool ports_can_be_drawn(const Subject *subject, HostError *why) {
    const HostPlugin *plugin = subject->plugin;
    for (size_t i = 0; i < plugin->n_ports; i++) {
        const HostPort *port = &plugin->ports[i];
        const LilvNode *node = node_of(subject, port);
        const LilvNode *group = one(subject, node, LV2_PORT_GROUPS__group);
        bool own = contract_own_control(plugin, port);
        if (!short_name_fits(subject, port, why))
            return false;
        if (port == plugin->latency &&
            !says(subject, node, LV2_CORE__portProperty, LV2_PORT_PROPS__notOnGUI))
            return port_fail(why, port, "is for the host and not pprops:notOnGUI");
        if (own && !one(subject, node, LV2_PORT_PROPS__displayPriority))
            return port_fail(why, port, "has no pprops:displayPriority");
        if ((own || (port->role == HOST_METER && port != plugin->latency)) &&
            !(group && text(one(subject, group, LV2_CORE__name), 2) &&
              text(one(subject, group, LV2_CORE__symbol), 2)))
            return port_fail(why, port, "is in no group that has a name and a symbol");
    }
    return true;
}

/* ---- the ports that every plugin has ---- */

static bool has_common_ports(const Subject *subject, HostError *why) {
    const HostPlugin *plugin = subject->plugin;
    const HostPort *enabled = host_port(plugin, "enabled");
    const HostPort *audition = host_port(plugin, "audition");
    const HostPort *latency = host_port(plugin, "latency");
    const HostPort *reduction = host_port(plugin, "reduction");
    if (!enabled || enabled != plugin->enabled || !enabled->toggled || enabled->initial != 1.0f)
        return host_fail(why, "there is no toggle 'enabled', on at first and designated so");
    if (!audition || audition->role != HOST_CONTROL || !audition->enumeration ||
        audition->n_points != 2 || audition->initial != 0.0f)
        return host_fail(why, "there is no enumeration 'audition' of two, 0 at first");
    for (size_t i = 0; i < plugin->n_ports; i++)
        if (&plugin->ports[i] != latency && says(subject, node_of(subject, &plugin->ports[i]),
                                                 LV2_CORE__portProperty, LV2_CORE__reportsLatency))
            return host_fail(why, "'%s' reports a latency too", plugin->ports[i].symbol);
    if (!latency || latency != plugin->latency || !latency->integer ||
        strcmp(latency->unit, "frames") != 0)
        return host_fail(why, "there is no integer meter 'latency' in frames");
    if (!says(subject, node_of(subject, latency), LV2_CORE__designation, LV2_CORE__latency) ||
        !says(subject, node_of(subject, latency), LV2_CORE__portProperty, LV2_CORE__reportsLatency))
        return host_fail(why, "'latency' must be designated so, and say lv2:reportsLatency for "
                              "older hosts");
    if (!reduction || reduction->role != HOST_METER || reduction->minimum != 0.0f ||
        strcmp(reduction->unit, "dB") != 0)
        return host_fail(why, "there is no meter 'reduction' in dB from 0");
    return true;
}

/* ---- groups ---- */

static const LilvNode *group_of(const Subject *subject, uint32_t index) {
    return one(subject, node_of(subject, &subject->plugin->ports[index]), LV2_PORT_GROUPS__group);
}

static bool group_fits(const Subject *subject, const uint32_t *ports, size_t n, bool input,
                       HostError *why) {
    static const char *const designations[2][2] = {{LV2_PORT_GROUPS__center, NULL},
                                                   {LV2_PORT_GROUPS__left, LV2_PORT_GROUPS__right}};
    const LilvNode *group = group_of(subject, ports[0]);
    for (size_t c = 0; c < n; c++) {
        const HostPort *port = &subject->plugin->ports[ports[c]];
        const LilvNode *own = group_of(subject, ports[c]);
        if (!own || !group || !lilv_node_equals(own, group))
            return port_fail(why, port, "is in no group, or in another than its neighbour");
        if (!says(subject, node_of(subject, port), LV2_CORE__designation, designations[n - 1][c]))
            return port_fail(why, port, "is not designated left, right or center");
    }
    const LilvNode *symbol = one(subject, group, LV2_CORE__symbol);
    if (!text(one(subject, group, LV2_CORE__name), 2) || !text(symbol, 2))
        return host_fail(why, "a group has no name or no symbol");
    if (host_port(subject->plugin, lilv_node_as_string(symbol)))
        return host_fail(why, "a group and a port share the symbol '%s'",
                         lilv_node_as_string(symbol));
    return (says(subject, group, RDF_TYPE,
                 n == 2 ? LV2_PORT_GROUPS__StereoGroup : LV2_PORT_GROUPS__MonoGroup) &&
            says(subject, group, RDF_TYPE,
                 input ? LV2_PORT_GROUPS__InputGroup : LV2_PORT_GROUPS__OutputGroup)) ||
           host_fail(why, "the group '%s' has not its two types", lilv_node_as_string(symbol));
}

static bool key_fits(const Subject *subject, HostError *why) {
    const HostPlugin *plugin = subject->plugin;
    for (size_t c = 0; c < plugin->n_key; c++) {
        const HostPort *port = &plugin->ports[plugin->key[c]];
        if (!port->optional)
            return port_fail(why, port, "is a key and not lv2:connectionOptional");
        if (!says(subject, node_of(subject, port), LV2_CORE__portProperty, LV2 "isSideChain"))
            return port_fail(why, port, "is a key and not lv2:isSideChain");
    }
    if (plugin->n_key == 0)
        return true;
    const LilvNode *of =
        one(subject, group_of(subject, plugin->key[0]), LV2_PORT_GROUPS__sideChainOf);
    return (of && lilv_node_equals(of, group_of(subject, plugin->in[0]))) ||
           host_fail(why, "the key's group is not pg:sideChainOf the input's");
}

static bool audio_is_grouped(const Subject *subject, HostError *why) {
    const HostPlugin *plugin = subject->plugin;
    const char *variant = strchr(plugin->uri, '#');
    size_t n = variant && strcmp(variant, "#stereo") == 0 ? 2 : 1;
    if (!variant || (n == 1 && strcmp(variant, "#mono") != 0))
        return host_fail(why, "its URI ends neither in #mono nor in #stereo");
    if (plugin->n_in != n || plugin->n_out != n || (plugin->n_key && plugin->n_key != n))
        return host_fail(why, "%zu inputs, %zu keys and %zu outputs", plugin->n_in, plugin->n_key,
                         plugin->n_out);
    if (!group_fits(subject, plugin->in, n, true, why) ||
        !group_fits(subject, plugin->out, n, false, why) ||
        (plugin->n_key && !group_fits(subject, plugin->key, n, true, why)) ||
        !key_fits(subject, why))
        return false;
    const LilvNode *in = one(subject, self(subject), LV2_PORT_GROUPS__mainInput);
    const LilvNode *out = one(subject, self(subject), LV2_PORT_GROUPS__mainOutput);
    return (in && lilv_node_equals(in, group_of(subject, plugin->in[0])) && out &&
            lilv_node_equals(out, group_of(subject, plugin->out[0]))) ||
           host_fail(why, "pg:mainInput and pg:mainOutput are not the input and the output");
}

/* ---- presets ---- */

static bool preset_port_fits(const Subject *subject, const HostPreset *preset,
                             const LilvNode *entry, HostError *why) {
    const LilvNode *symbol = one(subject, entry, LV2_CORE__symbol);
    const LilvNode *value = one(subject, entry, LV2_PRESETS__value);
    const char *name = symbol ? lilv_node_as_string(symbol) : "";
    const HostPort *port = host_port(subject->plugin, name);
    HostError reason;
    if (!port || !contract_own_control(subject->plugin, port))
        return host_fail(why, "the preset '%s' sets '%s', which is no control of the plugin",
                         preset->label, name);
    if (!value || !lilv_node_is_float(value))
        return host_fail(why,
                         "the preset '%s' sets '%s' to no decimal number (some hosts read 12.0 "
                         "and not 12)",
                         preset->label, name);
    return host_check(subject->plugin, name, (double)lilv_node_as_float(value), 48000.0, &reason) ||
           host_fail(why, "the preset '%s': %s", preset->label, reason.text);
}

static bool preset_fits(const Subject *subject, const HostPreset *preset, HostError *why) {
    const LilvNode *node = lilv_new_uri(subject->plugin->world, preset->uri);
    LilvNodes *entries = all(subject, node, LV2_CORE__port);
    if (!text(one(subject, node, RDFS "label"), 2))
        return host_fail(why, "the preset <%s> has no label", preset->uri);
    if (!entries || lilv_nodes_size(entries) == 0)
        return host_fail(why, "the preset '%s' sets nothing", preset->label);
    LILV_FOREACH(nodes, i, entries)
    if (!preset_port_fits(subject, preset, lilv_nodes_get(entries, i), why))
        return false;
    return true;
}

static bool same_values(const HostPlugin *plugin, const Setting *a, const Setting *b) {
    for (size_t i = 0; i < plugin->n_ports; i++)
        if (contract_own_control(plugin, &plugin->ports[i]) && a->value[i] != b->value[i])
            return false;
    return true;
}

/* Applied by lilv as a host would, no two are the same; one may be the default with a name. */
static bool presets_differ(const Subject *subject, HostError *why) {
    Setting settings[CONTRACT_MAX_SETTINGS];
    Subject every = *subject;
    every.thorough = true;
    contract_settings(&every, settings); /* the default, then the presets */
    size_t n = 1 + subject->plugin->n_presets;
    for (size_t i = 1; i < n && i < CONTRACT_MAX_SETTINGS; i++)
        for (size_t k = i + 1; k < n && k < CONTRACT_MAX_SETTINGS; k++)
            if (same_values(subject->plugin, &settings[i], &settings[k]))
                return host_fail(why, "the presets '%s' and '%s' are the same", settings[i].name,
                                 settings[k].name);
    return true;
}

static bool presets_fit(const Subject *subject, HostError *why) {
    const HostPlugin *plugin = subject->plugin;
    if (plugin->n_presets < 2)
        return host_fail(why, "it has %zu presets; two are the least", plugin->n_presets);
    for (size_t i = 0; i < plugin->n_presets; i++) {
        if (!preset_fits(subject, &plugin->presets[i], why))
            return false;
        if (i > 0 && strcmp(plugin->presets[i].label, plugin->presets[i - 1].label) == 0)
            return host_fail(why, "two presets are called '%s'", plugin->presets[i].label);
    }
    return presets_differ(subject, why);
}

/* ---- the two variants ---- */

static bool same_number(const HostPort *a, const HostPort *b) {
    return strcmp(a->symbol, b->symbol) == 0 && strcmp(a->name, b->name) == 0 &&
           a->role == b->role && a->minimum == b->minimum && a->initial == b->initial &&
           a->maximum == b->maximum && a->integer == b->integer && a->toggled == b->toggled &&
           a->enumeration == b->enumeration && a->logarithmic == b->logarithmic &&
           strcmp(a->unit, b->unit) == 0;
}

static bool comes_as_two(const Subject *subject, HostError *why) {
    const HostPlugin *plugin = subject->plugin;
    const HostPlugin *other =
        plugin->id ? host_find(subject->host, plugin->id, plugin->n_in == 1 ? 2 : 1, NULL) : NULL;
    if (!other)
        return host_fail(why, "there is no other variant, mono or stereo");
    size_t numbers = plugin->n_ports - plugin->n_in - plugin->n_key - plugin->n_out;
    if (numbers != other->n_ports - other->n_in - other->n_key - other->n_out ||
        (plugin->n_key == 0) != (other->n_key == 0))
        return host_fail(why, "mono and stereo have not the same ports");
    for (size_t i = 0; i < numbers; i++)
        if (!same_number(&plugin->ports[i], &other->ports[i]))
            return host_fail(why, "'%s' is not the same in mono and stereo",
                             plugin->ports[i].symbol);
    if (plugin->n_presets != other->n_presets)
        return host_fail(why, "mono and stereo have not the same presets");
    for (size_t i = 0; i < plugin->n_presets; i++)
        if (strcmp(plugin->presets[i].uri, other->presets[i].uri) != 0)
            return host_fail(why, "the preset '%s' is for one variant only",
                             plugin->presets[i].label);
    return strcmp(plugin->name, other->name) != 0 ||
           host_fail(why, "mono and stereo have the same name");
}

/* ---- other people's checks ---- */

static bool validator_installed(void) {
    return system( // NOLINT(cert-env33-c): the line is a constant
               "command -v lv2_validate >/dev/null && command -v sord_validate >/dev/null") == 0;
}

bool contract_can_tell(const Promise *promise) {
    switch (promise->needs) {
    case NEEDS_NOTHING:
        break;
    case NEEDS_GUARD:
        return guard_works();
    case NEEDS_FILTER:
        return guard_works() && (guard_filters() || getenv("CI"));
    case NEEDS_VALIDATOR:
        return validator_installed() || getenv("CI");
    }
    return true;
}

/* lv2_validate, of lv2-dev, knows what each property may be used for. It wants all files of the
 * bundle at once. */
static bool validates(const Subject *subject, HostError *why) {
    char command[4096], said[512] = "";
    if (!validator_installed())
        return host_fail(why, "lv2_validate or sord_validate is not installed");
    snprintf(command, sizeof command, "lv2_validate '%s'*.ttl 2>&1", subject->bundle);
    FILE *pipe = popen(command, "r"); // NOLINT(cert-env33-c): the path is the build's own
    if (!pipe)
        return host_fail(why, "lv2_validate cannot be run");
    for (char line[512]; fgets(line, sizeof line, pipe);)
        if (!*said && strstr(line, "error:"))
            snprintf(said, sizeof said, "%.*s", (int)strcspn(line, "\n"), line);
    int status = pclose(pipe); /* 0 even where the syntax is wrong: its word counts, too */
    return (!*said && WIFEXITED(status) && WEXITSTATUS(status) == 0) ||
           host_fail(why, "lv2_validate: %s", said);
}

const Promise contract_turtle[] = {
    {"it says what it is", says_what_it_is, false, false, NEEDS_NOTHING},
    {"it asks nothing of the host", asks_for_nothing, false, false, NEEDS_NOTHING},
    {"its ports say what they are", ports_say_what_they_are, false, false, NEEDS_NOTHING},
    {"its ports can be drawn", ports_can_be_drawn, false, false, NEEDS_NOTHING},
    {"the ports of every plugin are there", has_common_ports, false, false, NEEDS_NOTHING},
    {"audio ports are grouped", audio_is_grouped, false, false, NEEDS_NOTHING},
    {"presets fit the ports", presets_fit, false, false, NEEDS_NOTHING},
    {"it comes as mono and stereo", comes_as_two, false, false, NEEDS_NOTHING},
    {"its Turtle validates", validates, false, false, NEEDS_VALIDATOR},
    {.name = NULL},
};
