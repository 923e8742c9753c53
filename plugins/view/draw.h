/* SPDX-License-Identifier: ISC */
/* draw.h: paints a sheet with cairo, in px of the window. It knows no window: onto a picture in
 * memory. */
#ifndef SISKIN_VIEW_DRAW_H
#define SISKIN_VIEW_DRAW_H

#include "view/hands.h"

#include <cairo.h>

/* The items that meet the box, in px; the ground between them too. */
void draw_view(cairo_t *cr, const Hands *hands, Box px);

/* The box of an item in px of the window, with its focus ring. */
Box draw_box(const Sheet *sheet, size_t item);

#endif
