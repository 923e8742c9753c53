/* SPDX-License-Identifier: ISC */
#include "siskin/advise/plan.h"

#include "siskin/advise/trial.h"
#include "siskin/measure/takes.h"

#include <math.h>
#include <string.h>

/* Of asking for more; and of those in a row that may be no better than the best. */
enum { TRIALS = 6, PATIENCE = 2 };

/* What a step is to do beyond what it lacked, so that the next trial does not miss by a little. */
static const double BEYOND = 2.0;

typedef struct {
    Host *host;
    Progress *progress;
} Trials;

/* ---- one trial ---- */

static bool wants_anything(const Advice *advice) {
    bool wants = false;
    for (size_t i = 0; i < advice_n_rules; i++)
        wants = wants || advice_wants_processor(advice, i);
    return wants;
}

static bool judge_trial(const Trials *trials, const Advice *advice, Advice *after,
                        HostError *error) {
    Measures result;
    if (!wants_anything(advice)) {
        *after = *advice;
        return true;
    }
    if (!advice_try(trials->host, advice, advice_n_rules - 1, trials->progress, &result, error))
        return false;
    *after = advice_of(&result);
    memset(after->of, 0, sizeof after->of);
    measures_free(&result);
    return true;
}

static bool stays(const Advice *advice, const Advice *after, size_t i) {
    const AdviceRule *rule = &advice_rules[i];
    bool was = advice->verdict[i] == ADVICE_NEEDED;
    if (!rule->processor)
        return after->verdict[i] == ADVICE_NEEDED && !was;
    return was ? !advice_is_mended(i, after->figure[i]) : after->verdict[i] == ADVICE_NEEDED;
}

typedef struct {
    size_t stay;
    double lacking; /* sum of shares of the limits' sizes */
} Score;

static Score score_of(const Advice *advice, const Advice *after) {
    const double unknown = 1.0;
    Score score = {0, 0.0};
    for (size_t i = 0; i < advice_n_rules; i++) {
        if (!stays(advice, after, i))
            continue;
        double lacking = advice_shortfall(i, after->figure[i]);
        score.stay++;
        score.lacking += isfinite(lacking) ? lacking / fabs(advice_rules[i].limit) : unknown;
    }
    return score;
}

/* By much less counts: the weaker settings of an earlier trial are as good. */
static bool is_better(Score a, Score b) {
    const double much = 0.9;
    return a.stay < b.stay || (a.stay == b.stay && a.lacking < much * b.lacking);
}

/* ---- the next trial ---- */

static void ask_for_more(Advice *advice, const Advice *after) {
    for (size_t i = 0; i < advice_n_rules; i++) {
        double lacking = advice_shortfall(i, after->figure[i]);
        if (!advice_rules[i].processor || !(lacking > 0.0) || !isfinite(lacking))
            continue;
        advice->extra[i] += lacking + BEYOND;
        if (advice->verdict[i] == ADVICE_NEEDED)
            continue;
        advice->verdict[i] = ADVICE_NEEDED;
        advice->arises[i] = true;
        advice->arisen[i] = after->figure[i];
    }
}

/* Of each processor whose findings all stay, and are hardly less than they were. */
static bool leave_out_what_is_in_vain(Advice *advice, const Advice *after) {
    const double hardly = 0.9;
    bool any = false;
    for (size_t i = 0; i < advice_n_rules; i++) {
        AdviceRows rows = advice_rows(i);
        bool vain = advice_wants_processor(advice, i);
        for (size_t k = rows.first; k <= rows.last; k++)
            if (advice->verdict[k] == ADVICE_NEEDED)
                vain = vain && stays(advice, after, k) &&
                       advice_shortfall(k, after->figure[k]) >
                           hardly * advice_shortfall(k, advice_found(advice, k));
        for (size_t k = rows.first; vain && k <= rows.last; k++)
            advice->in_vain[k] = advice->verdict[k] == ADVICE_NEEDED;
        any = any || vain;
    }
    return any;
}

/* ---- all trials ---- */

/* Takes the trial in place of the plan's own when it is `better`. */
static void keep(AdvicePlan *plan, const Advice *advice, const Advice *after, bool better) {
    if (!better)
        return;
    plan->advice = *advice;
    plan->after = *after;
}

static bool try_more(const Trials *trials, AdvicePlan *plan, HostError *error) {
    Advice advice = plan->advice, after = plan->after;
    for (int trial = 0, idle = 0; trial < TRIALS && idle < PATIENCE; trial++) {
        if (score_of(&advice, &after).stay == 0)
            break;
        ask_for_more(&advice, &after);
        if (!judge_trial(trials, &advice, &after, error))
            return false;
        bool better = is_better(score_of(&advice, &after), score_of(&plan->advice, &plan->after));
        keep(plan, &advice, &after, better);
        idle = better ? 0 : idle + 1;
    }
    return true;
}

static bool try_less(const Trials *trials, AdvicePlan *plan, HostError *error) {
    Advice advice = plan->advice, after;
    if (!leave_out_what_is_in_vain(&advice, &plan->after))
        return true;
    if (!judge_trial(trials, &advice, &after, error))
        return false;
    keep(plan, &advice, &after,
         !is_better(score_of(&plan->advice, &plan->after), score_of(&advice, &after)));
    return true;
}

static bool clean_ends(const Trials *trials, AdvicePlan *plan, HostError *error) {
    size_t last = advice_rows(0).last;
    if (!advice_wants_processor(&plan->advice, last))
        return true;
    if (!advice_try(trials->host, &plan->advice, last, trials->progress, &plan->clean, error))
        return false;
    advice_go_on(&plan->advice, &plan->clean);
    return true;
}

bool plan_make(Host *host, const char *path, Progress *progress, AdvicePlan *plan,
               HostError *error) {
    const Trials trials = {host, progress};
    memset(plan, 0, sizeof *plan);
    if (!takes_measure(path, &plan->taken, progress, error))
        return false;
    plan->advice = advice_of(&plan->taken);
    if (clean_ends(&trials, plan, error) &&
        judge_trial(&trials, &plan->advice, &plan->after, error) &&
        try_more(&trials, plan, error) && try_less(&trials, plan, error))
        return true;
    plan_free(plan);
    return false;
}

void plan_free(AdvicePlan *plan) {
    measures_free(&plan->clean);
    measures_free(&plan->taken);
}

bool plan_stays(const AdvicePlan *plan, size_t i) {
    return stays(&plan->advice, &plan->after, i);
}
