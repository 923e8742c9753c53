/* SPDX-License-Identifier: ISC */
#include "siskin/chains/settings.h"

#include "siskin/text.h"

#include <ctype.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

enum { MOST_NAMES = 256 };

/* "WHAT; did you mean 'y'? LIST_NAME a, b, y" */
static void explain(HostError *error, const char *what, const char *word, const char *const *names,
                    size_t count, const char *list_name) {
    const char *nearest = text_nearest(word, names, count);
    host_fail(error, "%s", what);
    if (nearest)
        text_add(error->text, sizeof error->text, "; did you mean '%s'?", nearest);
    text_add(error->text, sizeof error->text, "%s %s ", nearest ? "" : ";", list_name);
    for (size_t i = 0; i < count; i++)
        text_add(error->text, sizeof error->text, "%s%s", i ? ", " : "", names[i]);
    if (count == 0)
        text_add(error->text, sizeof error->text, "none");
}

static size_t own_names(Host *host, char **names) {
    size_t n_uris = 0;
    size_t count = 0;
    const char *const *uris = host_own_uris(host, &n_uris);
    for (size_t i = 0; i < n_uris && count < MOST_NAMES; i++) {
        const char *id = strncmp(uris[i], "urn:siskin:", 11) == 0 ? uris[i] + 11 : NULL;
        const char *hash = id ? strchr(id, '#') : NULL;
        if (hash && strcmp(hash, "#mono") == 0)
            names[count++] = text_print("%.*s", (int)(hash - id), id);
    }
    return count;
}

const HostPlugin *settings_find(Host *host, const char *name, unsigned channels, HostError *error) {
    const HostPlugin *plugin = host_find(host, name, channels, error);
    if (plugin || strchr(name, ':'))
        return plugin;
    char *names[MOST_NAMES];
    size_t count = own_names(host, names);
    char *what = text_print("there is no processor '%s'", name);
    explain(error, what, name, (const char *const *)names, count, "there are:");
    if (count == 0)
        text_add(error->text, sizeof error->text,
                 "; say where the bundles are by --bundles DIR or SISKIN_LV2");
    free(what);
    for (size_t i = 0; i < count; i++)
        free(names[i]);
    return NULL;
}

static const char *name_of(const HostPlugin *plugin) {
    return plugin->id ? plugin->id : plugin->name;
}

static bool unknown_control(const HostPlugin *plugin, const char *control, HostError *error) {
    const char *names[MOST_NAMES];
    size_t count = 0;
    for (size_t i = 0; i < plugin->n_ports && count < MOST_NAMES; i++)
        if (plugin->ports[i].role == HOST_CONTROL)
            names[count++] = plugin->ports[i].symbol;
    char *what = text_print("%s has no control '%s'", name_of(plugin), control);
    explain(error, what, control, names, count, "its controls:");
    free(what);
    return false;
}

static bool unknown_preset(const HostPlugin *plugin, const char *preset, HostError *error) {
    const char *names[MOST_NAMES];
    size_t count = 0;
    for (size_t i = 0; i < plugin->n_presets && count < MOST_NAMES; i++)
        names[count++] = host_preset_name(&plugin->presets[i]);
    char *what = text_print("%s has no preset '%s'", name_of(plugin), preset);
    explain(error, what, preset, names, count, "its presets:");
    free(what);
    return false;
}

/* A number with the unit right behind it, or after a space. */
static bool number_with_unit(const HostPort *port, const char *word, double *value) {
    size_t length = strlen(word);
    size_t unit = strlen(port->unit);
    if (unit > 0 && length > unit && strcasecmp(word + length - unit, port->unit) == 0)
        length -= unit;
    while (length > 0 && word[length - 1] == ' ')
        length--;
    char *number = text_print("%.*s", (int)length, word);
    bool fine = text_number(number, value);
    free(number);
    return fine;
}

static bool by_label(const HostPort *port, const char *word, double *value) {
    static const struct {
        const char *word;
        double value;
    } toggles[] = {{"on", 1}, {"off", 0}, {"yes", 1}, {"no", 0}};
    for (size_t i = 0; i < port->n_points; i++)
        if (strcasecmp(port->points[i].label, word) == 0) {
            *value = (double)port->points[i].value;
            return true;
        }
    for (size_t i = 0; port->toggled && i < sizeof toggles / sizeof *toggles; i++)
        if (strcasecmp(toggles[i].word, word) == 0) {
            *value = toggles[i].value;
            return true;
        }
    return false;
}

