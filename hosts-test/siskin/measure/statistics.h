/* SPDX-License-Identifier: ISC */
/* statistics.h: what many values come to. */
#ifndef SISKIN_MEASURE_STATISTICS_H
#define SISKIN_MEASURE_STATISTICS_H

#include <stddef.h>

/* Of the finite ones among the values, between neighbours in proportion; NAN for none. */
double statistics_quantile(const double *values, size_t n, double p);
double statistics_median(const double *values, size_t n);

#endif
