/* SPDX-License-Identifier: ISC */
/* settings.h: how each processor is set for a take that needs it. */
#ifndef SISKIN_ADVISE_SETTINGS_H
#define SISKIN_ADVISE_SETTINGS_H

#include "siskin/advise/rules.h"

AdviceSettle settle_hum, settle_hiss, settle_resonance, settle_low_end, settle_clicks,
    settle_breaths, settle_sibilants, settle_pitch, settle_gaps;

#endif
