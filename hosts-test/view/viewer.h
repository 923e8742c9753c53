/* SPDX-License-Identifier: ISC */
/* viewer.h: a host of views: opens one of a bundle as any host does, and keeps what it writes. */
#ifndef SISKIN_VIEW_VIEWER_H
#define SISKIN_VIEW_VIEWER_H

#include "view/xserver.h"

#include "host/host.h"

#include <lv2/ui/ui.h>

enum { VIEWER_PORTS = 64 };

typedef struct {
    const HostPlugin *plugin;
    void *library;
    const LV2UI_Descriptor *ui;
    const LV2UI_Idle_Interface *idle;
    const LV2UI_Show_Interface *show;
    LV2UI_Handle view;
    LV2UI_Touch touch; /* offered to the view, so kept as long as it is */
    size_t writes[VIEWER_PORTS], all_writes;
    float value[VIEWER_PORTS]; /* as the view wrote it last */
    xcb_window_t window;
    int held;          /* touches that have not ended */
    int width, height; /* as the view asked for */
} Viewer;

/* Finds the view's library as the bundle's Turtle names it, and loads it. */
void viewer_load(Viewer *viewer, const HostPlugin *plugin);
/* Opens a view within `parent` (0: on its own, and shown), at a scale (0: none asked for). false:
 * it does not open. */
bool viewer_open(Viewer *viewer, xcb_window_t parent, float scale);
void viewer_shut(Viewer *viewer);

/* Lets it work, as a host does 30 times a second, but without the wait. Stops at what idle returns
 * other than 0. */
int viewer_idle(Viewer *viewer, int times);
/* Until it has drawn all it has to; then this part of its window (x, y, width, height; NULL:
 * all). */
Picture viewer_settle(Viewer *viewer, const Hand *hand, const double box[4]);
bool picture_same(const Picture *a, const Picture *b);
/* Until this part looks like `as`, or does not. false: after two seconds it still does not, or
 * does. */
bool viewer_await_picture(Viewer *viewer, const Hand *hand, const double box[4], const Picture *as,
                          bool same);
/* Until it has written to a port `writes` times in all; fails the test after some seconds. */
void viewer_await(Viewer *viewer, uint32_t port, size_t writes, const char *after);

void viewer_send(Viewer *viewer, uint32_t port, float value);
/* Where the view has a port's control or graph, px: x, y, width, height. */
void viewer_place(const Viewer *viewer, uint32_t port, double box[4]);

#endif
