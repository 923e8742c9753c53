/* SPDX-License-Identifier: ISC */
/* click_gap.h: a click in a quiet place, from its first hop to the last in which it rings, and the
 * surroundings it is to be taken down to.
 *
 * An opening (level_morphology.h) knows only of what is shorter than its window, and of a longer
 * event just the tips. In a quiet place the whole of it can be read: it lasts until the level is
 * back at its surroundings and stays there for 8 ms. The higher a click is, the longer it is heard
 * to ring: at 45 dB over the room some 15 ms. A side of a band is the most that it reaches there in
 * 8 ms. Over the click the surroundings go in a straight line in dB from one side to the other, as
 * a vowel's tail falls or a room returns: what does not stand out of that is no click any more. The
 * height is measured over the larger side.
 *
 * High: 15 dB over that, in the mean over bands.
 *
 * Stands: what was heard in the 150 ms before it and what comes as far as is known (20 ms at least)
 * is hardly louder than its surroundings, or far under it; and it is high.
 *
 * Alone: it stands, nothing was louder before it, and the place after it is no louder than the
 * place before. A plosive follows its vowel after a closure, which hardly lasts 150 ms, or leads,
 * by its aspiration, into the next: however faint, that changes the mean level of the 20 to 40 ms
 * after it, which in a room is known to within some tenths of a dB.
 * No history of its own. Cost about 400 operations on rows an event. */
#ifndef SISKIN_DETECT_CLICK_GAP_H
#define SISKIN_DETECT_CLICK_GAP_H

#include "detect/click_features.h"

#include <stdbool.h>

/* dB but for the hops. */
typedef struct {
    size_t start, end;                 /* hops, `end` the first behind it */
    float side_db[2][BAND_LEVELS_ROW]; /* surroundings, before and after */
    float height_db;                   /* over them, mean over bands, where it is largest */
    float before_db, after_db;         /* loudest before and after, likewise over them */
    float change_db;                   /* mean level after it less that of 50 ms before it */
} ClickGap;

enum { CLICK_GAP_RUN_UP = 4 }; /* hops by which it may begin before the event */

/* Measures the event; it may end up to `longest` hops after its start. false: it does not come back
 * to its surroundings by then, or is less than 6 dB high, and `gap` is of no use. */
bool click_gap_measure(const ClickHistory *history, const ClickEvent *event, size_t longest,
                       ClickGap *gap);
bool click_gap_stands(const ClickGap *gap);
/* 1: it is alone; between 1 and 0 where the place after it may be louder by chance or not. */
float click_gap_alone(const ClickGap *gap);
/* The surroundings of each band in hop t, start <= t < end. */
void click_gap_around(const ClickGap *gap, size_t t, float around[BAND_LEVELS_ROW]);

#endif
