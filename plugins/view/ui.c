/* SPDX-License-Identifier: ISC */
/* ui.c: the view as LV2 knows it: ui:X11UI, with the idle and the show interface.
 *
 * It talks to the plugin through the host, by ports alone, so host and plugin may be in other
 * processes. Every feature is optional. All calls come from the host's one thread for windows;
 * port_event() only stores. */
#include "view/ui.h"

#include "view/draw.h"
#include "view/window.h"

#include <lv2/options/options.h>
#include <lv2/urid/urid.h>

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

/* A host that sends more events than this between two calls of idle gets the rest later. */
enum { MOST_EVENTS = 500 };

typedef struct {
    Model model;
    Sheet sheet;
    Hands hands;
    Window window;
    LV2UI_Write_Function write;
    LV2UI_Controller controller;
    const LV2UI_Touch *touch;
    bool size_changed;
    bool all_changed;
    bool changed[SHEET_ITEMS];
    struct {
        float value[MODEL_PORTS];
        size_t focus, told;
    } before; /* the event that is being taken */
} View;

/* ---- to the host ---- */

static void write_port(void *host, size_t port, float value) {
    const View *view = host;
    if (view->write)
        view->write(view->controller, (uint32_t)port, sizeof value, 0, &value);
}

static void touch_port(void *host, size_t port, bool held) {
    const View *view = host;
    if (view->touch && view->touch->touch)
        view->touch->touch(view->touch->handle, (uint32_t)port, held);
}

/* ---- from the host ---- */

static bool is_kind(const View *view, size_t item, ItemKind kind) {
    return view->sheet.item[item].kind == kind;
}

static const void *feature(const LV2_Feature *const *features, const char *uri) {
    for (; features && *features; features++)
        if (strcmp((*features)->URI, uri) == 0)
            return (*features)->data;
    return NULL;
}

/* The scale that the host's options ask for; 0: they do not. */
static double scale_option(const LV2_Feature *const *features) {
    const LV2_Options_Option *option = feature(features, LV2_OPTIONS__options);
    const LV2_URID_Map *map = feature(features, LV2_URID__map);
    if (!option || !map)
        return 0.0;
    LV2_URID wanted = map->map(map->handle, LV2_UI__scaleFactor);
    for (; option->key != 0 || option->value; option++) {
        float value;
        if (option->key != wanted || option->size != sizeof value || !option->value)
            continue;
        memcpy(&value, option->value, sizeof value);
        if (isfinite(value) && value > 0.0f)
            return fmin(fmax((double)value, 1.0), 2.0);
    }
    return 0.0;
}

static void port_event(LV2UI_Handle handle, uint32_t port, uint32_t size, uint32_t format,
                       const void *buffer) {
    View *view = handle;
    float value;
    if (format != 0 || size != sizeof value || !buffer)
        return;
    memcpy(&value, buffer, sizeof value);
    const Hands *hands = &view->hands;
    /* Hosts that send back what was written send it late: the control would jump under the hand. */
    if (hands->dragging && view->sheet.item[hands->focus].port == port)
        return;
    if (!model_event(&view->model, port, value))
        return;
    bool control = model_is_control(&view->model, port);
    for (size_t i = 0; i < view->sheet.n; i++) {
        bool follows = control && (is_kind(view, i, ITEM_PRESET) || is_kind(view, i, ITEM_GRAPH));
        view->changed[i] |= view->sheet.item[i].port == port || follows;
    }
}

/* ---- the picture ---- */

static void resize(View *view) {
    view->size_changed = false;
    if (!window_resize(&view->window))
        return;
    sheet_make(&view->sheet, &view->model, view->window.width, view->window.height);
    view->all_changed = true;
}

static void repaint(View *view, cairo_t *cr, Box px) {
    draw_view(cr, &view->hands, px);
    window_changed(&view->window, px);
}

static void paint(View *view) {
    cairo_t *cr = cairo_create(view->window.picture);
    if (view->all_changed)
        repaint(view, cr, (Box){0.0, 0.0, view->window.width, view->window.height});
    else
        for (size_t i = 0; i < view->sheet.n; i++)
            if (view->changed[i])
                repaint(view, cr, draw_box(&view->sheet, i));
    view->all_changed = false;
    memset(view->changed, 0, sizeof view->changed);
    cairo_destroy(cr);
}

