/* SPDX-License-Identifier: ISC */
/* join.h: pieces of several takes as one, joined where both sides rest.
 *
 * A join crosses at equal power (cosine and sine of a quarter turn) over 15 ms in the middle of the
 * first rest of 60 ms and more that both takes share (comp_cut). A take's room is the median level
 * of what rests 50 ms and more; it is brought up to that of the loudest take in use by adding room
 * tone of that one: the powers of independent noises add. Rooms over 20 dB apart are left as they
 * are. */
#ifndef SISKIN_EDIT_JOIN_H
#define SISKIN_EDIT_JOIN_H

#include "host/error.h"
#include "siskin/edit/hearing.h"

typedef struct {
    const Hearing *hearing;
    const float *channel[2];
    size_t n; /* frames; silence follows */
} JoinTake;

typedef struct {
    size_t start, end; /* frames: what must come from this take */
    size_t take;
} JoinPiece;

#define JOIN_MOST_APART_DB 20.0

/* out[channels][n_out]; pieces in the order of their times, one at least. Fails, naming the time,
 * when two takes share no rest between two pieces. */
bool join_takes(const JoinTake *takes, size_t n_takes, const JoinPiece *pieces, size_t n_pieces,
                unsigned channels, float *const *out, size_t n_out, HostError *error);

/* Level of a take's room, dB; NAN: it never rests. */
double join_room_db(const Hearing *hearing);

#endif
