/* SPDX-License-Identifier: ISC */
#include "view/window.h"

#include "view/keyboard.h"
#include "view/look.h"

#include <math.h>
#include <poll.h>
#include <pthread.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

/* A strip of the picture. A local socket that says it has room takes three quarters of its 208 KiB
 * without waiting. */
enum { STRIP_BYTES = 64 * 1024, PIXEL_BYTES = 4, MOST_PX = 8192 };
static const double USUAL_DPI = 96.0;

/* ---- SIGPIPE ---- */

_Static_assert(sizeof(sigset_t) <= sizeof((WindowQuiet *)0)->mask, "the signal mask must fit");

static bool pipe_pending(void) {
    sigset_t pending;
    sigpending(&pending);
    return sigismember(&pending, SIGPIPE) == 1;
}

void window_quiet_begin(WindowQuiet *kept) {
    sigset_t pipe_alone, before;
    sigemptyset(&pipe_alone);
    sigaddset(&pipe_alone, SIGPIPE);
    kept->was_pending = pipe_pending();
    pthread_sigmask(SIG_BLOCK, &pipe_alone, &before);
    memcpy(kept->mask, &before, sizeof before);
}

void window_quiet_end(const WindowQuiet *kept) {
    sigset_t pipe_alone, before;
    const struct timespec at_once = {0};
    sigemptyset(&pipe_alone);
    sigaddset(&pipe_alone, SIGPIPE);
    if (!kept->was_pending && pipe_pending())
        sigtimedwait(&pipe_alone, NULL, &at_once);
    memcpy(&before, kept->mask, sizeof before);
    pthread_sigmask(SIG_SETMASK, &before, NULL);
}

/* ---- opening ---- */

static const xcb_screen_t *first_screen(xcb_connection_t *x) {
    return xcb_setup_roots_iterator(xcb_get_setup(x)).data;
}

static const xcb_visualtype_t *root_visual(const xcb_screen_t *screen) {
    xcb_depth_iterator_t depth = xcb_screen_allowed_depths_iterator(screen);
    for (; depth.rem; xcb_depth_next(&depth)) {
        xcb_visualtype_iterator_t visual = xcb_depth_visuals_iterator(depth.data);
        for (; visual.rem; xcb_visualtype_next(&visual))
            if (visual.data->visual_id == screen->root_visual)
                return visual.data;
    }
    return NULL;
}

/* Whether the root window takes the pixels as cairo keeps them: 32 bits, 0xxxrrggbb, in this
 * machine's order. */
static bool pixels_fit(xcb_connection_t *x) {
    const xcb_setup_t *setup = xcb_get_setup(x);
    const xcb_screen_t *screen = first_screen(x);
    const uint16_t one = 1;
    const uint8_t order =
        *(const uint8_t *)&one ? XCB_IMAGE_ORDER_LSB_FIRST : XCB_IMAGE_ORDER_MSB_FIRST;
    const xcb_visualtype_t *visual = root_visual(screen);
    if (!visual || setup->image_byte_order != order || visual->red_mask != 0xff0000 ||
        visual->green_mask != 0xff00 || visual->blue_mask != 0xff)
        return false;
    xcb_format_iterator_t format = xcb_setup_pixmap_formats_iterator(setup);
    for (; format.rem; xcb_format_next(&format))
        if (format.data->depth == screen->root_depth)
            return format.data->bits_per_pixel == 8 * PIXEL_BYTES;
    return false;
}

/* Xft.dpi among the desktop's resources, "Xft.dpi:\t192". */
static double desktop_scale(xcb_connection_t *x) {
    xcb_get_property_cookie_t asked = xcb_get_property(
        x, 0, first_screen(x)->root, XCB_ATOM_RESOURCE_MANAGER, XCB_ATOM_STRING, 0, 16 * 1024);
    xcb_get_property_reply_t *reply = xcb_get_property_reply(x, asked, NULL);
    double scale = 1.0;
    if (reply) {
        char text[64 * 1024 + 1];
        size_t n = (size_t)xcb_get_property_value_length(reply);
        n = n < sizeof text ? n : sizeof text - 1;
        memcpy(text, xcb_get_property_value(reply), n);
        text[n] = '\0';
        const char *found = strstr(text, "Xft.dpi:");
        int dpi = found ? (int)strtol(found + strlen("Xft.dpi:"), NULL, 10) : 0;
        if (dpi > 0)
            scale = dpi / USUAL_DPI;
    }
    free(reply);
    return fmin(fmax(scale, 1.0), 2.0);
}

