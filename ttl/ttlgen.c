/* SPDX-License-Identifier: ISC */
/* ttlgen: writes the ports of one plugin into its Turtle file.
 *
 *   ttlgen INPUT OUTPUT
 *
 *   ttlgen --view OUTPUT
 *
 * The first copies INPUT up to and including the marker line, which is written by hand, and puts
 * below it the port groups and ports of both variants as the linked plugin_spec declares them.
 * INPUT and OUTPUT may be the same file; it is replaced whole or not at all. The second describes
 * the plugin's view: which meters it is told of. */
#include "layout.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const char MARKER[] =
    "# ---- ports: written by `make ttl` from the tables in C; do not edit below";

static const char *const UNITS[] = {
    [UNIT_NONE] = NULL,
    [UNIT_DB] = "units:db",
    [UNIT_MS] = "units:ms",
    [UNIT_HZ] = "units:hz",
    [UNIT_PERCENT] = "units:pc",
    [UNIT_S] = "units:s",
    [UNIT_BPM] = "units:bpm",
    [UNIT_OCTAVES] = "units:oct",
    [UNIT_SEMITONES] = "units:semitone12TET",
    [UNIT_CENTS] = "units:cent",
};

static void uri(FILE *f, const PluginSpec *spec, unsigned channels) {
    fprintf(f, "<urn:siskin:%s#%s>", spec->id, channels == 1 ? "mono" : "stereo");
}

static void group_uri(FILE *f, const PluginSpec *spec, unsigned channels, const char *group) {
    fprintf(f, "<urn:siskin:%s#%s-%s>", spec->id, channels == 1 ? "mono" : "stereo", group);
}

/* A Turtle string: quotes and backslashes escaped. */
static void string(FILE *f, const char *text) {
    fputc('"', f);
    for (; *text; text++) {
        if (*text == '"' || *text == '\\')
            fputc('\\', f);
        fputc(*text, f);
    }
    fputc('"', f);
}

/* What the tests of bundles are to know of a plugin: PluginSpec.most_gain_db and .may. The words
 * are the project's own, so they are told what they are. */
#define OWN "<urn:siskin:ns#"
#define IS_OF_DATA " a <http://www.w3.org/2002/07/owl#DatatypeProperty> ;\n    rdfs:label "

static const struct {
    PluginMay may;
    const char *word;
} MAY[] = {
    {PLUGIN_FILTERS, "filter"},       {PLUGIN_BENDS, "bend"},   {PLUGIN_SPREADS, "spread"},
    {PLUGIN_NEW_SOUND, "sound anew"}, {PLUGIN_SHARES, "share"},
};

static void own_words(FILE *f, const PluginSpec *spec) {
    if (spec->most_gain_db > 0.0f)
        fprintf(f, OWN "mostGain>" IS_OF_DATA "\"gain that the controls may add, dB\" .\n\n");
    if (spec->may != 0)
        fprintf(f, OWN "may>" IS_OF_DATA "\"what the output may differ by\" .\n\n");
}

/* A Turtle decimal: always with a point, since some hosts read no others; the fewest places that
 * read back as the same float, so that 0.1 is written as 0.1. */
static void decimal(FILE *f, float value) {
    char text[64] = "";
    for (int places = 1; places <= 12; places++) {
        snprintf(text, sizeof text, "%.*f", places, (double)value);
        if (strtof(text, NULL) == value)
            break;
    }
    fputs(text, f);
}

static void own_values(FILE *f, const PluginSpec *spec) {
    if (spec->most_gain_db > 0.0f) {
        fprintf(f, " ;\n    " OWN "mostGain> ");
        decimal(f, spec->most_gain_db);
    }
    for (size_t i = 0; i < sizeof MAY / sizeof *MAY; i++)
        if (spec->may & MAY[i].may)
            fprintf(f, " ;\n    " OWN "may> \"%s\"", MAY[i].word);
}

