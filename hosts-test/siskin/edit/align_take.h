/* SPDX-License-Identifier: ISC */
/* align_take.h: a double and its lead, from their files to one that keeps time. */
#ifndef SISKIN_EDIT_ALIGN_TAKE_H
#define SISKIN_EDIT_ALIGN_TAKE_H

#include "siskin/edit/align.h"
#include "siskin/edit/splice.h"
#include "siskin/edit/whole.h"
#include "siskin/render/report.h"

typedef struct {
    Whole lead, take; /* at the rate of the take */
    Hearing of_lead, of_take;
    Alignment alignment;
    Splices splices; /* once written */
} AlignFiles;

/* Reads and hears both into zeroed `files`, and finds where each sound goes. tightness 0..1. Fails
 * as whole_read does, and where they have no phrase in common. */
bool align_files_find(AlignFiles *files, const char *take, const char *lead, double tightness,
                      Progress *progress, HostError *error);
void align_files_free(AlignFiles *files);

/* As long as the lead. */
bool align_files_write(AlignFiles *files, const char *out, const AudioFormat *format,
                       HostError *error);

/* How far the sounds of a phrase are from those of the lead: as they are, or as written. */
typedef struct {
    double middle_ms, most_ms;
} AlignApart;

AlignApart align_files_apart(const AlignFiles *files, const AlignPhrase *phrase, bool after);

#endif