bool window_connect(Window *window) {
    *window = (Window){.scale = 1.0};
    window->x = xcb_connect(NULL, NULL);
    if (xcb_connection_has_error(window->x) || !first_screen(window->x) || !pixels_fit(window->x)) {
        xcb_disconnect(window->x);
        return false;
    }
    window->scale = desktop_scale(window->x);
    keyboard_open(window);
    return true;
}

static xcb_atom_t atom(xcb_connection_t *x, const char *name) {
    xcb_intern_atom_reply_t *reply =
        xcb_intern_atom_reply(x, xcb_intern_atom(x, 0, (uint16_t)strlen(name), name), NULL);
    xcb_atom_t found = reply ? reply->atom : XCB_ATOM_NONE;
    free(reply);
    return found;
}

static void set_text(Window *window, xcb_atom_t property, xcb_atom_t type, const char *text) {
    xcb_change_property(window->x, XCB_PROP_MODE_REPLACE, window->id, property, type, 8,
                        (uint32_t)strlen(text), text);
}

/* What a window manager wants to know of a window on its own. */
static void introduce(Window *window, const char *title) {
    xcb_atom_t protocols = atom(window->x, "WM_PROTOCOLS");
    window->delete_window = atom(window->x, "WM_DELETE_WINDOW");
    xcb_change_property(window->x, XCB_PROP_MODE_REPLACE, window->id, protocols, XCB_ATOM_ATOM, 32,
                        1, &window->delete_window);
    set_text(window, XCB_ATOM_WM_NAME, XCB_ATOM_STRING, title);
    set_text(window, atom(window->x, "_NET_WM_NAME"), atom(window->x, "UTF8_STRING"), title);
    set_text(window, XCB_ATOM_WM_CLASS, XCB_ATOM_STRING, "siskin");
    /* WM_SIZE_HINTS of ICCCM 4.1.2.3: half the size is the least at which it can be read. */
    enum { HINTS = 18, P_MIN_SIZE = 1 << 4 };
    const uint32_t hints[HINTS] = {
        P_MIN_SIZE, 0, 0, 0, 0, (uint32_t)window->width / 2, (uint32_t)window->height / 2};
    xcb_change_property(window->x, XCB_PROP_MODE_REPLACE, window->id, XCB_ATOM_WM_NORMAL_HINTS,
                        XCB_ATOM_WM_SIZE_HINTS, 32, HINTS, hints);
}

bool window_make(Window *window, uintptr_t parent, int width, int height, const char *title) {
    const xcb_screen_t *screen = first_screen(window->x);
    xcb_connection_t *x = window->x;
    window->wanted_width = width;
    window->wanted_height = height;
    window->strip = malloc(STRIP_BYTES);
    if (!window->strip || !window_resize(window))
        return false;
    window->id = xcb_generate_id(x);
    window->gc = xcb_generate_id(x);
    /* Pixels, border and colours are named, since the parent may have another kind of pixel than
     * the root window. */
    const uint32_t values[] = {look_rgb(LOOK_PAPER), 0,
                               XCB_EVENT_MASK_EXPOSURE | XCB_EVENT_MASK_STRUCTURE_NOTIFY |
                                   XCB_EVENT_MASK_BUTTON_PRESS | XCB_EVENT_MASK_BUTTON_RELEASE |
                                   XCB_EVENT_MASK_POINTER_MOTION | XCB_EVENT_MASK_LEAVE_WINDOW |
                                   XCB_EVENT_MASK_KEY_PRESS | XCB_EVENT_MASK_FOCUS_CHANGE,
                               screen->default_colormap};
    xcb_void_cookie_t made = xcb_create_window_checked(
        x, screen->root_depth, window->id, parent ? (xcb_window_t)parent : screen->root, 0, 0,
        (uint16_t)window->width, (uint16_t)window->height, 0, XCB_WINDOW_CLASS_INPUT_OUTPUT,
        screen->root_visual,
        XCB_CW_BACK_PIXEL | XCB_CW_BORDER_PIXEL | XCB_CW_EVENT_MASK | XCB_CW_COLORMAP, values);
    xcb_generic_error_t *error = xcb_request_check(x, made);
    free(error);
    if (error || xcb_connection_has_error(x))
        return false;
    xcb_create_gc(x, window->gc, window->id, 0, NULL);
    if (!parent)
        introduce(window, title);
    window_show(window, parent != 0);
    return true;
}

void window_close(Window *window) {
    keyboard_close(window);
    if (window->picture)
        cairo_surface_destroy(window->picture);
    free(window->strip);
    if (window->x)
        xcb_disconnect(window->x); /* which destroys the window, too */
    *window = (Window){.gone = true};
}

void window_show(Window *window, bool show) {
    if (window->gone)
        return;
    if (show)
        xcb_map_window(window->x, window->id);
    else
        xcb_unmap_window(window->x, window->id);
    xcb_flush(window->x);
}

