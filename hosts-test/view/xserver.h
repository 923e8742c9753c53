/* SPDX-License-Identifier: ISC */
/* xserver.h: an X server of the suite's own without a screen (Xvfb), and a hand that moves its
 * mouse and presses its keys (XTEST). */
#ifndef SISKIN_VIEW_XSERVER_H
#define SISKIN_VIEW_XSERVER_H

#include <stdbool.h>
#include <stdint.h>
#include <sys/types.h>
#include <xcb/xcb.h>

typedef struct {
    pid_t process; /* 0: none */
    char display[32];
} XServer;

/* Starts it and sets DISPLAY. Ends the test where it is missing. */
void xserver_start(XServer *server);
void xserver_stop(XServer *server);
bool xserver_installed(void);

typedef struct {
    xcb_connection_t *x;
    xcb_window_t root;
} Hand;

void hand_open(Hand *hand);
void hand_close(Hand *hand);
/* Until the server has done all that it was asked. */
void hand_wait(const Hand *hand);
void hand_move(const Hand *hand, xcb_window_t window, double x, double y);
void hand_button(const Hand *hand, int button, bool down);
void hand_click(const Hand *hand, xcb_window_t window, double x, double y);
/* One key, by its symbol (X11 protocol, appendix A: letters and digits as in Latin-1). */
void hand_key(const Hand *hand, uint32_t symbol);

enum {
    SYMBOL_TAB = 0xff09,
    SYMBOL_RETURN = 0xff0d,
    SYMBOL_ESCAPE = 0xff1b,
    SYMBOL_HOME = 0xff50,
    SYMBOL_LEFT = 0xff51,
    SYMBOL_UP = 0xff52,
    SYMBOL_RIGHT = 0xff53,
    SYMBOL_DOWN = 0xff54,
    SYMBOL_PAGE_UP = 0xff55,
    SYMBOL_PAGE_DOWN = 0xff56,
    SYMBOL_END = 0xff57,
    SYMBOL_DELETE = 0xffff
};

/* What a window shows. Free `rgb` when done: a 0xrrggbb for each px, row by row. */
typedef struct {
    int width, height;
    uint32_t *rgb;
} Picture;
/* box: x, y, width, height of the part wanted, NULL for all; it is cut to the window. */
Picture hand_picture(const Hand *hand, xcb_window_t window, const double box[4]);

#endif