static void group(FILE *f, const PluginSpec *spec, unsigned channels, PortRole role) {
    static const char *const names[] = {[ROLE_IN] = "in", [ROLE_KEY] = "key", [ROLE_OUT] = "out"};
    static const char *const labels[] = {
        [ROLE_IN] = "Take", [ROLE_KEY] = "Key", [ROLE_OUT] = "Result"};
    group_uri(f, spec, channels, names[role]);
    fprintf(f, "\n    a %s , %s ;\n    lv2:symbol \"%s_group\" ;\n    lv2:name \"%s\"",
            channels == 1 ? "pg:MonoGroup" : "pg:StereoGroup",
            role == ROLE_OUT ? "pg:OutputGroup" : "pg:InputGroup", names[role], labels[role]);
    if (role != ROLE_IN) {
        fprintf(f, " ;\n    %s ", role == ROLE_KEY ? "pg:sideChainOf" : "pg:source");
        group_uri(f, spec, channels, "in");
    }
    fprintf(f, " .\n\n");
}

/* Controls are in the group that their table names, meters in one of their own; enabled, audition
 * and latency, which every plugin has, in none. NULL: in none. */
static const char *group_name(const Port *port) {
    switch (port->role) {
    case ROLE_CONTROL:
        return port->spec.group ? port->spec.group : "Controls";
    case ROLE_REDUCTION:
    case ROLE_METER:
        return "Meters";
    default:
        return NULL;
    }
}

