/* SPDX-License-Identifier: ISC */
/* sheet.h: where everything of a view is drawn: from the tables of a plugin to rectangles, and
 * nothing else.
 *
 *   title                          Enabled  Audition
 *   preset
 *   graphs of the meters, the last 10 s, reduction first
 *   groups of controls, in one column or two; advanced ones last
 *   what the control in hand does
 *
 * Lengths are px at scale 1. A window of another size is the same sheet magnified; what is left
 * over at one side goes to sliders and graphs. */
#ifndef SISKIN_VIEW_SHEET_H
#define SISKIN_VIEW_SHEET_H

#include "view/model.h"

typedef struct {
    double x, y, w, h;
} Box;

bool box_has(Box box, double x, double y);

typedef enum {
    ITEM_TITLE,
    ITEM_PRESET, /* before, name, after: parts[0..2] */
    ITEM_GRAPH,  /* a meter over time; parts: the graph, its figure */
    ITEM_LAMP,   /* the same of a meter that is on or off */
    ITEM_HEADING,
    ITEM_SLIDER, /* parts: label, track, figure */
    ITEM_SWITCH, /* parts: label, box, word */
    ITEM_CHOICE, /* two or three labels side by side; parts: label, the first of them, the last */
    ITEM_LIST,   /* more: parts: label, before and after as one, figure */
    ITEM_HELP,
} ItemKind;

typedef struct {
    ItemKind kind;
    size_t port;       /* MODEL_PORTS: none */
    const char *title; /* ITEM_HEADING */
    Box box, part[3];
} SheetItem;

enum { SHEET_ITEMS = 2 * MODEL_PORTS };

typedef struct {
    SheetItem item[SHEET_ITEMS];
    size_t n;
    double width, height; /* of the whole */
    double zoom;          /* px of the window to one of the sheet */
} Sheet;

/* The size at which nothing has to be magnified. */
void sheet_natural(const Model *model, double *width, double *height);

/* For a window of width x height px, each > 0. */
void sheet_make(Sheet *sheet, const Model *model, double width, double height);

/* The item at a place of the sheet; sheet->n: none. */
size_t sheet_at(const Sheet *sheet, double x, double y);

/* Whether it can have the focus: presets and controls. */
bool sheet_takes_focus(const SheetItem *item);

/* The box of label `i` of an ITEM_CHOICE with n of them. */
Box sheet_choice(const SheetItem *item, size_t i, size_t n);

#endif
