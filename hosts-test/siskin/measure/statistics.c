/* SPDX-License-Identifier: ISC */
#include "siskin/measure/statistics.h"

#include "siskin/text.h"

#include <math.h>
#include <stdlib.h>

static int by_value(const void *a, const void *b) {
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

double statistics_quantile(const double *values, size_t n, double p) {
    double *sorted = text_take(n, sizeof *sorted);
    size_t count = 0;
    for (size_t i = 0; i < n; i++)
        if (isfinite(values[i]))
            sorted[count++] = values[i];
    qsort(sorted, count, sizeof *sorted, by_value);
    double at = p * (double)(count - 1);
    size_t below = count ? (size_t)at : 0;
    double share = at - (double)below;
    double value = count == 0           ? (double)NAN
                   : below + 1 == count ? sorted[below]
                                        : (1.0 - share) * sorted[below] + share * sorted[below + 1];
    free(sorted);
    return value;
}

double statistics_median(const double *values, size_t n) {
    return statistics_quantile(values, n, 0.5);
}
