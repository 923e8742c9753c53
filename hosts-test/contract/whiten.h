/* SPDX-License-Identifier: ISC */
/* whiten.h: what is new in each frame of a signal, by linear prediction.
 *
 *     e[t] = x[t] - sum over k = 1..ORDER of a[k] x[t - k],   a from the autocorrelation of a model
 * so that a voice, whose neighbouring frames are alike, becomes as sharp in time as a noise is.
 * Source: Levinson's recursion, as in Makhoul, "Linear prediction", Proc. IEEE 63(4), 1975, eq. 38;
 * whitened ahead of a correlation: Knapp and Carter, IEEE TASSP 24(4), 1976. */
#ifndef SISKIN_CONTRACT_WHITEN_H
#define SISKIN_CONTRACT_WHITEN_H

#include <stddef.h>

enum { WHITEN_ORDER = 32 };
typedef struct {
    double a[WHITEN_ORDER + 1]; /* a[0] is not used */
} Whiten;

/* The predictor of model[n], n > WHITEN_ORDER; one that predicts 0 of silence. */
Whiten whiten_of(const float *model, size_t n);
/* x[n] -> what the predictor did not expect, in place; frames before the first count as 0. */
void whiten(const Whiten *predictor, float *x, size_t n);

#endif
