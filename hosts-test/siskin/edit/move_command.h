/* SPDX-License-Identifier: ISC */
/* move_command.h: what align and nudge have in common: a take, where its moments go, and a file. */
#ifndef SISKIN_EDIT_MOVE_COMMAND_H
#define SISKIN_EDIT_MOVE_COMMAND_H

#include "siskin/edit/splice.h"
#include "siskin/edit/whole.h"

/* Splices the take by the map, over n_out frames, and writes it. `splices` is filled, the caller
 * frees it, also on failure. */
bool move_write(const Whole *take, const Hearing *hearing, const TimeMap *map, size_t n_out,
                const char *out, const AudioFormat *format, Splices *splices, HostError *error);

/* Reads a file of moves (shifts.h) into the map of a take. */
bool move_read(TimeMap *map, const char *path, const Hearing *take, HostError *error);

#endif
