/* SPDX-License-Identifier: ISC */
/* click_judge.h: from the features of an event, the evidence that it is a click.
 *
 * A logistic additive model (Hastie and Tibshirani, "Generalized additive models", Statistical
 * Science 1(3), 297-318, 1986): the logarithm of the odds is a sum of curves, one a feature,
 *     l = c + sum_i f_i(x_i)
 * each straight between its knots and flat beyond the outer ones, so that no outlier can outvote
 * the rest. The knots are quantiles of the feature; their worth was fitted once, offline, by
 * penalised maximum likelihood, to events in labelled material: recorded voices of both sexes in
 * sixteen languages at 16 and 44.1 kHz and the test singer, clean (no click; each counts by the
 * energy that mending it would take from its phrase) and with clicks of three makes laid into
 * words and gaps. What the curves say can be read from the table.
 * Two conjunctions, which no sum can express, are added by hand: a high rise out of a sound that
 * goes on alike is no plosive, nor is one that stands alone in a gap. No history. Cost about 300
 * operations. */
#ifndef SISKIN_DETECT_CLICK_JUDGE_H
#define SISKIN_DETECT_CLICK_JUDGE_H

#include "detect/click_features.h"

#include <stdbool.h>

/* Logarithm of the odds, as fitted. */
float click_judge(const float feature[CLICK_FEATURES]);

/* Whether the event lies in a gap, far under the voice. */
bool click_judge_gap(const float feature[CLICK_FEATURES]);

/* What it must exceed: more where the threshold is set higher. */
float click_judge_bar(float threshold_db);

#endif
