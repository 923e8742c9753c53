/* SPDX-License-Identifier: ISC */
/* plan.h: from a take to advice that has been tried.
 *
 * The take is measured and judged. Hum, noise, rumble and DC are heard by every detector after
 * them: phrases seem louder or softer, gaps full of noise, and bursts of consonants stand out like
 * clicks. So where these are found, they are mended, and the rest is judged by the outcome. Then
 * everything that is advised is done to the take, and that is measured and judged again. Where a
 * finding stays, or one is new, the step for it is set to do more, and tried again, a few times; of
 * all trials the best is advised. A processor that does nothing for a finding is left out, and so
 * is one that does harm (harm.h): of those, the one without which least is left of it, one after
 * another. What stays in the end is told, and what was left out would have cost. */
#ifndef SISKIN_ADVISE_PLAN_H
#define SISKIN_ADVISE_PLAN_H

#include "siskin/advise/rules.h"
#include "siskin/render/report.h"

typedef struct {
    Measures taken; /* as recorded */
    Measures quiet; /* with its hum out, where noise was found beside hum */
    Measures clean; /* with the front done (advice_front()), where it needs it */
    Ride ride;      /* what it would be, if it is asked for */
    Advice advice;
    Advice after;      /* how a render with it is judged; its `of` is not to be used */
    Harm harm;         /* what that render does besides */
    Envelope envelope; /* of the take as recorded, but for a cut that stands still */
    double lift_db;    /* of its peak, by that cut */
} AdvicePlan;

/* Fails as measuring and rendering do; then there is nothing to free. */
bool plan_make(Host *host, const char *path, Progress *progress, AdvicePlan *plan,
               HostError *error);
void plan_free(AdvicePlan *plan);

/* Whether rule `i` is not fine after all that is advised, though it was before or should be now.
 * What is judged of the take as recorded alone never stays: a render's flat tops, decays and
 * resonances are also the processors'. */
bool plan_stays(const AdvicePlan *plan, size_t i);

#endif
