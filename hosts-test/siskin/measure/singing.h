/* SPDX-License-Identifier: ISC */
/* singing.h: what is sung: range, notes, key, and how far off they are. */
#ifndef SISKIN_MEASURE_SINGING_H
#define SISKIN_MEASURE_SINGING_H

#include "siskin/measure/analysis.h"

/* After analysis_finish(), with phrases and length known. false: out of memory. */
bool singing_measure(const Analysis *analysis, Measures *measures);

#endif
