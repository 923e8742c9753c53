/* SPDX-License-Identifier: ISC */
/* comp_take.h: takes of one part, from their files to one: heard, chosen from, joined. */
#ifndef SISKIN_EDIT_COMP_TAKE_H
#define SISKIN_EDIT_COMP_TAKE_H

#include "siskin/edit/comp.h"
#include "siskin/edit/join.h"
#include "siskin/edit/whole.h"
#include "siskin/render/report.h"

#include <stdio.h>

typedef struct {
    const char *const *path; /* the caller's */
    size_t n;
    Whole whole[COMP_TAKES]; /* all at the rate of the first */
    Hearing hearing[COMP_TAKES];
    double *click_s[COMP_TAKES];
    size_t n_clicks[COMP_TAKES];
    Comp comp; /* once chosen */
    JoinPiece *pieces;
    size_t n_pieces;
} CompFiles;

/* Reads and hears 1..COMP_TAKES takes into zeroed `files`; `choose`: also finds what a choice asks
 * for. Fails as takes_measure and whole_read do. */
bool comp_files_read(CompFiles *files, const char *const *path, size_t n, bool choose,
                     Progress *progress, HostError *error);
void comp_files_free(CompFiles *files);

/* The pieces of the best phrases. Fails where no take sings. */
bool comp_files_choose(CompFiles *files, HostError *error);
/* The pieces that a list names instead (comp_read). */
bool comp_files_obey(CompFiles *files, const char *list, HostError *error);
/* What was chosen, and why, as comp_read reads it. */
void comp_files_print(FILE *file, const CompFiles *files);

/* Joins the pieces into a file as long as the longest take. */
bool comp_files_join(const CompFiles *files, const char *out, const AudioFormat *format,
                     HostError *error);
/* By how much the rooms of the takes in use are apart, dB; over JOIN_MOST_APART_DB some were left
 * as they are. */
double comp_files_rooms_db(const CompFiles *files);

#endif