static double now_s(void) {
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

static void tick(View *view) {
    if (!model_tick(&view->model, now_s()))
        return;
    for (size_t i = 0; i < view->sheet.n; i++)
        view->changed[i] |= is_kind(view, i, ITEM_GRAPH) || is_kind(view, i, ITEM_LAMP);
}

/* ---- the user ---- */

static bool take_event(View *view, const WindowEvent *event) {
    Hands *hands = &view->hands;
    double x = event->x / view->sheet.zoom, y = event->y / view->sheet.zoom;
    switch (event->kind) {
    case WINDOW_PRESS:
        window_take_keyboard(&view->window, event->time_s);
        return hands_press(hands, x, y, event->shift, event->time_s);
    case WINDOW_MOVE:
        return hands_move(hands, x, y);
    case WINDOW_RELEASE:
        return hands_release(hands);
    case WINDOW_LEAVE:
        return hands_leave(hands);
    case WINDOW_WHEEL:
        return hands_wheel(hands, x, y, event->steps, event->shift);
    case WINDOW_KEY:
        return hands_key(hands, event->key, event->text, event->shift);
    case WINDOW_KEYBOARD:
        return hands_keyboard(hands, event->has);
    case WINDOW_SIZE:
        view->size_changed = true;
        break;
    case WINDOW_NOTHING:
    case WINDOW_GONE:
        break;
    }
    return false;
}

/* What a hand has changed is seen by what was otherwise before: values, focus, what is told of. */
static void mark_before(View *view) {
    memcpy(view->before.value, view->model.value, sizeof view->before.value);
    view->before.focus = view->hands.focus;
    view->before.told = view->hands.told;
}

static void mark_after(View *view) {
    const Hands *hands = &view->hands;
    bool moved[MODEL_PORTS] = {false}, any = false;
    for (size_t i = 0; i < view->model.n_ports; i++) {
        moved[i] = view->before.value[i] != view->model.value[i];
        any |= moved[i];
    }
    view->changed[view->before.focus] = true;
    view->changed[hands->focus] = true;
    for (size_t i = 0; i < view->sheet.n; i++) {
        size_t port = view->sheet.item[i].port;
        bool own = port < MODEL_PORTS && moved[port];
        bool follows = any && (is_kind(view, i, ITEM_PRESET) || is_kind(view, i, ITEM_GRAPH));
        bool tells = is_kind(view, i, ITEM_HELP) && view->before.told != hands->told;
        view->changed[i] |= own || follows || tells;
    }
}

static int idle(LV2UI_Handle handle) {
    View *view = handle;
    WindowQuiet quiet;
    window_quiet_begin(&quiet);
    for (int i = 0; i < MOST_EVENTS; i++) {
        WindowEvent event = window_next(&view->window);
        if (event.kind == WINDOW_NOTHING || event.kind == WINDOW_GONE)
            break;
        mark_before(view);
        if (take_event(view, &event))
            mark_after(view);
    }
    if (view->size_changed)
        resize(view);
    tick(view);
    if (!view->window.gone && view->window.mapped) {
        paint(view);
        window_send(&view->window);
    }
    window_quiet_end(&quiet);
    return view->window.gone ? 1 : 0;
}

static int show_or_hide(View *view, bool show) {
    if (view->window.gone)
        return 1;
    WindowQuiet quiet;
    window_quiet_begin(&quiet);
    window_show(&view->window, show);
    view->all_changed = true;
    window_quiet_end(&quiet);
    return 0;
}

static int show(LV2UI_Handle handle) {
    return show_or_hide(handle, true);
}

static int hide(LV2UI_Handle handle) {
    return show_or_hide(handle, false);
}

/* ---- life ---- */

static void ask_for_size(const LV2_Feature *const *features, int width, int height) {
    const LV2UI_Resize *to = feature(features, LV2_UI__resize);
    if (to && to->ui_resize)
        to->ui_resize(to->handle, width, height);
}

static bool open_window(View *view, const LV2_Feature *const *features) {
    if (!window_connect(&view->window)) {
        view->window = (Window){.gone = true};
        return false;
    }
    double width, height, asked = scale_option(features);
    double scale = asked > 0.0 ? asked : view->window.scale;
    sheet_natural(&view->model, &width, &height);
    char title[64];
    snprintf(title, sizeof title, "Siskin %s", view->model.spec->name);
    uintptr_t parent = (uintptr_t)feature(features, LV2_UI__parent);
    if (!window_make(&view->window, parent, (int)ceil(scale * width), (int)ceil(scale * height),
                     title))
        return false;
    resize(view);
    ask_for_size(features, view->window.width, view->window.height);
    return true;
}

static unsigned channels_of(const char *plugin_uri) {
    const char *variant = plugin_uri ? strchr(plugin_uri, '#') : NULL;
    return variant && strcmp(variant, "#mono") == 0 ? 1 : 2;
}

static void cleanup(LV2UI_Handle handle) {
    View *view = handle;
    WindowQuiet quiet;
    window_quiet_begin(&quiet);
    window_close(&view->window);
    window_quiet_end(&quiet);
    free(view);
}

static LV2UI_Handle instantiate(const LV2UI_Descriptor *descriptor, const char *plugin_uri,
                                const char *bundle_path, LV2UI_Write_Function write,
                                LV2UI_Controller controller, LV2UI_Widget *widget,
                                const LV2_Feature *const *features) {
    (void)descriptor;
    (void)bundle_path;
    View *view = calloc(1, sizeof *view);
    if (!view)
        return NULL;
    view->write = write;
    view->controller = controller;
    view->touch = feature(features, LV2_UI__touch);
    model_start(&view->model, &plugin_spec, channels_of(plugin_uri), view_presets);
    WindowQuiet quiet;
    window_quiet_begin(&quiet);
    bool open = open_window(view, features);
    window_quiet_end(&quiet);
    if (!open) {
        cleanup(view);
        return NULL;
    }
    hands_start(&view->hands, &view->model, &view->sheet,
                (HandsHost){.host = view, .write = write_port, .touch = touch_port});
    if (widget)
        /* ui:X11UI wants the number of the window in place of an address. */
        *widget = (LV2UI_Widget)(uintptr_t)view->window.id; // NOLINT(performance-no-int-to-ptr)
    return view;
}

/* ---- what it offers ---- */

static bool place(LV2UI_Handle handle, uint32_t port, double box[4]) {
    const View *view = handle;
    for (size_t i = 0; i < view->sheet.n; i++) {
        const SheetItem *item = &view->sheet.item[i];
        if (item->port != port)
            continue;
        bool graph = item->kind == ITEM_GRAPH || item->kind == ITEM_LAMP;
        Box b = graph ? item->part[0] : item->part[1];
        const double all[4] = {b.x, b.y, b.w, b.h};
        for (int k = 0; k < 4; k++)
            box[k] = all[k] * view->sheet.zoom;
        return true;
    }
    return false;
}

static bool done(LV2UI_Handle handle, int width, int height) {
    const View *view = handle;
    const Window *window = &view->window;
    bool waits = view->all_changed || view->size_changed || window->queued > 0 || !window->mapped;
    for (size_t i = 0; i < view->sheet.n; i++)
        waits |= view->changed[i];
    return !waits && window->width == width && window->height == height;
}

static const void *extension_data(const char *uri) {
    static const LV2UI_Idle_Interface IDLE = {idle};
    static const LV2UI_Show_Interface SHOW = {show, hide};
    static const ViewLook LOOK = {place, done};
    if (strcmp(uri, LV2_UI__idleInterface) == 0)
        return &IDLE;
    if (strcmp(uri, LV2_UI__showInterface) == 0)
        return &SHOW;
    return strcmp(uri, VIEW_LOOK) == 0 ? &LOOK : NULL;
}

LV2_SYMBOL_EXPORT const LV2UI_Descriptor *lv2ui_descriptor(uint32_t index) {
    static const LV2UI_Descriptor DESCRIPTOR = {"urn:siskin:" SISKIN_ID "#view", instantiate,
                                                cleanup, port_event, extension_data};
    return index == 0 ? &DESCRIPTOR : NULL;
}
