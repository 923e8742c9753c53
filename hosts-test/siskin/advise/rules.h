/* SPDX-License-Identifier: ISC */
/* rules.h: which steps a take needs, and with what settings.
 *
 * A rule is a row of one table: a figure made of the take's measures, a limit, where the limit
 * comes from, and what to do when the figure is on its wrong side. Rules stand in working order
 * (hum, the ends of the spectrum, noise, mouth noises, gaps, breaths, sibilants, pitch, the room's
 * resonance, riding; then what none of our processors mends). Rows next to each other may name one
 * processor: it is advised once. To add a rule, add a row. */
#ifndef SISKIN_ADVISE_RULES_H
#define SISKIN_ADVISE_RULES_H

#include "siskin/advise/harm.h"
#include "siskin/edit/ride.h"
#include "siskin/measure/take.h"

/* What stands for a processor where the level is written phrase by phrase. */
#define ADVICE_RIDE "ride"

typedef enum { ADVICE_FINE, ADVICE_NEEDED, ADVICE_UNKNOWN } AdviceVerdict;

enum { ADVICE_MOST_RULES = 32, ADVICE_MOST_SETTINGS = 12, ADVICE_MOST_PASSES = 4 };

typedef struct {
    const char *control;
    double value;
    char why[160]; /* empty: the same as the next one's, told with it */
} AdviceSetting;

typedef struct {
    AdviceSetting setting[ADVICE_MOST_SETTINGS];
    size_t n;
    unsigned passes; /* one after another, alike; at most ADVICE_MOST_PASSES */
    char why_passes[160];
} AdviceSettings;

/* Figures may be NAN, unknown, and +-INFINITY where there is nothing at all of what is looked for.
 */
typedef double AdviceFigure(const Measures *measures);
/* Of a take that needs the processor. `extra` is how much more it must do than the measures alone
 * would ask for, in units of the figure, >= 0: what a trial has shown to be lacking. Values need
 * not keep to the ranges of the controls. */
typedef void AdviceSettle(const Measures *measures, double extra, AdviceSettings *settings);

/* In reading order, whatever its padding. */
typedef struct {           /* NOLINT(clang-analyzer-optin.performance.Padding) */
    const char *id;        /* in CSV: lower case, words apart by _ */
    const char *step;      /* of the work; a heading where it changes */
    const char *name;      /* of what is judged */
    const char *processor; /* NULL: none of ours mends it; ADVICE_RIDE: a lane of the fader */
    bool as_recorded;      /* judged on the take itself, else with its front done: advice_front() */
    bool alone; /* of a take as recorded alone: in a render the figure is also the processors' */
    bool moves; /* its processor moves the waves: harm.h */
    AdviceFigure *figure;
    bool at_most; /* fine up to the limit; else fine from it on */
    double limit;
    const char *unit;
    int decimals;         /* of the figure; more where it is next to the limit */
    const char *source;   /* of the limit */
    const char *says;     /* about the take, with one %s: the figure and its unit */
    const char *none;     /* in place of an infinite figure */
    const char *unknown;  /* why it may not be known */
    const char *gone;     /* mended, it may be too little to tell of: what that means; else NULL */
    const char *todo;     /* what is done about it; by hand: what to do */
    const char *stays;    /* what to do about what the processor leaves; NULL by hand */
    AdviceSettle *settle; /* NULL by hand and of a ride; the same for all rows of a processor */
} AdviceRule;

extern const AdviceRule advice_rules[];
extern const size_t advice_n_rules;

typedef struct {
    const Measures *of[ADVICE_MOST_RULES]; /* that it was judged by; they must outlive it */
    double figure[ADVICE_MOST_RULES];
    AdviceVerdict verdict[ADVICE_MOST_RULES];
    double extra[ADVICE_MOST_RULES];  /* as of AdviceSettle */
    bool arises[ADVICE_MOST_RULES];   /* needed because of the other steps */
    double arisen[ADVICE_MOST_RULES]; /* the figure as they leave it */
    bool in_vain[ADVICE_MOST_RULES];  /* the processor does nothing for it, and is left out */
    bool harmful[ADVICE_MOST_RULES];  /* the processor does harm, and is left out */
    Harm cost[ADVICE_MOST_RULES];     /* the harm, of a harmful one */
    double trim_db;                   /* that the fader takes off all */
    const Ride *ride;                 /* what a ride would be; must outlive it */
} Advice;

Advice advice_of(const Measures *measures);
/* Judges rule `i` alone by these. */
void advice_judge(Advice *advice, size_t i, const Measures *measures);
/* Judges again, by the take with its front done, what is not judged as recorded. */
void advice_go_on(Advice *advice, const Measures *measures);

/* Whether it is mended by a ride instead of a plugin. */
bool advice_is_ride(const AdviceRule *rule);

/* Rules first..last are all that name the processor of rule `i`; first == last for those without.
 */
typedef struct {
    size_t first, last;
} AdviceRows;
AdviceRows advice_rows(size_t i);

/* The front: rules 0..advice_front() - 1, hum, the ends of the spectrum and noise. Every detector
 * behind them hears these, too. Whether any of them needs a processor. */
size_t advice_front(void);
bool advice_wants_front(const Advice *advice);

/* Whether rule `i` is judged again after a trial. */
bool advice_is_tried(size_t i);

/* Whether rule `i` ends the rows of a processor, and one of them needs it. */
bool advice_wants_processor(const Advice *advice, size_t i);

/* What made rule `i` needed: the take's own figure, or how the other steps leave it. */
double advice_found(const Advice *advice, size_t i);

/* "up to 12 is fine", "30 is enough". The caller frees it. */
char *advice_limit(size_t i);
/* "22 dB", or why there is no figure; and the same as said of a take: "22 dB under the voice". The
 * caller frees them. */
char *advice_value(size_t i, double figure);
char *advice_sentence(size_t i, double figure);
/* The same of a figure after the take's own was judged as `before`. */
char *advice_value_after(size_t i, AdviceVerdict before, double figure);
char *advice_sentence_after(size_t i, AdviceVerdict before, double figure);

/* Whether rule `i`, needed before, is met by a figure after. */
bool advice_is_mended(size_t i, double figure);

/* How far a figure is on the wrong side of the rule's limit, 0 when it is fine. INFINITY when it is
 * not known. */
double advice_shortfall(size_t i, double figure);

#endif
