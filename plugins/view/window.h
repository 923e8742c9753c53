/* SPDX-License-Identifier: ISC */
/* window.h: a window of X11 that shows a picture from memory. XCB throughout: Xlib would end the
 * host when the server dies.
 *
 * Every view has a connection of its own, so several are strangers to each other, and none meets
 * the host's. Opening waits for the server. Later events are taken as they lie there, and of the
 * picture goes only as much as the server takes within 4 ms, the rest at the next call. A server
 * that is gone is an event. */
#ifndef SISKIN_VIEW_WINDOW_H
#define SISKIN_VIEW_WINDOW_H

#include "view/hands.h"

#include <cairo.h>
#include <stdint.h>
#include <xcb/xcb.h>

struct xkb_context;
struct xkb_keymap;
struct xkb_state;

typedef enum {
    WINDOW_NOTHING, /* no more events for now */
    WINDOW_PRESS,
    WINDOW_MOVE,
    WINDOW_RELEASE,
    WINDOW_LEAVE,
    WINDOW_WHEEL,
    WINDOW_KEY,
    WINDOW_KEYBOARD, /* got it, or lost it: `has` */
    WINDOW_SIZE,
    WINDOW_GONE, /* closed by the user, or the server is gone */
} WindowEventKind;

typedef struct {
    WindowEventKind kind;
    double x, y; /* px */
    double time_s;
    double steps; /* of the wheel */
    bool shift, has;
    HandsKey key;
    char text[8];
} WindowEvent;

enum { WINDOW_QUEUE = 32 };

typedef struct {
    xcb_connection_t *x;
    xcb_window_t id;
    xcb_gcontext_t gc;
    xcb_atom_t delete_window;
    bool mapped, gone;
    int width, height;
    int wanted_width, wanted_height; /* as the server last said */
    double scale;                    /* as the desktop asks for, 1 to 2 */
    cairo_surface_t *picture;
    Box queue[WINDOW_QUEUE]; /* px of the picture that the server has not got yet */
    size_t queued;
    unsigned char *strip;
    xcb_timestamp_t pressed_at; /* when the keyboard was taken last */
    int takes_left;             /* times that it may be taken back */
    struct xkb_context *xkb;
    struct xkb_keymap *keymap;
    struct xkb_state *keys;
} Window;

/* Connects, and reads the desktop's scale. false: there is no server, or none whose pixels are 8
 * bits of red, green, blue. */
bool window_connect(Window *window);
/* Makes the window inside `parent`, else (0) on its own and not shown yet. */
bool window_make(Window *window, uintptr_t parent, int width, int height, const char *title);
void window_close(Window *window);

void window_show(Window *window, bool show);
WindowEvent window_next(Window *window);
/* For a press at this time. A window manager and the host's toolkit hear of the same press, and one
 * that is slower gives the keyboard to the host's window after this: then it is taken back, a few
 * times at most. The server heeds nobody whose press is older than the last change, so it is never
 * taken from what was pressed since. */
void window_take_keyboard(Window *window, double time_s);
/* After WINDOW_SIZE: a picture of the new size, blank. false: no memory. */
bool window_resize(Window *window);
/* This part of the picture has changed. */
void window_changed(Window *window, Box px);
void window_send(Window *window);

/* Around whatever may write to the server: one that dies meanwhile would send the host a SIGPIPE.
 * Keeps what it must put back in `kept`. */
typedef struct {
    bool was_pending;
    uint64_t mask[16];
} WindowQuiet;
void window_quiet_begin(WindowQuiet *kept);
void window_quiet_end(const WindowQuiet *kept);

#endif
