/* SPDX-License-Identifier: ISC */
#include "siskin/advise/plan.h"

#include "siskin/advise/trial.h"
#include "siskin/edit/ride_take.h"
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

static bool moves_waves(const Advice *advice) {
    bool moves = false;
    for (size_t i = 0; i < advice_n_rules; i++)
        moves = moves || (advice_rules[i].moves && advice_wants_processor(advice, i));
    return moves;
}

/* Advice, and what came of it. */
typedef struct {
    Advice advice, after;
    Harm harm;
} Trial;

static bool run_trial(const Trials *trials, const AdvicePlan *plan, Trial *trial,
                      HostError *error) {
    Measures result;
    Envelope envelope;
    if (!wants_anything(&trial->advice)) {
        trial->after = trial->advice;
        trial->harm = (Harm){.wander_db = (double)NAN, .wander_most_db = (double)NAN};
        return true;
    }
    if (!advice_try(trials->host, &trial->advice, advice_n_rules - 1, trials->progress, &result,
                    &envelope, error))
        return false;
    trial->after = advice_of(&result);
    memset(trial->after.of, 0, sizeof trial->after.of);
    trial->harm = harm_of(&plan->taken, &plan->envelope, &envelope, moves_waves(&trial->advice));
    trial->harm.peak_db += plan->lift_db;
    measures_free(&result);
    envelope_free(&envelope);
    return true;
}

static bool stays(const Advice *advice, const Advice *after, size_t i) {
    bool was = advice->verdict[i] == ADVICE_NEEDED;
    if (!advice_is_tried(i))
        return false;
    return was ? !advice_is_mended(i, after->figure[i]) : after->verdict[i] == ADVICE_NEEDED;
}

typedef struct {
    double harm;
    size_t stay;
    double lacking; /* sum of shares of the limits' sizes */
} Score;

static Score score_of(const Trial *trial) {
    const double unknown = 1.0;
    const Advice *advice = &trial->advice, *after = &trial->after;
    Score score = {harm_size(&trial->harm), 0, 0.0};
    for (size_t i = 0; i < advice_n_rules; i++) {
        if (!stays(advice, after, i))
            continue;
        double lacking = advice_shortfall(i, after->figure[i]);
        score.stay++;
        score.lacking += isfinite(lacking) ? lacking / fabs(advice_rules[i].limit) : unknown;
    }
    return score;
}

/* More harm is never better. By much less counts: the weaker settings of an earlier trial are as
 * good. */
static bool is_better(Score a, Score b) {
    const double much = 0.9;
    if (a.harm != b.harm)
        return a.harm < b.harm;
    return a.stay < b.stay || (a.stay == b.stay && a.lacking < much * b.lacking);
}

/* ---- the next trial ---- */

