/* SPDX-License-Identifier: ISC */
/* moves.h: the lanes of a chain: reading them, and finding the one that a control names. */
#ifndef SISKIN_CHAINS_MOVES_H
#define SISKIN_CHAINS_MOVES_H

#include "siskin/chains/chain.h"

/* "@NAME" as a value: notes the name. Anything else: leaves `move` alone. */
bool moves_name(const Chain *chain, ChainMove *move, const char *value, int line, HostError *error);

/* The statement that begins a lane, and one of its lines, which belongs to the lane begun last. */
bool moves_take_lane(Chain *chain, char **word, size_t count, int line, HostError *error);
bool moves_take_point(Chain *chain, char **word, size_t count, int line, HostError *error);

/* Finds the lane that each control names, in the chain or as a file, and makes lanes of a list of
 * notes (pitch-corrector notes=FILE, edit/note_list.h). Fails on one that is neither,
 * on a lane without points, and where a fader or pan would go too far. */
bool moves_resolve(Chain *chain, HostError *error);

#endif
