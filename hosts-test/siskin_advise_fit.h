/* SPDX-License-Identifier: ISC */
/* siskin_advise_fit.h: settings as the controls of a processor take them. */
#ifndef SISKIN_ADVISE_FIT_H
#define SISKIN_ADVISE_FIT_H

#include "siskin_advise_rules.h"

/* The settings of the processor that rule `i` asks for, brought into the ranges of its controls.
 * Fails when the host has no such processor, or it no such control. */
bool advice_settings(Host *host, const Advice *advice, size_t i, AdviceSettings *settings,
                     HostError *error);

#endif
