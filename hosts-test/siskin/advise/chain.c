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

/* "how it is (what is fine: why)" */
static char *judged(size_t i, double figure) {
    char *says = advice_sentence(i, figure);
    char *fine = advice_limit(i);
    char *text = text_print("%s (%s: %s)", says, fine, advice_rules[i].source);
    free(fine);
    free(says);
    return text;
}

/* What is done about it. */
static const char *remedy(const AdvicePlan *plan, size_t i) {
    const AdviceRule *rule = &advice_rules[i];
    if (plan->advice.verdict[i] != ADVICE_NEEDED)
        return "";
    if (plan->advice.harmful[i])
        return "Left out:";
    return plan->advice.in_vain[i] ? "A trial showed that no processor here mends it." : rule->todo;
}

/* What a step that is left out would have cost. */
static char *cost(const AdvicePlan *plan, size_t i) {
    if (!plan->advice.harmful[i])
        return text_copy("");
    char *harm = harm_text(&plan->advice.cost[i]);
    char *text = text_print(" with %s, the chain %s.", advice_rules[i].processor, harm);
    free(harm);
    return text;
}

/* How a render measures, where something was to be done or has gone wrong. */
static char *outcome(const AdvicePlan *plan, size_t i) {
    const AdviceRule *rule = &advice_rules[i];
    bool done = plan->advice.verdict[i] == ADVICE_NEEDED && rule->processor;
    bool stays = plan_stays(plan, i);
    if (!done && !stays)
        return text_copy("");
    char *says = advice_sentence_after(i, plan->advice.verdict[i], plan->after.figure[i]);
    char *text =
        text_print(" In a trial with this chain, %s%s.%s%s", stays ? "still " : "", says,
                   stays && rule->stays ? " " : "", stays && rule->stays ? rule->stays : "");
    free(says);
    return text;
}

static void comment_rule(FILE *file, const AdvicePlan *plan, size_t i) {
    const AdviceRule *rule = &advice_rules[i];
    const Advice *advice = &plan->advice;
    bool unknown = advice->verdict[i] == ADVICE_UNKNOWN;
    const char *word = unknown                             ? "cannot be told"
                       : advice->verdict[i] == ADVICE_FINE ? "not needed"
                       : advice->arises[i]                 ? "needed after the other steps"
                                                           : "needed";
    char *says = unknown ? advice_sentence(i, NAN) : judged(i, advice_found(advice, i));
    char *left = cost(plan, i), *then = outcome(plan, i);
    const char *what = remedy(plan, i);
    char *text = text_print("%s: %s: %s.%s%s%s%s", rule->name, word, says, *what ? " " : "", what,
                            left, then);
    comment(file, text);
    free(text);
    free(left);
    free(then);
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

/* What is left of harm, since without any step there would be as much. */
static void comment_harm(FILE *file, const AdvicePlan *plan) {
    if (!(harm_size(&plan->harm) > 0.0))
        return;
    char *harm = harm_text(&plan->harm);
    char *text = text_print("Listen: this chain %s.", harm);
    fputc('\n', file);
    comment(file, text);
    free(text);
    free(harm);
}

static void write_trim(FILE *file, double trim_db, bool rides) {
    if (!(trim_db > 0.0))
        return;
    char *text = text_print("Filters turn phases, and a peak rose by %.1f dB: %s takes that back.",
                            trim_db, rides ? "the ride" : "the fader");
    fputs("\n# ---- Peak\n", file);
    comment(file, text);
    free(text);
    if (!rides)
        fprintf(file, "  fader %.1f\n", -trim_db);
}

static void write_lane(FILE *file, const Ride *ride, double trim_db) {
    fputs("\n# ---- The ride: from, to (seconds), gain (dB). Change what you like.\n", file);
    char *text =
        text_print("Phrases %.1f dB apart (deviation), %.1f dB after; peak %.1f dBTP, "
                   "%.1f after.",
                   ride->spread_db, ride->left_db, ride->peak_db, ride->result_peak_db - trim_db);
    comment(file, text);
    free(text);
    ride_print_lane(file, ride, trim_db);
}

bool advice_write_chain(FILE *file, Host *host, const AdvicePlan *plan, HostError *error) {
    const char *step = "";
    bool rides = false;
    comment_head(file, &plan->taken);
    fputs("bus lead\n", file);
    for (size_t i = 0; i < advice_n_rules; i++) {
        const AdviceRule *rule = &advice_rules[i];
        AdviceSettings settings;
        if (strcmp(rule->step, step) != 0)
            fprintf(file, "\n# ---- %s\n", rule->step);
        step = rule->step;
        comment_rule(file, plan, i);
        if (!advice_wants_processor(&plan->advice, i))
            continue;
        if (!advice_settings(host, &plan->advice, i, &settings, error))
            return false;
        comment_settings(file, &settings);
        advice_write_step(file, "  ", rule, &settings, "\n");
        rides = rides || advice_is_ride(rule);
    }
    comment_harm(file, plan);
    write_trim(file, plan->advice.trim_db, rides);
    if (rides)
        write_lane(file, plan->advice.ride, plan->advice.trim_db);
    return true;
}
