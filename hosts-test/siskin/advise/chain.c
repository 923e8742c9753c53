/* SPDX-License-Identifier: ISC */
#include "siskin/advise/chain.h"

#include "siskin/advise/fit.h"
#include "siskin/edit/ride_take.h"
#include "siskin/text.h"

#include <ctype.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

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

static void comment_head(FILE *file, const AdvicePlan *plan) {
    char length[32];
    const Measures *m = &plan->taken;
    char *name = plain_name(m->path);
    char *loudness = isfinite(m->integrated_lufs)
                         ? text_print("%.1f LUFS", m->integrated_lufs)
                         : text_copy("too soft or too short for a loudness");
    char *text =
        text_print("What %s needs: %s, %g Hz, %s, %s.", name, text_time(length, m->length_s),
                   m->rate_hz, m->channels == 1 ? "mono" : "stereo", loudness);
    free(loudness);
    comment(file, text);
    comment(file, "Render it: siskin render --chain THIS-FILE TAKE OUT");
    comment(file, "Where the limits come from: siskin advise --help");
    free(text);
    free(name);
}

/* How it is, and what is fine: "22 dB under the voice; 30 is enough." */
static char *judged(const Advice *advice, size_t i) {
    double found = advice_found(advice, i);
    char *says = advice_sentence(i, found);
    char *fine = isfinite(found) ? advice_limit(i) : text_copy("");
    char *text = text_print("%s%s%s%s.", advice->arises[i] ? "after the other steps " : "", says,
                            *fine ? "; " : "", fine);
    free(fine);
    free(says);
    return text;
}

/* What is done about it, or why nothing is. */
static char *remedy(const AdvicePlan *plan, size_t i) {
    const Advice *advice = &plan->advice;
    const AdviceRule *rule = &advice_rules[i];
    if (advice->verdict[i] != ADVICE_NEEDED)
        return text_copy("");
    if (advice->in_vain[i])
        return text_print(" Left out: in a trial %s made next to no difference.", rule->processor);
    if (!advice->harmful[i])
        return text_print(" %s", rule->todo);
    char *harm = harm_text(&advice->cost[i]);
    char *text = text_print(" Left out: with %s, %s.", rule->processor, harm);
    free(harm);
    return text;
}

/* How a render measures, where something was to be done or has gone wrong. */
static char *outcome(const AdvicePlan *plan, size_t i) {
    const AdviceRule *rule = &advice_rules[i];
    bool was = plan->advice.verdict[i] == ADVICE_NEEDED, stays = plan_stays(plan, i);
    if (!advice_is_tried(i) || (!was && !stays))
        return text_copy("");
    double figure = plan->after.figure[i];
    char *value = advice_value_after(i, plan->advice.verdict[i], figure);
    char *text = text_print(" After %s: %s%s%s.%s%s", was ? "a trial" : "the other steps", value,
                            !stays || !isfinite(figure) ? ""
                            : was                       ? ", still too "
                                                        : ", too ",
                            !stays || !isfinite(figure) ? ""
                            : rule->at_most             ? "much"
                                                        : "little",
                            stays ? " " : "", stays ? rule->stays : "");
    free(value);
    return text;
}

static void comment_rule(FILE *file, const AdvicePlan *plan, size_t i) {
    char *says = judged(&plan->advice, i);
    char *what = remedy(plan, i), *then = outcome(plan, i);
    char *text = text_print("%s: %s%s%s", advice_rules[i].name, says, what, then);
    comment(file, text);
    free(text);
    free(then);
    free(what);
    free(says);
}

static void comment_settings(FILE *file, const AdviceSettings *settings) {
    char controls[160] = "";
    for (size_t k = 0; k < settings->n; k++) {
        const AdviceSetting *setting = &settings->setting[k];
        text_add(controls, sizeof controls, "%s%s %g", *controls ? ", " : "", setting->control,
                 setting->value);
        if (!*setting->why)
            continue;
        char *text = text_print("  %s: %s.", controls, setting->why);
        comment(file, text);
        free(text);
        *controls = '\0';
    }
    if (settings->passes > 1) {
        char *text = text_print("  %u passes: %s.", settings->passes, settings->why_passes);
        comment(file, text);
        free(text);
    }
}

/* ---- the chain ---- */

/* What is left of harm, since without any step there would be as much. */
static void comment_harm(FILE *file, const AdvicePlan *plan) {
    if (!(harm_size(&plan->harm) > 0.0))
        return;
    char *harm = harm_text(&plan->harm);
    char *text = text_print("Listen: with this chain, %s.", harm);
    fputc('\n', file);
    comment(file, text);
    free(text);
    free(harm);
}

static void write_trim(FILE *file, double trim_db, bool rides) {
    if (!(trim_db > 0.0))
        return;
    char *text = text_print("Peaks: %.1f dB up from the filters. %s takes that back.", trim_db,
                            rides ? "The ride" : "The fader");
    fputs("\n# ---- Peak\n", file);
    comment(file, text);
    free(text);
    if (!rides)
        fprintf(file, "  fader %.1f\n", -trim_db);
}

static void write_lane(FILE *file, const Ride *ride, double trim_db) {
    fputs("\n# ---- The ride. From, to (seconds), gain (dB): change what you like.\n", file);
    ride_print_lane(file, ride, trim_db);
}

/* As lead-gently ends. On a bus of its own, since a fader acts after the processors of its bus, and
 * the compressor should hear what was ridden. */
static void write_finish(FILE *file) {
    fputs("\n# ---- Done: compressed, coloured, true peaks at -1 dBTP\n"
          "bus finish\n"
          "  smooth-compressor ratio=2.5 makeup=5\n"
          "  soft-drive drive=4\n" ADVICE_CEILING,
          file);
}

bool advice_write_chain(FILE *file, Host *host, const AdvicePlan *plan, bool finish,
                        HostError *error) {
    const char *step = "";
    bool rides = false;
    comment_head(file, plan);
    fputs("bus lead\n", file);
    for (size_t i = 0; i < advice_n_rules; i++) {
        const AdviceRule *rule = &advice_rules[i];
        AdviceSettings settings;
        if (strcmp(rule->step, step) != 0)
            fprintf(file, "\n# ---- %s\n", rule->step);
        step = rule->step;
        comment_rule(file, plan, i);
        if (plan->quiet.path && i + 1 == advice_front())
            comment(file, "Judged with hum and rumble taken out.");
        if (!advice_wants_processor(&plan->advice, i))
            continue;
        if (!advice_settings(host, &plan->advice, i, &settings, error))
            return false;
        comment_settings(file, &settings);
        advice_write_step(file, "  ", rule, &settings, "\n");
        rides = rides || advice_is_ride(rule);
        if (plan->clean.path && i + 1 == advice_front())
            comment(file, "From here on the take is judged with this done.");
    }
    comment_harm(file, plan);
    write_trim(file, plan->advice.trim_db, rides);
    if (finish)
        fputs("\n  to finish\n", file);
    if (rides)
        write_lane(file, plan->advice.ride, plan->advice.trim_db);
    if (finish)
        write_finish(file);
    return true;
}