/* ---- events ---- */

static void set_place(WindowEvent *event, int x, int y, unsigned state, uint32_t time_ms) {
    event->x = x;
    event->y = y;
    event->shift = (state & XCB_MOD_MASK_SHIFT) != 0;
    event->time_s = time_ms * 1e-3;
}

static void button(const xcb_button_press_event_t *from, WindowEvent *event, bool press) {
    enum { FIRST = 1, WHEEL_UP = 4, WHEEL_DOWN = 5 };
    set_place(event, from->event_x, from->event_y, from->state, from->time);
    if (from->detail == FIRST)
        event->kind = press ? WINDOW_PRESS : WINDOW_RELEASE;
    else if (press && (from->detail == WHEEL_UP || from->detail == WHEEL_DOWN)) {
        event->kind = WINDOW_WHEEL;
        event->steps = from->detail == WHEEL_UP ? 1.0 : -1.0;
    }
}

static void key(Window *window, const xcb_key_press_event_t *from, WindowEvent *event) {
    set_place(event, from->event_x, from->event_y, from->state, from->time);
    /* With these it is the host's, or the desktop's. */
    if (from->state & (XCB_MOD_MASK_CONTROL | XCB_MOD_MASK_1 | XCB_MOD_MASK_4))
        return;
    event->kind = WINDOW_KEY;
    event->key = keyboard_read(window, from->detail, from->state, event->text);
}

static void ask_keyboard(const Window *window) {
    xcb_set_input_focus(window->x, XCB_INPUT_FOCUS_PARENT, window->id, window->pressed_at);
}

static void lose_keyboard(Window *window, const xcb_focus_out_event_t *from) {
    bool lost = from->detail != XCB_NOTIFY_DETAIL_POINTER;
    if (!lost || window->takes_left == 0)
        return;
    window->takes_left--;
    ask_keyboard(window);
}

/* WINDOW_NOTHING: it was none of ours to tell. */
static WindowEvent translate(Window *window, const xcb_generic_event_t *from) {
    WindowEvent event = {.kind = WINDOW_NOTHING};
    switch (from->response_type & 0x7f) {
    case XCB_BUTTON_PRESS:
        button((const xcb_button_press_event_t *)from, &event, true);
        break;
    case XCB_BUTTON_RELEASE:
        button((const xcb_button_press_event_t *)from, &event, false);
        break;
    case XCB_MOTION_NOTIFY: {
        const xcb_motion_notify_event_t *motion = (const xcb_motion_notify_event_t *)from;
        event.kind = WINDOW_MOVE;
        set_place(&event, motion->event_x, motion->event_y, motion->state, motion->time);
        break;
    }
    case XCB_LEAVE_NOTIFY:
        event.kind = WINDOW_LEAVE;
        break;
    case XCB_KEY_PRESS:
        key(window, (const xcb_key_press_event_t *)from, &event);
        break;
    case XCB_FOCUS_IN:
    case XCB_FOCUS_OUT:
        event.kind = WINDOW_KEYBOARD;
        event.has = (from->response_type & 0x7f) == XCB_FOCUS_IN;
        if (!event.has)
            lose_keyboard(window, (const xcb_focus_out_event_t *)from);
        break;
    case XCB_CONFIGURE_NOTIFY: {
        const xcb_configure_notify_event_t *to = (const xcb_configure_notify_event_t *)from;
        window->wanted_width = to->width;
        window->wanted_height = to->height;
        if (to->width != window->width || to->height != window->height)
            event.kind = WINDOW_SIZE;
        break;
    }
    case XCB_EXPOSE: {
        const xcb_expose_event_t *e = (const xcb_expose_event_t *)from;
        window_changed(window, (Box){e->x, e->y, e->width, e->height});
        break;
    }
    case XCB_MAP_NOTIFY:
    case XCB_UNMAP_NOTIFY:
        window->mapped = (from->response_type & 0x7f) == XCB_MAP_NOTIFY;
        break;
    case XCB_DESTROY_NOTIFY:
        event.kind = WINDOW_GONE;
        break;
    case XCB_CLIENT_MESSAGE:
        if (((const xcb_client_message_event_t *)from)->data.data32[0] == window->delete_window &&
            window->delete_window != XCB_ATOM_NONE)
            event.kind = WINDOW_GONE;
        break;
    case XCB_MAPPING_NOTIFY:
        keyboard_close(window);
        keyboard_open(window);
        break;
    default:
        break; /* an error of a window that the host has taken away, too */
    }
    return event;
}

