/* SPDX-License-Identifier: ISC */
/* shifts.h: what is moved in time, as text that a person edits. The lines are those of a lane
 * (lane.h), values in ms, later being positive:
 *
 *   FROM TO SHIFT_MS    a word or phrase that moves as it is
 *   TIME SHIFT_MS       a moment that moves; only after a line that says `line`
 *
 * Without `line` all that is not named stays where it was: what a move opens or closes is taken
 * from the nearest rest within 0.3 s (a gap, the closure of a plosive), and where there is none,
 * the sound beside the word is stretched over 0.25 s. With `line` what lies between two moments is
 * stretched, which is how siskin align writes what it did. */
#ifndef SISKIN_EDIT_SHIFTS_H
#define SISKIN_EDIT_SHIFTS_H

#include "siskin/edit/align.h"
#include "siskin/edit/lane.h"

#include <stdio.h>

/* Fails when a shift is over 10 s, lies behind the take's end, moves something over what stands
 * before it, or (without `line`) names a moment. The caller frees the map. */
bool shifts_map(TimeMap *map, const Lane *lane, const Hearing *take, HostError *error);

/* What an alignment does, with a comment for each phrase. */
void shifts_print(FILE *file, const Alignment *alignment, const Hearing *take);

#endif
