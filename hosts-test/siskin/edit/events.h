/* SPDX-License-Identifier: ISC */
/* events.h: which sounds of a take are to be left alone, as a person has edited the list that
 * `siskin measure --events` prints: comma-separated, a sound a line, with a line of column names.
 *
 *   take, kind, start_s, end_s    which sound it is; `take` matters when the list is of several
 *   do                            treat, or leave
 *
 * The columns may stand in any order, and others among them. "treat" leaves the matter to the
 * processor; "leave" turns the processors of that kind off around the sound, which comes out as it
 * came in. What does more than that (rumble-filter with thumps) stays on, and only its control for
 * them goes to 0. */
#ifndef SISKIN_EDIT_EVENTS_H
#define SISKIN_EDIT_EVENTS_H

#include "siskin/edit/lane.h"

#include <stdint.h>

typedef struct {
    char *take; /* as in the list; "": of any */
    char *kind; /* "breath", "sibilant", "click", "thump", or whatever else is written */
    double start_s, end_s;
    bool leave;
} EventLine;

typedef struct {
    char *path;
    EventLine *lines;
    size_t n;
} Events;

/* Errors name file and line. A file without any sound is fine. */
bool events_load(Events *events, const char *path, HostError *error);
void events_free(Events *events); /* fine on a zeroed one */

/* The control that turns a processor off for the sounds it treats: `enabled`, or, of one that does
 * more than that, one whose 0 is none. `processor` is the short name of one of ours; of one that
 * treats none, or NULL: NULL. */
const char *events_control(const char *processor);

/* When a processor works at this take: a lane of 1 (it does) and 0, with no points when it never
 * has to stop. `processor` as above. It stops long enough before a sound that its
 * gain is at rest there, at most halfway to the nearest sound that it is to treat. The caller frees
 * the lane. */
Lane events_lane(const Events *events, const char *take, const char *processor);

/* What the list says of this take, into `hash`. */
uint64_t events_hash(uint64_t hash, const Events *events, const char *take);

/* What will not happen, to be told: nothing in the list is of this take, or sounds are to be left
 * that none of the processors treats. Adds lines to text[size]. */
void events_note(const Events *events, const char *take, const char *const *processors,
                 size_t count, char *text, size_t size);

#endif
