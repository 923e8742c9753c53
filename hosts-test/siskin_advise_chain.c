/* SPDX-License-Identifier: ISC */
#include "siskin_advise_chain.h"

#include "siskin_settings.h"
#include "siskin_text.h"

#include <ctype.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

/* ---- settings ---- */

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

bool advice_settings(Host *host, const Advice *advice, size_t i, AdviceSettings *settings,
                     HostError *error) {
    const AdviceRule *rule = &advice_rules[i];
    const Measures *measures = advice->of[i];
    const HostPlugin *plugin = settings_find(host, rule->processor, measures->channels, error);
    *settings = (AdviceSettings){.passes = 1};
    if (!plugin)
        return false;
    rule->settle(measures, settings);
    for (size_t k = 0; k < settings->n; k++)
        if (!fit(plugin, measures->rate_hz, &settings->setting[k], error))
            return false;
    return true;
}

static void write_processor(FILE *file, const char *name, const AdviceSettings *settings) {
    fputs(name, file);
    for (size_t k = 0; k < settings->n; k++)
        fprintf(file, " %s=%g", settings->setting[k].control, settings->setting[k].value);
}

/* ---- comments ---- */

enum { LINE_COLUMNS = 98 };

/* The words of a text, each line behind "# "; further lines are set in. */
static void comment(FILE *file, const char *text) {
    size_t column = 0;
    for (const char *at = text; *at;) {
        size_t length = strcspn(at, " ");
        if (column && column + 1 + length > LINE_COLUMNS) {
            fputc('\n', file);
            column = 0;
        }
        if (!column)
            column = (size_t)fprintf(file, "%s", at == text ? "# " : "#   ");
        else
            column += (size_t)fprintf(file, " ");
        column += (size_t)fprintf(file, "%.*s", (int)length, at);
        at += length + (at[length] == ' ');
    }
    fputc('\n', file);
}

/* A name that stays within its comment. */
static char *plain_name(const char *path) {
    char *name = text_copy(text_base(path));
    for (char *at = name; *at; at++)
        if (iscntrl((unsigned char)*at))
            *at = '?';
    return name;
}

static void comment_head(FILE *file, const Measures *m) {
    char length[32];
    char *name = plain_name(m->path);
    char *loudness = isfinite(m->integrated_lufs) ? text_print("%.1f LUFS", m->integrated_lufs)
                                                  : text_copy("too soft or too short to tell");
    char *text = text_print("What %s needs, by siskin advise: %s, %g Hz, %s, %s.", name,
                            text_time(length, m->length_s), m->rate_hz,
                            m->channels == 1 ? "mono" : "stereo", loudness);
    free(loudness);
    comment(file, text);
    comment(file, "siskin render --chain THIS-FILE TAKE OUT does what is needed.");
    free(text);
    free(name);
}

static char *sentence(const AdviceRule *rule, double figure) {
    if (isnan(figure))
        return text_copy(rule->unknown);
    if (isinf(figure))
        return text_copy(rule->none);
    char *value = text_print("%.*f %s", rule->decimals, figure, rule->unit);
    char *text = text_print(rule->says, value); /* NOLINT: the table's own formats */
    free(value);
    return text;
}

static void comment_rule(FILE *file, const AdviceRule *rule, AdviceVerdict verdict, double figure) {
    static const char *const word[] = {"not needed", "needed", "cannot be told"};
    char *says = sentence(rule, figure);
    char *fine =
        text_print("%s %.*f %s %s fine: %s", rule->at_most ? "up to" : "from", rule->decimals,
                   rule->limit, rule->unit, rule->at_most ? "is" : "on is", rule->source);
    char *text = verdict == ADVICE_UNKNOWN
                     ? text_print("%s: %s: %s.", rule->name, word[verdict], says)
                     : text_print("%s: %s: %s (%s).%s%s", rule->name, word[verdict], says, fine,
                                  verdict == ADVICE_NEEDED ? " " : "",
                                  verdict == ADVICE_NEEDED ? rule->todo : "");
    comment(file, text);
    free(text);
    free(fine);
    free(says);
}

static void comment_settings(FILE *file, const AdviceSettings *settings) {
    for (size_t k = 0; k < settings->n; k++) {
        const AdviceSetting *setting = &settings->setting[k];
        char *text = text_print("  %s %g: %s.", setting->control, setting->value, setting->why);
        comment(file, text);
        free(text);
    }
    if (settings->passes > 1) {
        char *text = text_print("  %u passes: %s.", settings->passes, settings->why_passes);
        comment(file, text);
        free(text);
    }
}

/* ---- the chain ---- */

bool advice_write_chain(FILE *file, Host *host, const Measures *measures, const Advice *advice,
                        HostError *error) {
    const char *step = "";
    comment_head(file, measures);
    fputs("bus lead\n", file);
    for (size_t i = 0; i < advice_n_rules; i++) {
        const AdviceRule *rule = &advice_rules[i];
        AdviceSettings settings;
        if (strcmp(rule->step, step) != 0)
            fprintf(file, "\n# ---- %s\n", rule->step);
        step = rule->step;
        comment_rule(file, rule, advice->verdict[i], advice->figure[i]);
        if (!advice_wants_processor(advice, i))
            continue;
        if (!advice_settings(host, advice, i, &settings, error))
            return false;
        comment_settings(file, &settings);
        for (unsigned pass = 0; pass < settings.passes; pass++) {
            fputs("  ", file);
            write_processor(file, rule->processor, &settings);
            fputc('\n', file);
        }
    }
    return true;
}

bool advice_write_line(FILE *file, Host *host, const Measures *measures, const Advice *advice,
                       HostError *error) {
    (void)measures;
    const char *between = "";
    for (size_t i = 0; i < advice_n_rules; i++) {
        AdviceSettings settings;
        if (!advice_wants_processor(advice, i))
            continue;
        if (!advice_settings(host, advice, i, &settings, error))
            return false;
        for (unsigned pass = 0; pass < settings.passes; pass++) {
            fputs(between, file);
            write_processor(file, advice_rules[i].processor, &settings);
            between = "; ";
        }
    }
    return true;
}
