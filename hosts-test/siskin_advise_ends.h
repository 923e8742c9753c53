/* SPDX-License-Identifier: ISC */
/* siskin_advise_ends.h: what a take is like once the ends of its spectrum are clean.
 *
 * Rumble, hum and DC are heard by every detector after them: phrases seem louder or softer, gaps
 * full of noise, and bursts of consonants stand out like clicks. So the take is put through the
 * first processor that is advised, into a temporary file, and measured again. */
#ifndef SISKIN_ADVISE_ENDS_H
#define SISKIN_ADVISE_ENDS_H

#include "siskin_advise_rules.h"

/* Whether the first step is needed. */
bool advice_needs_ends(const Advice *advice);

/* Measures the take as the first step leaves it; fails as rendering and measuring do, and when
 * there is no room for a temporary file (in TMPDIR, or /tmp). */
bool advice_measure_clean(Host *host, const Advice *advice, Measures *clean, HostError *error);

#endif
