/* SPDX-License-Identifier: ISC */
/* comp.h: which take of several sings each phrase best.
 *
 * All takes run along one backing, so phrases lie at equal times, give or take: a section is where
 * any take sings, up to where all rest. Of each section each take has a fault in points, one point
 * being what is just worth another take:
 *
 *   pitch 8 cents of mean distance from the nearest semitone, of steady notes; the tuning is that
 *            of all takes together (half of what listeners let pass is 25 cents: Larrouy-Maestri,
 *            Music & Science 2018)
 *   notes    10 % of the sung time over 60 cents from the median of the takes at the equal moment
 *   words 5 points for other words than most takes sing (warp.h finds no equal moments); from three
 *            takes on
 *   timing   15 ms of mean distance from the median of the takes; both of these from three takes on
 *   noise    3 dB of what is softest in it and 0.3 s around (a tenth of the time), against its
 *            voice, over the take that is best in this
 *   clicks   one click that stands 12 dB and more over what surrounds it
 *   clipping five flat tops
 *   level    2 dB from the median of the takes, beyond 1.5 dB
 *
 * (The scales but the first are common practice.) Fixed scales and not each take's distance in
 * deviations: of two or three takes there is no deviation to speak of. The least sum wins; a change
 * of take costs 0.3 and is only made in a rest of both of 60 ms and more. */
#ifndef SISKIN_EDIT_COMP_H
#define SISKIN_EDIT_COMP_H

#include "siskin/edit/hearing.h"

enum { COMP_TAKES = 32 };

typedef enum {
    COMP_PITCH,
    COMP_NOTES,
    COMP_WORDS,
    COMP_TIMING,
    COMP_NOISE,
    COMP_CLICKS,
    COMP_CLIPPING,
    COMP_LEVEL,
    COMP_FAULTS
} CompFault;

typedef struct {
    const Hearing *hearing;
    const float *mid;
    const double *click_s; /* when it clicks */
    size_t n_clicks;
} CompTake;

typedef struct {
    double value
        [COMP_FAULTS]; /* in its own unit: cents, %, 1, ms, dB, 1, 1, dB; NAN: cannot be told */
    double points;     /* their sum; INFINITY: it does not sing here */
} CompScore;

typedef struct {
    size_t start, end; /* frames */
    size_t take;       /* the chosen one */
    CompScore score[COMP_TAKES];
} CompSection;

typedef struct {
    CompSection *sections;
    size_t n;
} Comp;

/* 1..COMP_TAKES takes, all at one rate. false: out of memory. */
bool comp_choose(Comp *comp, const CompTake *takes, size_t n);
void comp_free(Comp *comp);

/* Points of one fault. */
double comp_points(CompFault fault, double value);

/* The middle of the first rest of 60 ms and more that both takes share between two frames; false:
 * there is none. */
bool comp_cut(const Hearing *a, const Hearing *b, size_t from, size_t to, size_t *cut);

#endif
