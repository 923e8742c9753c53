/* SPDX-License-Identifier: ISC */
/* paint.h: what every item of a view is made of: boxes, lines, words. On top of cairo; px of the
 * sheet. */
#ifndef SISKIN_VIEW_PAINT_H
#define SISKIN_VIEW_PAINT_H

#include "view/look.h"
#include "view/sheet.h"

#include <cairo.h>

typedef enum { PAINT_LEFT, PAINT_CENTRE, PAINT_RIGHT } PaintSide;

void paint_colour(cairo_t *cr, LookColour colour);
void paint_box(cairo_t *cr, Box box, LookColour colour);
void paint_frame(cairo_t *cr, Box box, LookColour colour, double width); /* inside the box */
void paint_dashes(cairo_t *cr, double x, double to_x, double y);
void paint_knob(cairo_t *cr, double x, double y);
void paint_tick(cairo_t *cr, Box box);

/* Words in the middle of a box's height; what does not fit its width ends in three points. */
void paint_text(cairo_t *cr, Box box, const char *text, LookColour colour, PaintSide side);
void paint_small(cairo_t *cr, Box box, const char *text, LookColour colour, PaintSide side);
/* Small words on a plate of the sheet's colour, for where something may lie under them. */
void paint_plate(cairo_t *cr, Box box, const char *text, LookColour colour, PaintSide side);
void paint_strong(cairo_t *cr, Box box, const char *text);
double paint_title(cairo_t *cr, Box box, const char *text); /* its width */
double paint_width(cairo_t *cr, const char *text);          /* as paint_text() writes it */
void paint_underline(cairo_t *cr, Box box,
                     const char *text); /* under words in the middle of a box */

/* Words in as many lines as the box is high for. */
void paint_lines(cairo_t *cr, Box box, const char *text, LookColour colour);

#endif
