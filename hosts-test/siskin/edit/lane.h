/* SPDX-License-Identifier: ISC */
/* lane.h: a value that moves along a take, written as text that a person edits.
 *
 *   TIME VALUE        a point
 *   FROM TO VALUE     a stretch that holds VALUE: a phrase, a breath, a word
 *   hold | line       what lies between: the value before (hold, the default), or a straight line
 *
 * Times count from the start of the take: seconds (83.25) or minutes and seconds (1:23.25). They
 * must grow; a stretch may begin where the one before it ends. Before the first point the first
 * value holds, after the last one the last. `#` begins a comment. Values are in the unit of what
 * they steer; a line between two of them is straight in that unit (in dB for a fader). */
#ifndef SISKIN_EDIT_LANE_H
#define SISKIN_EDIT_LANE_H

#include "host/host.h"

typedef struct {
    double at_s, value;
} LanePoint;

typedef struct {
    char *name;
    bool line; /* else hold */
    LanePoint *points;
    size_t n;
    int line_number; /* where it was begun in a chain; 0: in a file of its own */
} Lane;

/* Takes one line of a lane, cut into words; `error` says what is wrong with it, without the place.
 */
bool lane_take_words(Lane *lane, char *const *word, size_t count, HostError *error);
/* Whether these words could be a line of a lane: it begins with a number, or is hold or line. */
bool lane_is_line(const char *first_word);

/* Reads a file of such lines. Errors name file and line. */
bool lane_load(Lane *lane, const char *path, HostError *error);
void lane_free(Lane *lane);

/* The value at a time; the lane has a point at least. A step belongs to what follows it: at its
 * very time the new value is there. */
double lane_value(const Lane *lane, double at_s);

/* Least and greatest value. */
void lane_range(const Lane *lane, double *least, double *greatest);

/* Seconds, or minutes and seconds, >= 0. */
bool lane_time(const char *word, double *seconds);

/* ---- frame by frame ---- */

/* Where a lane is being read, for times that mostly grow. */
typedef struct {
    const Lane *lane;
    double rate_hz;
    size_t next; /* the first point after the frame asked for last */
} LaneCursor;

void lane_begin(LaneCursor *cursor, const Lane *lane, double rate_hz);
/* The value at a frame; frames may be negative. A point lies on the frame nearest to its time. */
double lane_at(LaneCursor *cursor, int64_t frame);
/* A piece of the lane: from `frame` on, for as many frames as are returned, it goes straight from
 * *from (at `frame`) to *to (at the first frame after the piece, less any step there). Pieces that
 * move are `most_moving` frames long at most; one that stands lasts until the next point, or
 * INT64_MAX when it never changes again. */
int64_t lane_piece(LaneCursor *cursor, int64_t frame, int64_t most_moving, double *from,
                   double *to);

#endif
