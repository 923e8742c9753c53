/* SPDX-License-Identifier: ISC */
/* siskin_advise_rules.h: which steps a take needs, and with what settings.
 *
 * A rule is a row of one table: a figure made of the take's measures, a limit, where the limit
 * comes from, and what to do when the figure is on its wrong side. Rules stand in working order
 * (clean the ends of the spectrum, mouth noises, breaths, sibilants, gaps, riding; then what none
 * of our processors mends). Rows next to each other may name one processor: it is advised once. To
 * add a rule, add a row. */
#ifndef SISKIN_ADVISE_RULES_H
#define SISKIN_ADVISE_RULES_H

#include "siskin_measure_take.h"

typedef enum { ADVICE_FINE, ADVICE_NEEDED, ADVICE_UNKNOWN } AdviceVerdict;

enum { ADVICE_MOST_RULES = 32, ADVICE_MOST_SETTINGS = 6 };

typedef struct {
    const char *control;
    double value;
    char why[160];
} AdviceSetting;

typedef struct {
    AdviceSetting setting[ADVICE_MOST_SETTINGS];
    size_t n;
    unsigned passes; /* one after another, alike */
    char why_passes[160];
} AdviceSettings;

/* Figures may be NAN, unknown, and +-INFINITY where there is nothing at all of what is looked for.
 */
typedef double AdviceFigure(const Measures *measures);
/* Of a take that needs the processor. Values need not keep to the ranges of the controls. */
typedef void AdviceSettle(const Measures *measures, AdviceSettings *settings);

/* In reading order, whatever its padding. */
typedef struct {           /* NOLINT(clang-analyzer-optin.performance.Padding) */
    const char *id;        /* in CSV: lower case, words apart by _ */
    const char *step;      /* of the work; a heading where it changes */
    const char *name;      /* of what is judged */
    const char *processor; /* NULL: none of ours mends it */
    bool as_recorded;      /* judged on the take itself, else with the ends of its spectrum clean */
    AdviceFigure *figure;
    bool at_most; /* fine up to the limit; else fine from it on */
    double limit;
    const char *unit;
    int decimals;
    const char *source;   /* of the limit */
    const char *says;     /* a sentence about the take, with one %s: the figure and its unit */
    const char *none;     /* the sentence for an infinite figure */
    const char *unknown;  /* why it may not be known */
    const char *todo;     /* what is done about it; by hand: what to do */
    AdviceSettle *settle; /* NULL by hand; the same for all rows of a processor */
} AdviceRule;

extern const AdviceRule advice_rules[];
extern const size_t advice_n_rules;

typedef struct {
    const Measures *of[ADVICE_MOST_RULES]; /* that it was judged by; they must outlive it */
    double figure[ADVICE_MOST_RULES];
    AdviceVerdict verdict[ADVICE_MOST_RULES];
} Advice;

Advice advice_of(const Measures *measures);
/* Judges again, by the take with the ends of its spectrum clean, what is not judged as recorded. */
void advice_go_on(Advice *advice, const Measures *measures);

/* Whether rule `i` ends the rows of a processor, and one of them needs it. */
bool advice_wants_processor(const Advice *advice, size_t i);

#endif
