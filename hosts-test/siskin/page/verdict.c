/* SPDX-License-Identifier: ISC */
/* What was wrong with the take, by the rules of siskin advise, and what the result is like. Like is
 * held against like, or nothing is said: what no processor mends is judged of the take alone; what
 * the take tells too little of is not judged in the result; and where a chain does more than clean,
 * as a reverb does, its result is told of what is mended alone. */
#include "siskin/advise/rules.h"
#include "siskin/page/text.h"
#include "siskin/page/write.h"

#include <stdlib.h>
#include <string.h>

typedef struct {
    const Page *page;
    Advice before, after;
    bool alike; /* the chain cleans, and does nothing else */
} Verdicts;

/* ---- the chain ---- */

static bool cleans(const char *name) {
    bool found = strcmp(name, "phrase-leveller") == 0; /* which is never advised */
    for (size_t i = 0; i < advice_n_rules; i++)
        found =
            found || (advice_rules[i].processor && strcmp(name, advice_rules[i].processor) == 0);
    return found;
}

static bool cleans_only(const Chain *chain) {
    bool only = true;
    for (size_t b = 0; b < chain->n_busses; b++) {
        const ChainBus *bus = &chain->busses[b];
        only = only && !bus->file;
        for (size_t i = 0; i < bus->n_processors; i++)
            only = only && cleans(bus->processors[i].name);
    }
    return only;
}

bool page_chain_has(const Chain *chain, const char *processor) {
    for (size_t b = 0; b < chain->n_busses; b++)
        for (size_t i = 0; i < chain->busses[b].n_processors; i++)
            if (strcmp(chain->busses[b].processors[i].name, processor) == 0)
                return true;
    return false;
}

const Measures *page_heard(const Page *page) {
    return page->clean.path ? &page->clean : &page->before;
}

/* ---- a rule ---- */

/* In a word, which does not depend on colour. NULL: nothing is to be told. */
static const char *outcome(const Verdicts *v, size_t i) {
    AdviceVerdict before = v->before.verdict[i], after = v->after.verdict[i];
    if (before == ADVICE_UNKNOWN)
        return NULL;
    if (before == ADVICE_FINE)
        return after == ADVICE_NEEDED && v->alike && advice_is_tried(i) ? "new" : NULL;
    if (advice_rules[i].alone && page_chain_has(v->page->chain, advice_rules[i].processor))
        return "cut";
    if (!advice_is_tried(i))
        return "by hand";
    if (advice_is_mended(i, v->after.figure[i]))
        return "mended";
    if (!v->alike)
        return "not judged after this chain";
    return after == ADVICE_NEEDED ? "still there" : "too little left to tell";
}

static bool is_mended(const Verdicts *v, size_t i) {
    return advice_is_tried(i) && advice_is_mended(i, v->after.figure[i]);
}

static void write_sentence(FILE *to, const char *of, char *text) {
    fprintf(to, "<p class=\"side\"><b>%s</b><span>", of);
    page_escape(to, text);
    fputs("</span></p>", to);
    free(text);
}

static bool rides(const Chain *chain) {
    for (size_t b = 0; b < chain->n_busses; b++)
        if (chain->busses[b].fader_move.name)
            return true;
    return false;
}

/* What to do about what is left; where nobody can say whether something is, that it was worked
 * on. */
static void write_advice(FILE *to, const Verdicts *v, size_t i) {
    const AdviceRule *rule = &advice_rules[i];
    const Chain *chain = v->page->chain;
    bool judged = v->alike || !advice_is_tried(i), is_ride = advice_is_ride(rule);
    bool done = is_ride ? rides(chain) : rule->processor && page_chain_has(chain, rule->processor);
    if (is_mended(v, i))
        return;
    fputs("<p>", to);
    if (done && !judged)
        fprintf(to, "%s works on it; what comes after changes the figure, too.",
                is_ride ? "The ride" : rule->processor);
    else if (done || !rule->processor || (is_ride && judged))
        page_escape(to, rule->stays ? rule->stays : rule->todo);
    else
        fprintf(to, "This chain has no %s.", rule->processor);
    fputs("</p>", to);
}

static void write_verdict(FILE *to, const Verdicts *v, size_t i) {
    const AdviceRule *rule = &advice_rules[i];
    AdviceVerdict before = v->before.verdict[i];
    char *limit = advice_limit(i);
    fprintf(to, "<li class=\"%s\"><h3>", is_mended(v, i) ? "mended" : "open");
    page_escape(to, rule->name);
    fprintf(to, ": <em>%s</em></h3>", outcome(v, i));
    write_sentence(to, "raw", advice_sentence(i, v->before.figure[i]));
    if (advice_is_tried(i) && (v->alike || is_mended(v, i)))
        write_sentence(to, "result", advice_sentence_after(i, before, v->after.figure[i]));
    write_advice(to, v, i);
    fprintf(to, "<p class=\"small\">%s</p></li>\n", limit);
    free(limit);
}

/* ---- all ---- */

static void write_names(FILE *to, const Verdicts *v, AdviceVerdict verdict, const char *title) {
    bool any = false;
    for (size_t i = 0; i < advice_n_rules; i++) {
        if (v->before.verdict[i] != verdict || outcome(v, i))
            continue;
        fputs(any ? ", " : title, to);
        page_escape(to, advice_rules[i].name);
        any = true;
    }
    fputs(any ? ".</p>\n" : "", to);
}

void page_write_verdicts(FILE *to, const Page *page) {
    Verdicts v = {page, advice_of(&page->before), advice_of(&page->after),
                  cleans_only(page->chain)};
    if (page->clean.path)
        advice_go_on(&v.before, &page->clean);
    bool any = false;
    for (size_t i = 0; i < advice_n_rules; i++) {
        if (!outcome(&v, i))
            continue;
        if (!any)
            fputs("<ul class=\"verdicts\">\n", to);
        any = true;
        write_verdict(to, &v, i);
    }
    fputs(any ? "</ul>\n" : "<p>Nothing.</p>\n", to);
    write_names(to, &v, ADVICE_FINE, "<p class=\"small\">Fine: ");
    write_names(to, &v, ADVICE_UNKNOWN, "<p class=\"small\">Not judged: ");
    if (page->clean.path)
        fputs("<p class=\"small\">Phrases, breaths, sibilants, clicks, thumps and gaps are those "
              "of the take "
              "with its rumble, low hum and DC cut.</p>\n",
              to);
}
