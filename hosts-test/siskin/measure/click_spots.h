/* SPDX-License-Identifier: ISC */
/* click_spots.h: where a take has clicks, as transient-tamer finds them at its defaults. */
#ifndef SISKIN_MEASURE_CLICK_SPOTS_H
#define SISKIN_MEASURE_CLICK_SPOTS_H

#include "detect/click_finder.h"
#include "filter/band_levels.h"
#include "siskin/measure/take.h"

typedef struct {
    double rate_hz;
    BandLevels levels;
    ClickFinder clicks;
    size_t late;   /* hops that the finder holds back */
    double last_s; /* when there was one last */
} ClickSpots;

void click_spots_prepare(ClickSpots *spots, double rate_hz, unsigned channels);
/* n more frames of every channel; adds to m->clicks. */
void click_spots_hear(ClickSpots *spots, const float *const *in, size_t n, Measures *m);
/* After the take: those that stand out of no band by the threshold. */
void click_spots_drop_low(Measures *m);

#endif
