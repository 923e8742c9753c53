/* SPDX-License-Identifier: ISC */
/* table.h: what became of all parts of a session: a table for programs, and a page for people. */
#ifndef SISKIN_FINISH_TABLE_H
#define SISKIN_FINISH_TABLE_H

#include "siskin/finish/part.h"
#include "siskin/finish/row.h"

#define TABLE_NAME "table.csv"
#define TABLE_PAGE "page.html"

/* Writes OUT/table.csv and OUT/page.html; rows[session->n]. Fails, too, when somebody has changed
 * them. */
bool table_write(const PartJob *job, const Row *rows, HostError *error);

/* One line for people, to stdout; `as_it_was`: nothing was to be done. */
void table_print_row(const SessionPart *part, const Row *row, bool as_it_was);

#endif
