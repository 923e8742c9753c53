/* SPDX-License-Identifier: ISC */
/* hands.h: what mouse and keys do to a view. It knows places on the sheet and names of keys, but no
 * window.
 *
 *   mouse press and drag a slider, with Shift in small steps from where it stands; press a figure
 *   to type; press
 *           a switch or a label; double press: the default; wheel: a step, with Shift a tenth
 *   keys Tab, Shift-Tab: the next, the one before, as they stand; arrows: a step, with Shift a
 *   tenth;
 *           Page Up, Page Down: ten; Home, End: the ends; Delete, Backspace: the default; Enter or a digit: type a value,
 *           Enter takes it, Escape leaves it; Space: switch, or the next of a list */
#ifndef SISKIN_VIEW_HANDS_H
#define SISKIN_VIEW_HANDS_H

#include "view/number.h"
#include "view/sheet.h"

typedef enum {
    KEY_OTHER, /* text alone counts */
    KEY_TAB,
    KEY_BACK_TAB,
    KEY_LESS, /* left, down */
    KEY_MORE, /* right, up */
    KEY_PAGE_LESS,
    KEY_PAGE_MORE,
    KEY_HOME,
    KEY_END,
    KEY_ENTER,
    KEY_ESCAPE,
    KEY_DELETE,
    KEY_BACKSPACE,
} HandsKey;

typedef struct {
    void *host;
    void (*write)(void *host, size_t port, float value);
    void (*touch)(void *host, size_t port, bool held); /* a hand is on the control */
} HandsHost;

enum { HANDS_TEXT = 16 };

typedef struct {
    Model *model;
    Sheet *sheet;
    HandsHost to;

    bool has_keyboard; /* the window's */
    size_t focus;      /* item; always one that takes the focus */
    size_t hover;      /* item under the pointer; sheet->n: none */
    size_t told;       /* item that the help is about */
    bool dragging;
    bool fine; /* the drag moves from where it began */
    double drag_x, drag_place;
    size_t pressed; /* item last pressed, and when: for double presses */
    double pressed_s;
    bool typing;
    bool chosen; /* the whole text is: the next character replaces it */
    char text[HANDS_TEXT];
} Hands;

void hands_start(Hands *hands, Model *model, Sheet *sheet, HandsHost to);

/* All return true when the picture changes. x, y: on the sheet; now_s: a clock. */
bool hands_press(Hands *hands, double x, double y, bool shift, double now_s);
bool hands_move(Hands *hands, double x, double y);
bool hands_release(Hands *hands);
bool hands_leave(Hands *hands);
bool hands_wheel(Hands *hands, double x, double y, double steps, bool shift);
/* text: what the key types, UTF-8, "" if nothing. */
bool hands_key(Hands *hands, HandsKey key, const char *text, bool shift);
bool hands_keyboard(Hands *hands, bool has);

#endif