static void ask_for_more(Advice *advice, const Advice *after) {
    for (size_t i = 0; i < advice_n_rules; i++) {
        double lacking = advice_shortfall(i, after->figure[i]);
        if (!advice_is_tried(i) || !(lacking > 0.0) || !isfinite(lacking))
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

static Trial trial_of(const AdvicePlan *plan) {
    return (Trial){plan->advice, plan->after, plan->harm};
}

/* Takes the trial in place of the plan's own when it is `better`. */
static void keep(AdvicePlan *plan, const Trial *trial, bool better) {
    if (!better)
        return;
    plan->advice = trial->advice;
    plan->after = trial->after;
    plan->harm = trial->harm;
}

static bool try_first(const Trials *trials, AdvicePlan *plan, HostError *error) {
    Trial trial = {.advice = plan->advice};
    bool fine = run_trial(trials, plan, &trial, error);
    keep(plan, &trial, fine);
    return fine;
}

static bool try_more(const Trials *trials, AdvicePlan *plan, HostError *error) {
    Trial trial = trial_of(plan);
    for (int n = 0, idle = 0; n < TRIALS && idle < PATIENCE; n++) {
        if (score_of(&trial).stay == 0)
            break;
        ask_for_more(&trial.advice, &trial.after);
        if (!run_trial(trials, plan, &trial, error))
            return false;
        Trial own = trial_of(plan);
        bool better = is_better(score_of(&trial), score_of(&own));
        keep(plan, &trial, better);
        idle = better ? 0 : idle + 1;
    }
    return true;
}

static bool try_less(const Trials *trials, AdvicePlan *plan, HostError *error) {
    Trial own = trial_of(plan), trial = own;
    if (!leave_out_what_is_in_vain(&trial.advice, &plan->after))
        return true;
    if (!run_trial(trials, plan, &trial, error))
        return false;
    keep(plan, &trial, !is_better(score_of(&own), score_of(&trial)));
    return true;
}

/* Of the processors, leaves out the one without which least harm is left, and then fewest findings
 * stay; `any`: one that helps. */
static bool leave_out_the_worst(const Trials *trials, AdvicePlan *plan, bool *any,
                                HostError *error) {
    Trial own = trial_of(plan), best = own;
    *any = false;
    for (size_t i = 0; i < advice_n_rules; i++) {
        if (!advice_wants_processor(&own.advice, i))
            continue;
        Trial trial = own;
        AdviceRows rows = advice_rows(i);
        for (size_t k = rows.first; k <= rows.last; k++) {
            trial.advice.harmful[k] = trial.advice.verdict[k] == ADVICE_NEEDED;
            trial.advice.cost[k] = own.harm;
        }
        if (!run_trial(trials, plan, &trial, error))
            return false;
        bool helps = harm_size(&trial.harm) < harm_size(&own.harm);
        if (helps && (!*any || is_better(score_of(&trial), score_of(&best)))) {
            best = trial;
            *any = true;
        }
    }
    keep(plan, &best, *any);
    return true;
}

static bool try_without_harm(const Trials *trials, AdvicePlan *plan, HostError *error) {
    bool any = true;
    while (any && harm_size(&plan->harm) > 0.0)
        if (!leave_out_the_worst(trials, plan, &any, error))
            return false;
    return true;
}

/* Filters turn phases, so that a peak may rise: the fader takes that back, and what comes of it is
 * tried as everything else is. */
static bool take_back_the_peak(const Trials *trials, AdvicePlan *plan, HostError *error) {
    const double step_db = 0.1, hardly_db = 0.05;
    Trial trial = trial_of(plan);
    if (!(trial.harm.peak_db > hardly_db))
        return true;
    trial.advice.trim_db = step_db * ceil(trial.harm.peak_db / step_db);
    bool fine = run_trial(trials, plan, &trial, error);
    keep(plan, &trial, fine);
    return fine;
}

/* Hum's harmonics fill the gaps, too. What they leave there is no noise: that is judged with hum
 * and rumble gone, by the front's last rule. */
static bool judge_noise_without_hum(const Trials *trials, AdvicePlan *plan, HostError *error) {
    const size_t hum = 0, noise = advice_front() - 1;
    if (!advice_wants_processor(&plan->advice, hum) ||
        !advice_wants_processor(&plan->advice, noise))
        return true;
    if (!advice_try(trials->host, &plan->advice, noise - 1, trials->progress, &plan->quiet, NULL,
                    error))
        return false;
    advice_judge(&plan->advice, noise, &plan->quiet);
    return true;
}

static bool do_the_front(const Trials *trials, AdvicePlan *plan, HostError *error) {
    if (!advice_wants_front(&plan->advice))
        return true;
    if (!advice_try(trials->host, &plan->advice, advice_front() - 1, trials->progress, &plan->clean,
                    NULL, error))
        return false;
    advice_go_on(&plan->advice, &plan->clean);
    return true;
}

/* By the phrases as they are heard with the front done. The gains act on the take as it is, so that
 * is where peaks and soft places are looked for. */
static bool plan_ride(AdvicePlan *plan, HostError *error) {
    const RideParams params = {
        .range_db = RIDE_RANGE_DB, .strength = 1.0, .target_lufs = (double)NAN};
    Measures heard = plan->clean.path ? plan->clean : plan->taken;
    heard.path = plan->taken.path;
    plan->advice.ride = &plan->ride;
    return ride_take(&plan->ride, &heard, &params, error);
}

/* What harm is measured from. A cut that stands still takes more off one vowel than off the next,
 * and is no gain that moves: so it is from the take with that cut made, but for its peak. */
static bool hear_the_take(const Trials *trials, AdvicePlan *plan, HostError *error) {
    Measures cut;
    Advice only = plan->advice;
    bool any = false;
    for (size_t i = 0; i < advice_n_rules; i++) {
        bool stands = advice_rules[i].alone;
        any = any || (stands && advice_wants_processor(&plan->advice, i));
        only.in_vain[i] = !stands;
    }
    if (!any)
        return envelope_read(&plan->envelope, plan->taken.path, error);
    if (!advice_try(trials->host, &only, advice_n_rules - 1, trials->progress, &cut,
                    &plan->envelope, error))
        return false;
    plan->lift_db = cut.true_peak_db - plan->taken.true_peak_db;
    measures_free(&cut);
    return true;
}

bool plan_make(Host *host, const char *path, Progress *progress, AdvicePlan *plan,
               HostError *error) {
    const Trials trials = {host, progress};
    memset(plan, 0, sizeof *plan);
    if (!takes_measure(path, &plan->taken, progress, error))
        return false;
    plan->advice = advice_of(&plan->taken);
    if (judge_noise_without_hum(&trials, plan, error) && do_the_front(&trials, plan, error) &&
        plan_ride(plan, error) && hear_the_take(&trials, plan, error) &&
        try_first(&trials, plan, error) && try_more(&trials, plan, error) &&
        try_less(&trials, plan, error) && try_without_harm(&trials, plan, error) &&
        take_back_the_peak(&trials, plan, error))
        return true;
    plan_free(plan);
    return false;
}

void plan_free(AdvicePlan *plan) {
    envelope_free(&plan->envelope);
    ride_free(&plan->ride);
    measures_free(&plan->quiet);
    measures_free(&plan->clean);
    measures_free(&plan->taken);
}

bool plan_stays(const AdvicePlan *plan, size_t i) {
    return stays(&plan->advice, &plan->after, i);
}
