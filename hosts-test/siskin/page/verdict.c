/* SPDX-License-Identifier: ISC */
/* What was wrong with the take, by the rules of siskin advise, and what the result is like. */
#include "siskin/advise/rules.h"
#include "siskin/page/text.h"
#include "siskin/page/write.h"

#include <stdlib.h>

/* In a word, which does not depend on colour. NULL: it was fine and is. */
static const char *outcome(size_t i, const Advice *before, const Advice *after) {
    bool was = before->verdict[i] == ADVICE_NEEDED, is = after->verdict[i] == ADVICE_NEEDED;
    if (!was)
        return is ? "new" : NULL;
    if (advice_is_mended(i, after->figure[i]))
        return "mended";
    return !is ? "no longer told" : advice_rules[i].processor ? "still there" : "for the hand";
}

static void write_sentence(FILE *to, const char *of, char *text) {
    fprintf(to, "<p class=\"side\"><b>%s</b><span>", of);
    page_escape(to, *text ? text : "cannot be told");
    fputs("</span></p>", to);
    free(text);
}

static void write_verdict(FILE *to, size_t i, const Advice *before, const Advice *after) {
    const AdviceRule *rule = &advice_rules[i];
    bool open = !advice_is_mended(i, after->figure[i]);
    fprintf(to, "<li class=\"%s\"><h3>", open ? "open" : "mended");
    page_escape(to, rule->name);
    fprintf(to, ": <em>%s</em></h3>", outcome(i, before, after));
    write_sentence(to, "raw", advice_sentence(i, before->figure[i]));
    write_sentence(to, "result", advice_sentence_after(i, before->verdict[i], after->figure[i]));
    if (open) {
        fputs("<p>", to);
        page_escape(to, rule->stays ? rule->stays : rule->todo);
        fputs("</p>", to);
    }
    char *limit = advice_limit(i);
    fprintf(to, "<p class=\"small\">%s</p></li>\n", limit);
    free(limit);
}

static void write_fine(FILE *to, const Advice *before, const Advice *after) {
    const char *between = "<p class=\"small\">Fine, or not to be told, before and after: ";
    for (size_t i = 0; i < advice_n_rules; i++) {
        if (outcome(i, before, after))
            continue;
        fputs(between, to);
        page_escape(to, advice_rules[i].name);
        between = ", ";
    }
    fputs(*between == ',' ? ".</p>\n" : "", to);
}

void page_write_verdicts(FILE *to, const Page *page) {
    Advice before = advice_of(&page->before), after = advice_of(&page->after);
    bool any = false;
    for (size_t i = 0; i < advice_n_rules; i++) {
        if (!outcome(i, &before, &after))
            continue;
        if (!any)
            fputs("<ul class=\"verdicts\">\n", to);
        any = true;
        write_verdict(to, i, &before, &after);
    }
    fputs(any ? "</ul>\n" : "<p>Nothing, by the measures of siskin advise.</p>\n", to);
    write_fine(to, &before, &after);
}
