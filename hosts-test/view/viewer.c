/* SPDX-License-Identifier: ISC */
#include "view/viewer.h"

#include "view/ui.h"

#include <check.h>
#include <dlfcn.h>
#include <lv2/options/options.h>
#include <lv2/urid/urid.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

/* The font library keeps what it has read of its settings, some 1.4 kB however many views are
 * opened, and has no one to free it as long as the process lives. Everything else counts. The leak
 * sanitizer looks for this name. */
__attribute__((visibility("default"))) const char *__lsan_default_suppressions(void);
const char *__lsan_default_suppressions(void) {
    return "leak:libfontconfig.so";
}

/* ---- what the host offers ---- */

static void write_port(LV2UI_Controller controller, uint32_t port, uint32_t size, uint32_t format,
                       const void *buffer) {
    Viewer *viewer = controller;
    float value;
    ck_assert_uint_lt(port, viewer->plugin->n_ports);
    ck_assert_uint_eq(size, sizeof value);
    ck_assert_uint_eq(format, 0);
    memcpy(&value, buffer, sizeof value);
    const HostPort *to = &viewer->plugin->ports[port];
    HostError error;
    ck_assert_int_eq(to->role, HOST_CONTROL);
    ck_assert_msg(host_check(viewer->plugin, to->symbol, (double)value, 48000.0, &error), "%s: %g",
                  to->symbol, (double)value);
    ck_assert_int_eq(viewer->held, 1);
    viewer->value[port] = value;
    viewer->writes[port]++;
    viewer->all_writes++;
}

static void touch(LV2UI_Feature_Handle handle, uint32_t port, bool held) {
    Viewer *viewer = handle;
    ck_assert_uint_lt(port, viewer->plugin->n_ports);
    viewer->held += held ? 1 : -1;
    ck_assert(viewer->held == 0 || viewer->held == 1);
}

static int take_size(LV2UI_Feature_Handle handle, int width, int height) {
    Viewer *viewer = handle;
    viewer->width = width;
    viewer->height = height;
    return 0;
}

static LV2_URID map(LV2_URID_Map_Handle handle, const char *uri) {
    (void)handle;
    return strcmp(uri, LV2_UI__scaleFactor) == 0 ? 7 : 1;
}

/* ---- life ---- */

void viewer_load(Viewer *viewer, const HostPlugin *plugin) {
    *viewer = (Viewer){.plugin = plugin};
    ck_assert_uint_le(plugin->n_ports, VIEWER_PORTS);
    LilvNode *x11 = lilv_new_uri(plugin->world, LV2_UI__X11UI);
    LilvUIs *uis = lilv_plugin_get_uis(plugin->lilv);
    ck_assert_msg(uis && lilv_uis_size(uis) == 1, "%s has not one view", plugin->uri);
    const LilvUI *ui = lilv_uis_get(uis, lilv_uis_begin(uis));
    ck_assert(lilv_ui_is_a(ui, x11));
    char *file = lilv_file_uri_parse(lilv_node_as_uri(lilv_ui_get_binary_uri(ui)), NULL);
    viewer->library = dlopen(file, RTLD_NOW | RTLD_LOCAL);
    ck_assert_msg(viewer->library, "%s", dlerror());
    LV2UI_DescriptorFunction descriptor;
    *(void **)&descriptor = dlsym(viewer->library, "lv2ui_descriptor");
    ck_assert_ptr_nonnull(*(void **)&descriptor);
    viewer->ui = descriptor(0);
    ck_assert_str_eq(viewer->ui->URI, lilv_node_as_uri(lilv_ui_get_uri(ui)));
    ck_assert_ptr_null(descriptor(1));
    viewer->idle = viewer->ui->extension_data(LV2_UI__idleInterface);
    viewer->show = viewer->ui->extension_data(LV2_UI__showInterface);
    ck_assert_ptr_nonnull(viewer->idle);
    ck_assert_ptr_nonnull(viewer->show);
    ck_assert_ptr_null(viewer->ui->extension_data("urn:unknown"));
    lilv_free(file);
    lilv_uis_free(uis);
    lilv_node_free(x11);
}

