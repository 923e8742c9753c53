/* SPDX-License-Identifier: ISC */
/* siskin_advise_settle.h: how each processor is set for a take that needs it. */
#ifndef SISKIN_ADVISE_SETTLE_H
#define SISKIN_ADVISE_SETTLE_H

#include "siskin_advise_rules.h"

AdviceSettle settle_low_end, settle_clicks, settle_breaths, settle_sibilants, settle_gaps,
    settle_riding;

#endif
