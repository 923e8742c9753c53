/* SPDX-License-Identifier: ISC */
/* chain.h: advice written as a chain file, for people and for siskin render alike. */
#ifndef SISKIN_ADVISE_CHAIN_H
#define SISKIN_ADVISE_CHAIN_H

#include "siskin/advise/plan.h"

#include <stdio.h>

/* The line of the limiter, the last of a chain with `finish`. */
#define ADVICE_CEILING "  peak-ceiling\n"

/* The chain of the processors that are needed, on a bus `lead`; with `finish` it goes on to a lead
 * that is compressed, coloured and peak-safe. Every rule is told of in comments:
 * whether it is needed, by what measure, and how a render measures. Fails as advice_settings;
 * `file` may then hold a part. */
bool advice_write_chain(FILE *file, Host *host, const AdvicePlan *plan, bool finish,
                        HostError *error);

#endif