WindowEvent window_next(Window *window) {
    WindowEvent event = {.kind = WINDOW_NOTHING};
    while (!window->gone && event.kind == WINDOW_NOTHING) {
        xcb_generic_event_t *from = xcb_poll_for_event(window->x);
        if (!from)
            break;
        event = translate(window, from);
        free(from);
    }
    if (!window->gone && xcb_connection_has_error(window->x))
        event.kind = WINDOW_GONE;
    if (event.kind == WINDOW_GONE)
        window->gone = true;
    return event;
}

void window_take_keyboard(Window *window, double time_s) {
    enum { TAKES = 3 };
    window->pressed_at = (xcb_timestamp_t)lrint(time_s * 1e3);
    window->takes_left = window->pressed_at == XCB_CURRENT_TIME ? 0 : TAKES; /* of no time: now */
    ask_keyboard(window);
}

/* ---- the picture ---- */

bool window_resize(Window *window) {
    int width = window->wanted_width, height = window->wanted_height;
    width = width < 1 ? 1 : width > MOST_PX ? MOST_PX : width;
    height = height < 1 ? 1 : height > MOST_PX ? MOST_PX : height;
    cairo_surface_t *picture = cairo_image_surface_create(CAIRO_FORMAT_RGB24, width, height);
    if (cairo_surface_status(picture) != CAIRO_STATUS_SUCCESS) {
        cairo_surface_destroy(picture);
        return false;
    }
    if (window->picture)
        cairo_surface_destroy(window->picture);
    window->picture = picture;
    window->width = width;
    window->height = height;
    window->queued = 0;
    return true;
}

/* Whole px within the picture. */
static Box clip(const Window *window, Box px) {
    double x = fmax(floor(px.x), 0.0), y = fmax(floor(px.y), 0.0);
    double right = fmin(ceil(px.x + px.w), window->width),
           bottom = fmin(ceil(px.y + px.h), window->height);
    return (Box){x, y, right - x, bottom - y};
}

static bool holds(Box a, Box b) {
    return a.x <= b.x && a.y <= b.y && a.x + a.w >= b.x + b.w && a.y + a.h >= b.y + b.h;
}

void window_changed(Window *window, Box px) {
    px = clip(window, px);
    if (px.w <= 0.0 || px.h <= 0.0)
        return;
    for (size_t i = 1; i < window->queued; i++) /* not the one that is under way */
        if (holds(window->queue[i], px))
            return;
    if (window->queued == WINDOW_QUEUE) {
        window->queued = 1;
        px = (Box){0.0, 0.0, window->width, window->height};
        window->queue[0] = px;
        return;
    }
    window->queue[window->queued++] = px;
}

static bool has_room(xcb_connection_t *x, int wait_ms) {
    struct pollfd server = {.fd = xcb_get_file_descriptor(x), .events = POLLOUT};
    return poll(&server, 1, wait_ms) == 1 && (server.revents & POLLOUT) &&
           !(server.revents & (POLLERR | POLLHUP));
}

/* As many of the box's upper rows as make a strip; what is left of the box. */
static Box send_strip(Window *window, Box box) {
    int x = (int)box.x, y = (int)box.y, w = (int)box.w, h = (int)box.h;
    int rows = STRIP_BYTES / (PIXEL_BYTES * w);
    rows = rows < h ? rows : h;
    const unsigned char *from = cairo_image_surface_get_data(window->picture);
    int stride = cairo_image_surface_get_stride(window->picture);
    size_t row_bytes = (size_t)PIXEL_BYTES * (size_t)w;
    for (int i = 0; i < rows; i++)
        memcpy(window->strip + (size_t)i * row_bytes,
               from + (ptrdiff_t)(y + i) * stride + (ptrdiff_t)PIXEL_BYTES * x, row_bytes);
    xcb_put_image(window->x, XCB_IMAGE_FORMAT_Z_PIXMAP, window->id, window->gc, (uint16_t)w,
                  (uint16_t)rows, (int16_t)x, (int16_t)y, 0, first_screen(window->x)->root_depth,
                  (uint32_t)((size_t)rows * row_bytes), window->strip);
    return (Box){x, y + rows, w, h - rows};
}

void window_send(Window *window) {
    /* A server that is only busy takes the next strip within the millisecond; one that is stuck
     * must not hold up the host. */
    int wait_ms = 4;
    while (!window->gone && window->queued > 0) {
        bool ready = has_room(window->x, 0);
        if (!ready && wait_ms-- > 0)
            ready = has_room(window->x, 1);
        if (!ready)
            break;
        cairo_surface_flush(window->picture);
        Box left = send_strip(window, window->queue[0]);
        xcb_flush(window->x);
        window->queue[0] = left;
        if (left.h > 0.0)
            continue;
        window->queued--;
        memmove(window->queue, window->queue + 1, window->queued * sizeof *window->queue);
    }
    if (!window->gone && has_room(window->x, 0))
        xcb_flush(window->x);
}
