/* SPDX-License-Identifier: ISC */
/* work.h: a part under work, step by step. Each step begins with work->source, made by
 * work->recipe, and leaves there what it has made. */
#ifndef SISKIN_FINISH_WORK_H
#define SISKIN_FINISH_WORK_H

#include "siskin/finish/part.h"
#include "siskin/finish/row.h"

typedef struct {
    Host *host;
    const PartJob *job;
    const SessionPart *part;
    Row row;
    bool made; /* anything, this time */
    char *source;
    uint64_t recipe; /* a number for all that the source was made of */
    HostError *error;
} Work;

/* The takes joined, and brought into time with the part they follow. */
bool work_source(Work *work);
/* The chain; the same text, if it is there already. */
bool work_chain(Work *work);
/* The result, by the chain. */
bool work_result(Work *work);

/* Makes the folder of what is only made on the way, OUT/steps/NAME. */
bool work_begin(const Work *work);
/* A file in it. The caller frees it. */
char *work_step(const Work *work, const char *name);
/* "chains/NAME.chain", in OUT. The caller frees it. */
char *work_chain_name(const Work *work);

/* Recipes: a step, and what it is made of. A file counts by name, size and time (stamp.h). */
uint64_t recipe_begin(const char *step);
uint64_t recipe_add(uint64_t recipe, uint64_t other);
uint64_t recipe_number(uint64_t recipe, double number);
bool recipe_file(uint64_t *recipe, const char *path, HostError *error);

/* Writes the row. Done ahead of each file that it tells of, so that no kill makes a file
 * without. */
bool work_keep_row(const Work *work);
/* Adds to a text of the row. */
void work_note(Work *work, RowText which, const char *text);

#endif
