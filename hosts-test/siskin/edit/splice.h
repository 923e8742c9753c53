/* SPDX-License-Identifier: ISC */
/* splice.h: a take brought to other times by leaving out and repeating pieces of it; everything
 * between two splices is copied to the sample.
 *
 * Where it is periodic, a splice leaves out or repeats whole periods (after Moulines and
 * Charpentier, Speech Communication 9, 1990): the pitch reader tells the period, and the greatest
 * correlation of both sides within 12 % of it the length. In noise it is the length nearest to the
 * one asked for, within 8 ms, at which both sides correlate best (Verhelst and Roelands, ICASSP
 * 1993: WSOLA). In a rest it is just the length asked for. Never within a breath, nor within 20 ms
 * of a burst, or of any attack out of a rest that is as sudden.
 * Crossfades: raised cosines a, b = 1 - a over their power for the correlation r of both sides,
 *     a / sqrt(a^2 + b^2 + 2 r a b), r >= 0
 * so that neither a hole nor a bump is heard (after Fink, Holters and Zoelzer, DAFx 2016). */
#ifndef SISKIN_EDIT_SPLICE_H
#define SISKIN_EDIT_SPLICE_H

#include "siskin/edit/hearing.h"
#include "siskin/edit/time_map.h"

#include <stdint.h>

typedef struct {
    int64_t at;            /* first frame of the crossfade, in the output */
    int64_t before, after; /* frame of the take less frame of the output, on either side */
    size_t fade;           /* frames */
    double likeness;       /* r */
} Splice;

typedef struct {
    Splice *list;
    size_t n;
    int64_t first; /* frame of the take less frame of the output before the first splice */
} Splices;

/* `mid` is what `hearing` was made of: the mean of the channels. */
void splices_plan(Splices *splices, const TimeMap *map, const Hearing *hearing, const float *mid);
void splices_free(Splices *splices);

/* One channel; silence where the take has nothing. in and out are apart. */
void splices_render(const Splices *splices, const float *in, size_t n, float *out, size_t n_out);

/* Where a frame of the take comes in the output; when it was left out, where its neighbours
 * meet. */
double splices_at(const Splices *splices, double frame);

/* Bursts of plosives, with 20 ms on either side. Returns how many; the caller frees *span. */
size_t splice_bursts(const Hearing *hearing, HearingSpan **span);

#endif
