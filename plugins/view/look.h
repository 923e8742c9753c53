/* SPDX-License-Identifier: ISC */
/* look.h: the colours and sizes of the view: paper and olive, as on the report page
 * (hosts-test/siskin/page/page.css).
 *
 * Every pair of colours in which text is written has a contrast of 4.5:1 at least, and what bounds
 * a control or shows the focus 3:1 (WCAG 2.1, success criteria 1.4.3 and 1.4.11);
 * tests/test_view_look.c computes them. */
#ifndef SISKIN_VIEW_LOOK_H
#define SISKIN_VIEW_LOOK_H

#include <stddef.h>

typedef enum {
    LOOK_PAPER,     /* the ground */
    LOOK_SHEET,     /* what lies on it: graphs, fields */
    LOOK_INK,       /* text */
    LOOK_SOFT,      /* text that may stand back; the bounds of controls */
    LOOK_GRID,      /* lines of a graph; carries no meaning alone */
    LOOK_ACCENT,    /* what is set, what is reduced, the focus */
    LOOK_ON_ACCENT, /* text on that */
    LOOK_FILL,      /* the area under a curve */
    LOOK_LINE,      /* a threshold */
    LOOK_COLOURS,
} LookColour;

/* 0xrrggbb, sRGB */
unsigned look_rgb(LookColour colour);

/* Two colours that meet, and the contrast that they must have. */
typedef struct {
    LookColour front, back;
    double least;
} LookPair;
extern const LookPair look_pairs[];
extern const size_t look_n_pairs;

/* Contrast of two colours 0xrrggbb, 1 to 21: (L1 + 0.05) / (L2 + 0.05), L the relative luminance
 * (WCAG 2.1, glossary). */
double look_contrast(unsigned one, unsigned other);

#define LOOK_TEXT_FONT "sans-serif"
#define LOOK_TITLE_FONT "serif"
static const double LOOK_TEXT = 13.0, LOOK_SMALL = 11.5, LOOK_TITLE = 20.0; /* px at scale 1 */

#endif
