/* SPDX-License-Identifier: ISC */
#include "contract/whiten.h"

#include <string.h>

static void autocorrelation(const float *x, size_t n, double r[WHITEN_ORDER + 1]) {
    for (size_t lag = 0; lag <= WHITEN_ORDER; lag++) {
        r[lag] = 0.0;
        for (size_t t = lag; t < n; t++)
            r[lag] += (double)x[t] * (double)x[t - lag];
    }
}

Whiten whiten_of(const float *model, size_t n) {
    Whiten w = {{0}};
    double r[WHITEN_ORDER + 1];
    autocorrelation(model, n, r);
    double error = r[0] * (1.0 + 1e-6); /* so that a pure tone has a solution, too */
    for (size_t order = 1; order <= WHITEN_ORDER && error > 0.0; order++) {
        double before[WHITEN_ORDER + 1], k = r[order];
        memcpy(before, w.a, sizeof before);
        for (size_t i = 1; i < order; i++)
            k -= before[i] * r[order - i];
        k /= error;
        w.a[order] = k;
        for (size_t i = 1; i < order; i++)
            w.a[i] = before[i] - k * before[order - i];
        error *= 1.0 - k * k;
    }
    return w;
}

void whiten(const Whiten *predictor, float *x, size_t n) {
    for (size_t t = n; t-- > 0;) {
        double expected = 0.0;
        for (size_t k = 1; k <= WHITEN_ORDER && k <= t; k++)
            expected += predictor->a[k] * (double)x[t - k];
        x[t] = (float)((double)x[t] - expected);
    }
}
