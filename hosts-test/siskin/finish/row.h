/* SPDX-License-Identifier: ISC */
/* row.h: what became of a part, kept in OUT/steps/NAME/row so that runs which go on, and other
 * machines, know it too. */
#ifndef SISKIN_FINISH_ROW_H
#define SISKIN_FINISH_ROW_H

#include "host/error.h"

#include <stdbool.h>

typedef enum {
    ROW_RESULT, /* "finished" or "failed" */
    ROW_WHY,    /* it failed */
    ROW_COMP,   /* how many phrases of each take */
    ROW_STEPS,  /* processors that were advised */
    ROW_STAYS,  /* faults that they leave */
    ROW_HAND,   /* faults to mend by hand */
    ROW_EDITED, /* which of its files somebody has edited, and were obeyed */
    ROW_NOTE,
    ROW_TEXTS
} RowText;

typedef enum {
    ROW_LENGTH_S,
    ROW_RATE_HZ,
    ROW_CHANNELS,
    ROW_WAS_LUFS, /* of the take, or the join of takes */
    ROW_WAS_PEAK, /* dBTP */
    ROW_LUFS,     /* of the result */
    ROW_PEAK,
    ROW_SHORT_LU,    /* what its loudness lacks */
    ROW_DRIVE_DB,    /* of the limiter */
    ROW_APART_MS,    /* median of what the sounds of a double are apart from the lead's */
    ROW_TIGHT_MS,    /* and were brought to */
    ROW_COLOUR_DB,   /* of the worst of four bands, to the reference */
    ROW_COLOURED_DB, /* and was brought to */
    ROW_NUMBERS
} RowNumber;

extern const char *const row_text_names[ROW_TEXTS], *const row_number_names[ROW_NUMBERS];

typedef struct {
    char *text[ROW_TEXTS];      /* or NULL */
    double number[ROW_NUMBERS]; /* NAN: not known */
} Row;

Row row_new(void);
/* What is not there, or is no row, is a new one. */
Row row_read(const char *path);
bool row_write(const char *path, const Row *row, HostError *error);
void row_free(Row *row);

void row_set(Row *row, RowText which, const char *text); /* a copy; NULL is fine */
bool row_failed(const Row *row);

#endif
