/* SPDX-License-Identifier: ISC */
#include "siskin/advise/fit.h"

#include "siskin/chains/settings.h"
#include "siskin/edit/ride_take.h"
#include "siskin/text.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static double nearest_point(const HostPort *port, double value) {
    double nearest = value, least = INFINITY;
    for (size_t i = 0; i < port->n_points; i++) {
        double point = (double)port->points[i].value;
        if (fabs(point - value) < least) {
            least = fabs(point - value);
            nearest = point;
        }
    }
    return nearest;
}

static bool fit(const HostPlugin *plugin, double rate_hz, AdviceSetting *setting,
                HostError *error) {
    const HostPort *port = host_port(plugin, setting->control);
    if (!port || port->role != HOST_CONTROL)
        return host_fail(error, "%s has no control '%s'", plugin->name, setting->control);
    HostRange range = host_range(port, rate_hz);
    double asked = setting->value;
    setting->value = fmin((double)range.maximum, fmax((double)range.minimum, asked));
    if (port->enumeration)
        setting->value = nearest_point(port, setting->value);
    if (setting->value != asked)
        text_add(setting->why, sizeof setting->why, " (%g is as %s as it goes)", setting->value,
                 asked > setting->value ? "far" : "little");
    return true;
}

/* The most of what the rules of the processor ask for. */
static double extra_of(const Advice *advice, size_t i) {
    AdviceRows rows = advice_rows(i);
    double extra = 0.0;
    for (size_t k = rows.first; k <= rows.last; k++)
        extra = fmax(extra, advice->extra[k]);
    return extra;
}

bool advice_settings(Host *host, const Advice *advice, size_t i, AdviceSettings *settings,
                     HostError *error) {
    const AdviceRule *rule = &advice_rules[i];
    const Measures *measures = advice->of[i];
    *settings = (AdviceSettings){.passes = 1};
    if (advice_is_ride(rule))
        return true;
    const HostPlugin *plugin = settings_find(host, rule->processor, measures->channels, error);
    if (!plugin)
        return false;
    rule->settle(measures, extra_of(advice, i), settings);
    for (size_t k = 0; k < settings->n; k++)
        if (!fit(plugin, measures->rate_hz, &settings->setting[k], error))
            return false;
    return true;
}

void advice_write_step(FILE *file, const char *front, const AdviceRule *rule,
                       const AdviceSettings *settings, const char *back) {
    for (unsigned pass = 0; pass < settings->passes; pass++) {
        fprintf(file, "%s%s", front, advice_is_ride(rule) ? "fader @ride" : rule->processor);
        for (size_t k = 0; k < settings->n; k++)
            fprintf(file, " %s=%g", settings->setting[k].control, settings->setting[k].value);
        fputs(back, file);
    }
}

bool advice_write_bare(FILE *file, Host *host, const Advice *advice, size_t last,
                       HostError *error) {
    bool rides = false;
    fputs("bus lead\n", file);
    for (size_t i = 0; i <= last; i++) {
        AdviceSettings settings;
        if (!advice_wants_processor(advice, i))
            continue;
        if (!advice_settings(host, advice, i, &settings, error))
            return false;
        advice_write_step(file, "  ", &advice_rules[i], &settings, "\n");
        rides = rides || advice_is_ride(&advice_rules[i]);
    }
    if (rides)
        ride_print_lane(file, advice->ride, advice->trim_db);
    else if (advice->trim_db > 0.0)
        fprintf(file, "  fader %.1f\n", -advice->trim_db);
    return true;
}

char *advice_line(Host *host, const Advice *advice, size_t last, HostError *error) {
    static const char between[] = "; ";
    char *text = NULL;
    size_t size = 0;
    FILE *file = open_memstream(&text, &size);
    bool fine = file || host_fail(error, "out of memory");
    for (size_t i = 0; fine && i <= last; i++) {
        AdviceSettings settings;
        if (!advice_wants_processor(advice, i))
            continue;
        fine = advice_settings(host, advice, i, &settings, error);
        if (fine)
            advice_write_step(file, between, &advice_rules[i], &settings, "");
    }
    if (fine && advice->trim_db > 0.0)
        fprintf(file, "%sfader %.1f", between, -advice->trim_db);
    if (file && fclose(file) != 0)
        fine = host_fail(error, "out of memory");
    char *line = fine ? text_copy(size ? text + strlen(between) : "") : NULL;
    free(text);
    return line;
}
