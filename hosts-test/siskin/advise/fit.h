/* SPDX-License-Identifier: ISC */
/* fit.h: settings as the controls of a processor take them, and as siskin render
 * reads them. */
#ifndef SISKIN_ADVISE_FIT_H
#define SISKIN_ADVISE_FIT_H

#include "siskin/advise/rules.h"

#include <stdio.h>

/* The settings of the processor that rule `i` asks for, brought into the ranges of its controls.
 * Fails when the host has no such processor, or it no such control. */
bool advice_settings(Host *host, const Advice *advice, size_t i, AdviceSettings *settings,
                     HostError *error);

/* Each pass, as `front`, "rumble-filter floor=66 slope=24", `back`. */
void advice_write_step(FILE *file, const char *front, const AdviceRule *rule,
                       const AdviceSettings *settings, const char *back);

/* A chain file of the steps that rules up to `last` ask for, and no word more. */
bool advice_write_bare(FILE *file, Host *host, const Advice *advice, size_t last, HostError *error);

/* All steps that rules up to `last` ask for: "rumble-filter floor=66 slope=24; de-esser
 * strength=60". The caller frees it; NULL: it fails as advice_settings. */
char *advice_line(Host *host, const Advice *advice, size_t last, HostError *error);

#endif
