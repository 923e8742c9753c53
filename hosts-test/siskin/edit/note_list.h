/* SPDX-License-Identifier: ISC */
/* note_list.h: the notes of a take as they shall be, a line each, as text that a person edits.
 *
 *   FROM TO NOTE [DRIFT [VIBRATO [STRENGTH]]]
 *
 * From FROM to TO (seconds, or minutes and seconds) the voice is drawn to NOTE: F#4, Gb4, E4-12 (12
 * cents under), or a MIDI number. DRIFT is how far the note may wander from its start to its end,
 * in cents (0), VIBRATO what is left of the singer's own movement about it, in percent (100),
 * STRENGTH how much of the way it is drawn, in percent (100). What no line names stays as it was
 * sung.
 *
 * The list becomes three lanes (lane.h) of pitch-corrector's controls. Where two notes touch, one
 * goes over into the other within NOTE_LIST_JOINT_S; beside a rest the strength does. */
#ifndef SISKIN_EDIT_NOTE_LIST_H
#define SISKIN_EDIT_NOTE_LIST_H

#include "siskin/edit/lane.h"

#define NOTE_LIST_JOINT_S 0.06

typedef struct {
    double from_s, to_s;
    double midi;
    double drift_cents;
    double vibrato_percent, strength_percent;
} NoteLine;

typedef struct {
    char *path;
    NoteLine *lines;
    size_t n;
} NoteList;

enum { NOTE_LANE_TARGET, NOTE_LANE_STRENGTH, NOTE_LANE_VIBRATO, NOTE_LANES };
/* The controls they are for. */
extern const char *const note_lane_controls[NOTE_LANES];

/* Errors name file and line: times that do not grow, a note that is none, a value out of its range.
 * A list without a note is an error. */
bool note_list_load(NoteList *list, const char *path, HostError *error);
void note_list_free(NoteList *list); /* fine on a zeroed one */

/* lanes[NOTE_LANES], named "FILE CONTROL"; the caller frees each. */
void note_list_lanes(const NoteList *list, Lane lanes[NOTE_LANES]);

#endif
