/* SPDX-License-Identifier: ISC */
/* siskin_advise_chain.h: advice written as a chain file, for people and for siskin render alike. */
#ifndef SISKIN_ADVISE_CHAIN_H
#define SISKIN_ADVISE_CHAIN_H

#include "siskin_advise_rules.h"

#include <stdio.h>

/* The settings of the processor that rule `i` asks for, brought into the ranges of its controls.
 * Fails when the host has no such processor, or it no such control. */
bool advice_settings(Host *host, const Advice *advice, size_t i, AdviceSettings *settings,
                     HostError *error);

/* The chain of the processors that are needed, on a bus `lead`. Every rule is told of in comments:
 * whether it is needed, and by what measure. Fails as advice_settings; `file` may then hold a part.
 */
bool advice_write_chain(FILE *file, Host *host, const Measures *measures, const Advice *advice,
                        HostError *error);

/* "rumble-filter floor=66 slope=24; de-esser strength=60": the same in a line. */
bool advice_write_line(FILE *file, Host *host, const Measures *measures, const Advice *advice,
                       HostError *error);

#endif
