/* SPDX-License-Identifier: ISC */
/* advise_loop.h: for suites of siskin advise: advice as the program gives it, read back, and the
 * loop of advising, rendering and advising again. */
#ifndef SISKIN_TESTS_ADVISE_LOOP_H
#define SISKIN_TESTS_ADVISE_LOOP_H

#include "siskin/advise/rules.h"
#include "siskin/tests/run_siskin.h"

typedef struct {
    AdviceVerdict verdict[ADVICE_MOST_RULES]; /* of the take itself */
    bool arises[ADVICE_MOST_RULES];
    double figure[ADVICE_MOST_RULES], after[ADVICE_MOST_RULES];
    char stays[512], chain[2048];
} Row;

static inline void use_bundles(void) {
    bundles = "lv2";
}

/* The next field of a line of CSV; returns where the one after it begins. */
static inline const char *next_field(const char *at, char *field, size_t size) {
    size_t n = 0;
    bool quoted = *at == '"';
    for (at += quoted; *at && *at != '\n' && (quoted || *at != ','); at++) {
        if (quoted && at[0] == '"' && at[1] != '"') {
            at++;
            break;
        }
        at += quoted && *at == '"';
        if (n + 1 < size)
            field[n++] = *at;
    }
    field[n] = '\0';
    return at + (*at == ',' || *at == '\n');
}

static inline const char *next_figure(const char *at, double *figure) {
    char field[64];
    at = next_field(at, field, sizeof field);
    char *end = NULL;
    *figure = strtod(field, &end);
    if (end == field) /* "none", "unknown" */
        *figure = (double)NAN;
    return at;
}

static inline AdviceVerdict read_verdict(const char *word) {
    const struct {
        const char *word;
        AdviceVerdict verdict;
    } known[] = {{"yes", ADVICE_NEEDED},
                 {"no", ADVICE_FINE},
                 {"unknown", ADVICE_UNKNOWN},
                 {"arises", ADVICE_FINE}};
    for (size_t i = 0; i < sizeof known / sizeof *known; i++)
        if (strcmp(word, known[i].word) == 0)
            return known[i].verdict;
    ck_abort_msg("'%s'", word);
}

/* Line `number` of ran.out, whose columns are the take, three for each rule, the rules that stay,
 * and the chain. */
static inline Row read_row(size_t number) {
    Row row = {.chain = ""};
    char field[2048];
    const char *at = ran.out;
    for (size_t i = 0; i < number; i++)
        at = strchr(at, '\n') + 1;
    at = next_field(at, field, sizeof field);
    for (size_t i = 0; i < advice_n_rules; i++) {
        at = next_figure(at, &row.figure[i]);
        at = next_field(at, field, sizeof field);
        row.verdict[i] = read_verdict(field);
        row.arises[i] = strcmp(field, "arises") == 0;
        at = next_figure(at, &row.after[i]);
    }
    at = next_field(at, row.stays, sizeof row.stays);
    next_field(at, row.chain, sizeof row.chain);
    return row;
}

/* Whether `id` is one of the words. */
static inline bool has_word(const char *words, const char *id) {
    size_t length = strlen(id);
    for (const char *at = words; (at = strstr(at, id)); at += length)
        if ((at == words || at[-1] == ' ') && (at[length] == ' ' || !at[length]))
            return true;
    return false;
}

/* Of NAME.wav; its chain is written as chains/NAME.chain. */
static inline Row advise(const char *name) {
    ck_assert_msg(run("advise --quiet --csv --into chains %s.wav", name) == 0, "%s", ran.err);
    return read_row(1);
}

static inline size_t rule(const char *id) {
    for (size_t i = 0; i < advice_n_rules; i++)
        if (strcmp(advice_rules[i].id, id) == 0)
            return i;
    ck_abort_msg("no rule %s", id);
}

typedef struct {
    size_t found, open; /* findings that a processor is advised for; still there after it */
    size_t new;         /* not there before */
    size_t missed;      /* laid in, and not found */
} Tally;

/* What the trial read is what the render reads, and what stays or is new in that was told. */
static inline void check_told(const char *what, const Row *before, const Row *after, size_t i) {
    const AdviceRule *rule = &advice_rules[i];
    bool is = after->verdict[i] == ADVICE_NEEDED;
    bool told = has_word(before->stays, rule->id);
    bool same = true; /* else judged with the front done */
    for (size_t k = 0; !rule->as_recorded && k < advice_front(); k++)
        same = same && after->verdict[k] != ADVICE_NEEDED;
    if (!advice_is_tried(i)) { /* a render is not judged by it */
        ck_assert_msg(!told && isnan(before->after[i]), "%s: %s is told of", what, rule->id);
        return;
    }
    if (same && (isfinite(before->after[i]) || isfinite(after->figure[i])))
        ck_assert_msg(before->after[i] == after->figure[i], "%s: %s: told %g, is %g", what,
                      rule->id, before->after[i], after->figure[i]);
    ck_assert_msg(!is || told, "%s: %s is not told of", what, rule->id);
}

/* Advises, renders, advises again. */
static inline void close_loop(const char *what, Tally *tally, Row *before, Row *after) {
    *before = advise("take");
    ck_assert_msg(run("render --quiet --chain chains/take.chain take.wav out.wav") == 0, "%s: %s",
                  what, ran.err);
    *after = advise("out");
    for (size_t i = 0; i < advice_n_rules; i++) {
        bool was = before->verdict[i] == ADVICE_NEEDED, is = after->verdict[i] == ADVICE_NEEDED;
        bool mended = after->verdict[i] == ADVICE_FINE ||
                      (after->verdict[i] == ADVICE_UNKNOWN && advice_rules[i].gone);
        bool open = was && advice_is_tried(i) && !mended;
        tally->found += was && advice_is_tried(i);
        tally->open += open;
        /* What could not be told before, and can now, was not brought in by the chain. */
        bool unknown = before->verdict[i] == ADVICE_UNKNOWN;
        tally->new += is && !was && !unknown && !advice_rules[i].alone;
        if (open || (is && !was))
            printf("%s: %s: %s, %g, then %g; %s\n", what, open ? "still" : "new",
                   advice_rules[i].id, before->figure[i], after->figure[i], before->chain);
        fflush(stdout);
        check_told(what, before, after, i);
    }
}

#endif