/* "Key filter" -> "key_filter" */
static void group_word(const char *name, char word[64]) {
    size_t i = 0;
    for (; i < 63 && name[i]; i++) {
        char c = name[i];
        bool capital = c >= 'A' && c <= 'Z';
        bool plain = (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9');
        word[i] = (char)(capital ? c - 'A' + 'a' : plain ? c : '_');
    }
    word[i] = '\0';
}

static void number_group_uri(FILE *f, const PluginSpec *spec, unsigned channels, const char *name) {
    char word[64];
    group_word(name, word);
    group_uri(f, spec, channels, word);
}

static bool names_group_first(const PluginSpec *spec, unsigned channels, size_t index) {
    Port port = layout_port(spec, channels, index);
    const char *name = group_name(&port);
    for (size_t i = 0; i < index && name; i++) {
        Port other = layout_port(spec, channels, i);
        if (group_name(&other) && strcmp(group_name(&other), name) == 0)
            return false;
    }
    return name != NULL;
}

static void number_groups(FILE *f, const PluginSpec *spec, unsigned channels) {
    size_t count = layout_count(spec, channels);
    for (size_t i = 0; i < count; i++) {
        Port port = layout_port(spec, channels, i);
        char word[64];
        if (!names_group_first(spec, channels, i))
            continue;
        group_word(group_name(&port), word);
        number_group_uri(f, spec, channels, group_name(&port));
        fprintf(f, "\n    a pg:Group ;\n    lv2:symbol \"%s_group\" ;\n    lv2:name ", word);
        string(f, group_name(&port));
        fprintf(f, " .\n\n");
    }
}

/* The most important first, as in the table, but advanced ones after all others. */
static size_t priority(const PluginSpec *spec, size_t number) {
    size_t after = 1;
    for (size_t i = 0; i < spec->n_controls; i++) {
        bool other = spec->controls[i].advanced, own = spec->controls[number].advanced;
        after += other == own ? i > number : other;
    }
    return after;
}

/* What helps a host to draw the port: a short name, its group, how important it is. */
static void drawing(FILE *f, const PluginSpec *spec, unsigned channels, const Port *port) {
    fprintf(f, " ;\n        lv2:shortName ");
    string(f, port->spec.short_name ? port->spec.short_name : port->spec.name);
    if (port->role == ROLE_LATENCY)
        fprintf(f, " ;\n        lv2:portProperty pprops:notOnGUI");
    if (port->role == ROLE_CONTROL)
        fprintf(f, " ;\n        pprops:displayPriority %zu", priority(spec, port->number));
    if (group_name(port)) {
        fprintf(f, " ;\n        pg:group ");
        number_group_uri(f, spec, channels, group_name(port));
    }
}

static void range(FILE *f, const PortSpec *spec, bool with_default) {
    if (with_default) {
        fprintf(f, " ;\n        lv2:default ");
        decimal(f, spec->initial);
    }
    fprintf(f, " ;\n        lv2:minimum ");
    decimal(f, spec->minimum);
    fprintf(f, " ;\n        lv2:maximum ");
    decimal(f, spec->maximum);
}

static void kind(FILE *f, const PortSpec *spec) {
    static const char *const properties[] = {
        [PORT_LINEAR] = NULL,
        [PORT_LOGARITHMIC] = "pprops:logarithmic",
        [PORT_INTEGER] = "lv2:integer",
        [PORT_TOGGLE] = "lv2:toggled",
        [PORT_ENUMERATION] = "lv2:integer , lv2:enumeration",
    };
    if (properties[spec->kind])
        fprintf(f, " ;\n        lv2:portProperty %s", properties[spec->kind]);
    if (UNITS[spec->unit])
        fprintf(f, " ;\n        units:unit %s", UNITS[spec->unit]);
    for (size_t i = 0; i < spec->n_points; i++) {
        fprintf(f, "%s [ rdfs:label ", i == 0 ? " ;\n        lv2:scalePoint" : " ,");
        string(f, spec->points[i].label);
        fprintf(f, " ; rdf:value ");
        decimal(f, spec->points[i].value);
        fprintf(f, " ]");
    }
}

static void audio(FILE *f, const PluginSpec *spec, unsigned channels, Port port) {
    static const char *const designations[2][2] = {{"pg:center", NULL}, {"pg:left", "pg:right"}};
    fprintf(f, " ;\n        lv2:designation %s ;\n        pg:group ",
            designations[channels - 1][port.number]);
    group_uri(f, spec, channels,
              port.role == ROLE_IN    ? "in"
              : port.role == ROLE_KEY ? "key"
                                      : "out");
    if (port.role == ROLE_KEY)
        fprintf(f, " ;\n        lv2:portProperty lv2:isSideChain , lv2:connectionOptional");
}

static const char *type_of(PortRole role) {
    switch (role) {
    case ROLE_IN:
    case ROLE_KEY:
        return "lv2:AudioPort , lv2:InputPort";
    case ROLE_OUT:
        return "lv2:AudioPort , lv2:OutputPort";
    case ROLE_LATENCY:
    case ROLE_REDUCTION:
    case ROLE_METER:
        return "lv2:ControlPort , lv2:OutputPort";
    default:
        return "lv2:ControlPort , lv2:InputPort";
    }
}

static void port(FILE *f, const PluginSpec *spec, unsigned channels, size_t index) {
    Port p = layout_port(spec, channels, index);
    fprintf(f, "[\n        a %s ;\n        lv2:index %zu ;\n        lv2:symbol \"%s\" ;\n",
            type_of(p.role), index, p.spec.symbol);
    fprintf(f, "        lv2:name ");
    string(f, p.spec.name);
    drawing(f, spec, channels, &p);
    fprintf(f, " ;\n        rdfs:comment ");
    string(f, p.spec.doc);
    switch (p.role) {
    case ROLE_IN:
    case ROLE_KEY:
    case ROLE_OUT:
        audio(f, spec, channels, p);
        break;
    case ROLE_ENABLED:
        range(f, &p.spec, true);
        kind(f, &p.spec);
        fprintf(f, " ;\n        lv2:designation lv2:enabled");
        break;
    case ROLE_AUDITION:
    case ROLE_CONTROL:
        range(f, &p.spec, true);
        kind(f, &p.spec);
        if (p.spec.designation)
            fprintf(f, " ;\n        lv2:designation <%s>", p.spec.designation);
        break;
    case ROLE_LATENCY:
        range(f, &p.spec, false);
        kind(f, &p.spec);
        fprintf(f, " ;\n        units:unit units:frame ;\n        lv2:designation lv2:latency ;\n"
                   "        lv2:portProperty lv2:reportsLatency");
        break;
    case ROLE_REDUCTION:
    case ROLE_METER:
        range(f, &p.spec, false);
        kind(f, &p.spec);
        break;
    }
    fprintf(f, "\n    ]");
}

static void variant(FILE *f, const PluginSpec *spec, unsigned channels) {
    group(f, spec, channels, ROLE_IN);
    if (spec->has_key)
        group(f, spec, channels, ROLE_KEY);
    group(f, spec, channels, ROLE_OUT);
    number_groups(f, spec, channels);

    uri(f, spec, channels);
    fprintf(f, "\n    lv2:optionalFeature lv2:hardRTCapable");
    own_values(f, spec);
    fprintf(f, " ;\n    pg:mainInput ");
    group_uri(f, spec, channels, "in");
    fprintf(f, " ;\n    pg:mainOutput ");
    group_uri(f, spec, channels, "out");
    fprintf(f, " ;\n    lv2:port ");
    size_t count = layout_count(spec, channels);
    for (size_t i = 0; i < count; i++) {
        port(f, spec, channels, i);
        fprintf(f, i + 1 < count ? " , " : " .\n");
    }
}

/* Copies the hand-written part, marker included. false: there is no marker. */
static bool copy_prose(FILE *in, FILE *out) {
    char line[4096];
    while (fgets(line, sizeof line, in)) {
        fputs(line, out);
        if (strncmp(line, MARKER, sizeof MARKER - 1) == 0)
            return true;
    }
    return false;
}

/* ---- the view ---- */

static const char VIEW_HEAD[] = "# SPDX-License-Identifier: ISC\n"
                                "@prefix lv2:  <http://lv2plug.in/ns/lv2core#> .\n"
                                "@prefix opts: <http://lv2plug.in/ns/ext/options#> .\n"
                                "@prefix ui:   <http://lv2plug.in/ns/extensions/ui#> .\n"
                                "@prefix urid: <http://lv2plug.in/ns/ext/urid#> .\n\n";
static const char VIEW_CAN[] = "    lv2:extensionData ui:idleInterface , ui:showInterface ;\n"
                               "    lv2:optionalFeature ui:idleInterface , ui:parent , ui:resize , "
                               "ui:touch , urid:map , opts:options ;\n"
                               "    opts:supportedOption ui:scaleFactor";

static void view(FILE *f, const PluginSpec *spec) {
    fprintf(f, "%s<urn:siskin:%s#view>\n%s", VIEW_HEAD, spec->id, VIEW_CAN);
    for (unsigned channels = 1; channels <= 2; channels++)
        for (size_t i = 0; i < layout_count(spec, channels); i++) {
            Port p = layout_port(spec, channels, i);
            if (p.role != ROLE_REDUCTION && p.role != ROLE_METER)
                continue;
            fprintf(f, " ;\n    ui:portNotification [ ui:plugin ");
            uri(f, spec, channels);
            fprintf(f, " ; lv2:symbol \"%s\" ; ui:protocol ui:floatProtocol ]", p.spec.symbol);
        }
    fprintf(f, " .\n");
}

static int fail(const char *what, const char *file) {
    fprintf(stderr, "ttlgen: %s: %s\n", file, what);
    return EXIT_FAILURE;
}

static int write_view(const char *file) {
    FILE *out = fopen(file, "w");
    if (!out)
        return fail(strerror(errno), file);
    view(out, &plugin_spec);
    bool written = !ferror(out);
    return fclose(out) == 0 && written ? EXIT_SUCCESS : fail("cannot write", file);
}

int main(int argc, char **argv) {
    if (argc != 3) {
        fprintf(stderr, "usage: ttlgen INPUT OUTPUT, or ttlgen --view OUTPUT\n");
        return 2;
    }
    if (strcmp(argv[1], "--view") == 0)
        return write_view(argv[2]);
    char aside[4096];
    if (snprintf(aside, sizeof aside, "%s.new", argv[2]) >= (int)sizeof aside)
        return fail("name too long", argv[2]);
    FILE *in = fopen(argv[1], "r");
    if (!in)
        return fail(strerror(errno), argv[1]);
    FILE *out = fopen(aside, "w");
    if (!out) {
        fclose(in);
        return fail(strerror(errno), aside);
    }
    bool found = copy_prose(in, out);
    fclose(in);
    if (found) {
        fputc('\n', out);
        own_words(out, &plugin_spec);
        variant(out, &plugin_spec, 1);
        fputc('\n', out);
        variant(out, &plugin_spec, 2);
    }
    bool written = !ferror(out);
    written = fclose(out) == 0 && written;
    if (!found || !written || rename(aside, argv[2]) != 0) {
        remove(aside);
        return fail(found ? strerror(errno) : "no marker line", argv[found ? 2 : 1]);
    }
    return EXIT_SUCCESS;
}
