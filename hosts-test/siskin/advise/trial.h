/* SPDX-License-Identifier: ISC */
/* trial.h: what a take is like once what is advised has been done to it. It is
 * rendered into a temporary file and measured there, as its user would. */
#ifndef SISKIN_ADVISE_TRIAL_H
#define SISKIN_ADVISE_TRIAL_H

#include "siskin/advise/rules.h"
#include "siskin/edit/envelope.h"
#include "siskin/render/report.h"

/* Measures the take, and its envelope (or NULL), as the processors leave it that rules up to `last`
 * ask for; one at least must. Fails as rendering and measuring do, and when there is no room for
 * the temporary file (in TMPDIR, or /tmp; as large as the take in 32-bit float). */
bool advice_try(Host *host, const Advice *advice, size_t last, Progress *progress, Measures *result,
                Envelope *envelope, HostError *error);

#endif