bool viewer_open(Viewer *viewer, xcb_window_t parent, float scale) {
    LV2_URID_Map urids = {NULL, map};
    viewer->touch = (LV2UI_Touch){viewer, touch};
    LV2UI_Resize sizes = {viewer, take_size};
    LV2_Options_Option options[] = {{LV2_OPTIONS_INSTANCE, 0, 3, sizeof scale, 1, &scale},
                                    {LV2_OPTIONS_INSTANCE, 0, 7, sizeof scale, 1, &scale},
                                    {LV2_OPTIONS_INSTANCE, 0, 0, 0, 0, NULL}};
    /* ui:parent has the number of a window in place of an address. */
    void *within = (void *)(uintptr_t)parent; // NOLINT(performance-no-int-to-ptr)
    const LV2_Feature all[] = {{LV2_URID__map, &urids},
                               {LV2_UI__touch, &viewer->touch},
                               {LV2_UI__resize, &sizes},
                               {LV2_UI__parent, within},
                               {LV2_OPTIONS__options, options}};
    const LV2_Feature *offered[6] = {&all[0], &all[1], &all[2]};
    size_t n = 3;
    if (parent)
        offered[n++] = &all[3];
    if (scale > 0.0f)
        offered[n++] = &all[4];
    LV2UI_Widget widget = NULL;
    viewer->view = viewer->ui->instantiate(viewer->ui, viewer->plugin->uri, "/nowhere", write_port,
                                           viewer, &widget, offered);
    viewer->window = (xcb_window_t)(uintptr_t)widget;
    if (viewer->view && !parent)
        ck_assert_int_eq(viewer->show->show(viewer->view), 0);
    for (size_t i = 0; i < viewer->plugin->n_ports; i++)
        viewer->value[i] = viewer->plugin->ports[i].initial;
    return viewer->view != NULL;
}

void viewer_shut(Viewer *viewer) {
    viewer->ui->cleanup(viewer->view);
    viewer->view = NULL;
}

/* ---- at work ---- */

int viewer_idle(Viewer *viewer, int times) {
    int result = 0;
    for (int i = 0; i < times && result == 0; i++)
        result = viewer->idle->idle(viewer->view);
    return result;
}

static void rest(void) {
    nanosleep(&(struct timespec){.tv_nsec = 1000000}, NULL);
}

static bool is_done(const Viewer *viewer, const Hand *hand) {
    const ViewLook *look = viewer->ui->extension_data(VIEW_LOOK);
    xcb_get_geometry_reply_t *size =
        xcb_get_geometry_reply(hand->x, xcb_get_geometry(hand->x, viewer->window), NULL);
    ck_assert_ptr_nonnull(size);
    bool done = look->done(viewer->view, size->width, size->height);
    free(size);
    return done;
}

Picture viewer_settle(Viewer *viewer, const Hand *hand, const double box[4]) {
    enum { PATIENCE = 10000 };
    bool done = false;
    for (int i = 0; i < PATIENCE && !done; i++) {
        viewer_idle(viewer, 1);
        done = is_done(viewer, hand);
        if (!done)
            rest();
    }
    ck_assert_msg(done, "%s: never done with drawing", viewer->plugin->uri);
    /* What the view has sent, the server does before what is asked of it later, but for one turn
     * through its clients. */
    for (int i = 0; i < 3; i++)
        hand_wait(hand);
    return hand_picture(hand, viewer->window, box);
}

bool picture_same(const Picture *a, const Picture *b) {
    return a->width == b->width && a->height == b->height &&
           memcmp(a->rgb, b->rgb, sizeof *a->rgb * (size_t)a->width * (size_t)a->height) == 0;
}

bool viewer_await_picture(Viewer *viewer, const Hand *hand, const double box[4], const Picture *as,
                          bool same) {
    enum { PATIENCE = 200 };
    for (int i = 0; i < PATIENCE; i++) {
        Picture now = viewer_settle(viewer, hand, box);
        bool there = picture_same(&now, as) == same;
        free(now.rgb);
        if (there)
            return true;
        usleep(10000);
    }
    return false;
}

void viewer_await(Viewer *viewer, uint32_t port, size_t writes, const char *after) {
    enum { PATIENCE = 4000 };
    for (int i = 0; i < PATIENCE && viewer->writes[port] < writes; i++) {
        viewer_idle(viewer, 1);
        if (viewer->writes[port] < writes)
            rest();
    }
    ck_assert_msg(viewer->writes[port] >= writes, "%s: %s is not written after %s",
                  viewer->plugin->uri, viewer->plugin->ports[port].symbol, after);
}

void viewer_send(Viewer *viewer, uint32_t port, float value) {
    viewer->ui->port_event(viewer->view, port, sizeof value, 0, &value);
}

void viewer_place(const Viewer *viewer, uint32_t port, double box[4]) {
    const ViewLook *look = viewer->ui->extension_data(VIEW_LOOK);
    ck_assert_ptr_nonnull(look);
    ck_assert_msg(look->place(viewer->view, port, box), "%s is not shown",
                  viewer->plugin->ports[port].symbol);
}
