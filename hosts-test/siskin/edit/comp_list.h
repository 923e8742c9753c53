/* SPDX-License-Identifier: ISC */
/* comp_list.h: the choices of a comp as text that a person edits: lines of a lane (lane.h), FROM TO
 * TAKE, with the number of the take; the reasons are comments. */
#ifndef SISKIN_EDIT_COMP_LIST_H
#define SISKIN_EDIT_COMP_LIST_H

#include "siskin/edit/comp.h"
#include "siskin/edit/join.h"
#include "siskin/edit/lane.h"

#include <stdio.h>

void comp_print(FILE *file, const Comp *comp, const char *const *names, size_t n, double rate_hz);

/* The pieces of a list; the caller frees them. Fails on what is no number of a take, and on a line
 * that is no stretch. */
bool comp_read(const char *path, size_t n_takes, double rate_hz, JoinPiece **pieces, size_t *n,
               HostError *error);

#endif