static bool check_lane(const HostPlugin *plugin, const HostPort *port, const Lane *lane,
                       HostError *error) {
    HostError why;
    for (size_t i = 0; i < lane->n && !port->by_rate; i++)
        if (!host_check(plugin, port->symbol, lane->points[i].value, 0.0, &why))
            return host_fail(error, "%s: lane %s at %.10g s: %s", name_of(plugin), lane->name,
                             lane->points[i].at_s, why.text);
    return true;
}

static bool read_value(const Chain *chain, const HostPlugin *plugin, double rate_hz,
                       ChainSetting *setting, HostError *error) {
    double number = 0.0;
    char allowed[512];
    const HostPort *port = host_port(plugin, setting->control);
    if (!port || port->role != HOST_CONTROL)
        return unknown_control(plugin, setting->control, error);
    if (setting->move.name)
        return check_lane(plugin, port, &chain->lanes[setting->move.lane], error);
    if (!by_label(port, setting->value, &number) &&
        !number_with_unit(port, setting->value, &number))
        return host_fail(error, "%s: %s=%s is not a value it knows; allowed are %s",
                         name_of(plugin), setting->control, setting->value,
                         host_allowed(allowed, port, rate_hz));
    HostError why;
    if (!port->by_rate && !host_check(plugin, setting->control, number, rate_hz, &why))
        return host_fail(error, "%s: %s", name_of(plugin), why.text);
    setting->number = (float)number;
    return true;
}

bool settings_apply(HostInstance *instance, const ChainProcessor *processor, double rate_hz,
                    HostError *error) {
    const HostPlugin *plugin = host_plugin(instance);
    if (processor->preset && !host_load_preset(instance, processor->preset, error))
        return unknown_preset(plugin, processor->preset, error);
    for (size_t i = 0; i < processor->n_settings; i++) {
        const ChainSetting *setting = &processor->settings[i];
        HostError why;
        if (setting->move.name) /* set while rendering */
            continue;
        if (!host_check(plugin, setting->control, (double)setting->number, rate_hz, &why))
            return host_fail(error, "%s: %s", name_of(plugin), why.text);
        host_set(instance, setting->control, setting->number, NULL);
    }
    return true;
}

static bool check_key(const Chain *chain, const ChainProcessor *processor, const HostPlugin *plugin,
                      HostError *error) {
    bool keyed = processor->key.name && processor->key.bus >= 0;
    if (keyed && plugin->n_key == 0)
        return host_fail(error, "%s has no key input; leave out key=", processor->name);
    if (plugin->id && plugin->n_key && !processor->key.name)
        return host_fail(error,
                         "%s does nothing without a key; add key=%s, or key=none if that is meant",
                         processor->name, chain->path ? "BUS" : "FILE");
    return true;
}

static bool check_preset(const HostPlugin *plugin, const char *preset, HostError *error) {
    for (size_t i = 0; preset && i < plugin->n_presets; i++)
        if (host_preset_is(&plugin->presets[i], preset))
            return true;
    return !preset || unknown_preset(plugin, preset, error);
}

static bool read_processor(Host *host, const Chain *chain, ChainProcessor *processor,
                           HostError *error) {
    const double any_rate_hz = 48000.0; /* only bounds of other people's plugins depend on it */
    const HostPlugin *plugin = settings_find(host, processor->name, 1, error);
    if (!plugin || !check_key(chain, processor, plugin, error) ||
        !check_preset(plugin, processor->preset, error))
        return false;
    for (size_t i = 0; i < processor->n_settings; i++)
        if (!read_value(chain, plugin, any_rate_hz, &processor->settings[i], error))
            return false;
    return true;
}

bool settings_read(Host *host, Chain *chain, HostError *error) {
    HostError why;
    for (size_t b = 0; b < chain->n_busses; b++)
        for (size_t i = 0; i < chain->busses[b].n_processors; i++) {
            ChainProcessor *processor = &chain->busses[b].processors[i];
            if (!read_processor(host, chain, processor, &why))
                return chain_fail(chain, processor->line, error, "%s", why.text);
        }
    return true;
}
