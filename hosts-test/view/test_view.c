/* SPDX-License-Identifier: ISC */
/* Every plugin's view as people and hosts use it, under an X server of the suite's own: each
 * control by mouse and by keys, values from the host, sizes, scales, nonsense, a server that stops
 * or dies.
 *
 * Where something is on the sheet is asked of the view (view/ui.h); what is there is looked for in
 * the picture. */
#include "view/viewer.h"

#include <check.h>
#include <dirent.h>
#include <math.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static XServer server;
static Host *host;
static char bundles[4096];

/* BUILD/lv2 when this is BUILD/hosts-test/test_view. */
static void find_bundles(const char *program) {
    const char *slash = strrchr(program, '/');
    snprintf(bundles, sizeof bundles, "%.*s/../lv2", slash ? (int)(slash - program) : 1,
             slash ? program : ".");
}

static const HostPlugin *find(const char *uri) {
    HostError error;
    const HostPlugin *plugin = host_find(host, uri, 2, &error);
    ck_assert_msg(plugin, "%s", error.text);
    return plugin;
}

/* Mono and stereo of every plugin, in the order of their names. */
static const char *uri_at(size_t i) {
    size_t n;
    const char *const *uris = host_own_uris(host, &n);
    ck_assert_uint_lt(i, n);
    return uris[i];
}

/* The stereo ones alone: both are drawn from one table. */
static const char *stereo_at(int i) {
    const char *uri = uri_at(2 * (size_t)i + 1);
    ck_assert_ptr_nonnull(strstr(uri, "#stereo"));
    return uri;
}

static size_t n_uris(void) {
    size_t n;
    host_own_uris(host, &n);
    return n;
}

static bool is_control(const HostPort *port) {
    return port->role == HOST_CONTROL;
}

/* The viewer keeps its own address as the host's handle, so it must not move once it is open. */
static void open_at(Viewer *viewer, const char *uri, float scale) {
    viewer_load(viewer, find(uri));
    ck_assert(viewer_open(viewer, 0, scale));
}

/* ---- hands ---- */

/* After a key, the value that the port has got. */
static float key_value(Viewer *viewer, const Hand *hand, const HostPort *port, uint32_t key,
                       const char *name) {
    size_t before = viewer->writes[port->index];
    hand_key(hand, key);
    viewer_await(viewer, port->index, before + 1, name);
    return viewer->value[port->index];
}

static void expect_keys(Viewer *viewer, const Hand *hand, const HostPort *port) {
    /* From the one end, so that every key has something to do. */
    viewer_send(viewer, port->index, port->maximum);
    ck_assert_float_eq(key_value(viewer, hand, port, SYMBOL_HOME, "Home"), port->minimum);
    ck_assert_float_eq(key_value(viewer, hand, port, SYMBOL_END, "End"), port->maximum);
    ck_assert_float_lt(key_value(viewer, hand, port, SYMBOL_DOWN, "Down"), port->maximum);
    ck_assert_float_gt(key_value(viewer, hand, port, SYMBOL_RIGHT, "Right"), port->minimum);
    viewer_send(viewer, port->index,
                port->initial == port->maximum ? port->minimum : port->maximum);
    ck_assert_float_eq(key_value(viewer, hand, port, SYMBOL_DELETE, "Delete"), port->initial);
    if (port->toggled || port->enumeration)
        return;
    viewer_send(viewer, port->index, port->minimum);
    float up = key_value(viewer, hand, port, SYMBOL_PAGE_UP, "Page Up");
    ck_assert_float_gt(up, port->minimum);
    /* A typed value: zero, or the end of the range nearer to it. */
    float zero = fminf(fmaxf(0.0f, port->minimum), port->maximum);
    viewer_send(viewer, port->index, zero == port->maximum ? port->minimum : port->maximum);
    size_t before = viewer->writes[port->index];
    hand_key(hand, '0');
    hand_key(hand, SYMBOL_RETURN);
    viewer_await(viewer, port->index, before + 1, "0, Enter");
    ck_assert_float_eq(viewer->value[port->index],
                       fminf(fmaxf(0.0f, port->minimum), port->maximum));
}

/* Until a drag or the wheel has made the value less, or more. */
static void await_move(Viewer *viewer, const HostPort *port, float from, bool less) {
    for (int i = 0; i < 3000; i++) {
        float value = viewer->value[port->index];
        if (less ? value < from : value > from)
            return;
        viewer_idle(viewer, 1);
        usleep(1000);
    }
    ck_abort_msg("%s: %s stays at %g", viewer->plugin->uri, port->symbol, (double)from);
}

static void expect_drag_and_wheel(Viewer *viewer, const Hand *hand, const HostPort *port,
                                  const double box[4]) {
    float pressed = viewer->value[port->index];
    hand_move(hand, viewer->window, box[0] + 0.1 * box[2], box[1]);
    await_move(viewer, port, pressed, true);
    hand_button(hand, 1, false);
    viewer_idle(viewer, 2);
    float dragged = viewer->value[port->index];
    hand_move(hand, viewer->window, box[0] + 0.5 * box[2], box[1] + 0.5 * box[3]);
    hand_button(hand, 4, true);
    hand_button(hand, 4, false);
    await_move(viewer, port, dragged, false);
}

/* A press elsewhere than where the value stands must change it. */
static void expect_press(Viewer *viewer, const Hand *hand, const HostPort *port) {
    double box[4];
    viewer_place(viewer, port->index, box);
    viewer_send(viewer, port->index, port->minimum);
    viewer->value[port->index] = port->minimum;
    hand_move(hand, viewer->window, box[0] + 0.8 * box[2], box[1] + 0.5 * box[3]);
    hand_button(hand, 1, true);
    await_move(viewer, port, port->minimum, false);
    if (!port->toggled && !port->enumeration)
        expect_drag_and_wheel(viewer, hand, port, box);
    hand_button(hand, 1, false);
    viewer_idle(viewer, 2);
}

START_TEST(every_control_answers_mouse_and_keys) {
    static Viewer viewer;
    Hand hand;
    hand_open(&hand);
    open_at(&viewer, stereo_at(_i), 0.0f);
    free(viewer_settle(&viewer, &hand, NULL).rgb);
    size_t controls = 0;
    for (size_t i = 0; i < viewer.plugin->n_ports; i++) {
        const HostPort *port = &viewer.plugin->ports[i];
        if (!is_control(port))
            continue;
        expect_press(&viewer, &hand, port);
        expect_keys(&viewer, &hand, port);
        controls++;
    }
    ck_assert_uint_ge(controls, 3);
    ck_assert_int_eq(viewer.held, 0);
    viewer_shut(&viewer);
    hand_close(&hand);
}
END_TEST

START_TEST(tab_reaches_every_control_and_comes_round) {
    static Viewer viewer;
    Hand hand;
    hand_open(&hand);
    open_at(&viewer, stereo_at(_i), 0.0f);
    free(viewer_settle(&viewer, &hand, NULL).rgb);
    hand_click(&hand, viewer.window, 20.0,
               20.0); /* the title: takes the keyboard, changes nothing */
    viewer_idle(&viewer, 5);
    size_t controls = 0;
    for (size_t i = 0; i < viewer.plugin->n_ports; i++)
        if (is_control(&viewer.plugin->ports[i])) {
            controls++;
            viewer_send(&viewer, (uint32_t)i, viewer.plugin->ports[i].maximum);
        }
    for (size_t i = 0; i < controls + 1;
         i++) { /* and the presets, of which the first has no Home to go to */
        hand_key(&hand, SYMBOL_HOME);
        hand_key(&hand, SYMBOL_TAB);
        viewer_idle(&viewer, 2);
    }
    for (size_t i = 0; i < viewer.plugin->n_ports; i++)
        if (is_control(&viewer.plugin->ports[i]))
            viewer_await(&viewer, (uint32_t)i, 1, "Home at each");
    viewer_shut(&viewer);
    hand_close(&hand);
}
END_TEST

/* ---- pictures ---- */

START_TEST(what_the_host_sets_is_seen_and_goes_again) {
    static Viewer viewer;
    Hand hand;
    hand_open(&hand);
    open_at(&viewer, stereo_at(_i), 0.0f);
    free(viewer_settle(&viewer, &hand, NULL).rgb);
    for (size_t i = 0; i < viewer.plugin->n_ports; i++) {
        const HostPort *port = &viewer.plugin->ports[i];
        if (!is_control(port))
            continue;
        double box[4];
        viewer_place(&viewer, (uint32_t)i, box);
        Picture before = viewer_settle(&viewer, &hand, box);
        viewer_send(&viewer, (uint32_t)i,
                    port->initial == port->maximum ? port->minimum : port->maximum);
        ck_assert_msg(viewer_await_picture(&viewer, &hand, box, &before, false),
                      "%s: %s looks the same", viewer.plugin->uri, port->symbol);
        viewer_send(&viewer, (uint32_t)i, port->initial);
        ck_assert_msg(viewer_await_picture(&viewer, &hand, box, &before, true),
                      "%s: %s does not come back", viewer.plugin->uri, port->symbol);
        free(before.rgb);
    }
    ck_assert_uint_eq(viewer.all_writes, 0); /* what comes from the host is not sent back */
    viewer_shut(&viewer);
    hand_close(&hand);
}
END_TEST

/* The knob's middle along its slider, 0 to 1: of what is not paper in a row above the groove.
 * Negative: there is none. */
static double knob_place(const Picture *slider) {
    enum { PAPER = 0xfbfaf5 };
    const double above =
        0.5 - 6.0 / 28.0; /* of a row of 28 px, in which groove and knob reach 3 and 9 px up */
    size_t row = (size_t)(above * slider->height) * (size_t)slider->width;
    int first = -1, last = -1;
    for (int x = 0; x < slider->width; x++) {
        if (slider->rgb[row + (size_t)x] == PAPER)
            continue;
        first = first < 0 ? x : first;
        last = x;
    }
    return first < 0 ? -1.0 : 0.5 * (first + last + 1) / slider->width;
}

static double wanted_place(const HostPort *port, float value) {
    double v = (double)value, low = (double)port->minimum, high = (double)port->maximum;
    return port->logarithmic ? log(v / low) / log(high / low) : (v - low) / (high - low);
}

static void resize(Viewer *viewer, const Hand *hand, double by) {
    const uint32_t size[] = {(uint32_t)lrint(by * viewer->width),
                             (uint32_t)lrint(by * viewer->height)};
    xcb_configure_window(hand->x, viewer->window,
                         XCB_CONFIG_WINDOW_WIDTH | XCB_CONFIG_WINDOW_HEIGHT, size);
    hand_wait(hand);
    Picture whole = viewer_settle(viewer, hand, NULL);
    ck_assert_int_eq(whole.width, (int)size[0]);
    ck_assert_int_eq(whole.height, (int)size[1]);
    free(whole.rgb);
}

/* The layout, as it is in the picture: each knob stands where its value is on the slider, within 2
 * px at any size. */
static void expect_knobs(Viewer *viewer, const Hand *hand, double by) {
    for (size_t i = 0; i < viewer->plugin->n_ports; i++) {
        const HostPort *port = &viewer->plugin->ports[i];
        if (!is_control(port) || port->toggled || port->enumeration)
            continue;
        double box[4];
        viewer_place(viewer, (uint32_t)i, box);
        ck_assert_msg(box[0] >= 0.0 && box[1] >= 0.0 &&
                          box[0] + box[2] <= by * viewer->width + 1.0 &&
                          box[1] + box[3] <= by * viewer->height + 1.0,
                      "%s is out of the window at %g", port->symbol, by);
        Picture slider = hand_picture(hand, viewer->window, box);
        double found = knob_place(&slider), wanted = wanted_place(port, port->initial);
        /* At the ends the knob stays within the groove: half its 8 px. */
        double most = (2.0 + 4.0 * by) / slider.width;
        ck_assert_msg(found >= 0.0 && fabs(found - wanted) <= most,
                      "%s: %s at %g: knob at %.3f, value at %.3f", viewer->plugin->uri,
                      port->symbol, by, found, wanted);
        free(slider.rgb);
    }
}

START_TEST(any_size_from_half_to_three_times_is_drawn) {
    static const double SIZES[] = {1.0, 0.5, 0.77, 1.5, 3.0, 1.0};
    static Viewer viewer;
    Hand hand;
    hand_open(&hand);
    open_at(&viewer, stereo_at(_i), 0.0f);
    for (size_t i = 0; i < sizeof SIZES / sizeof *SIZES; i++) {
        resize(&viewer, &hand, SIZES[i]);
        expect_knobs(&viewer, &hand, SIZES[i]);
    }
    viewer_shut(&viewer);
    hand_close(&hand);
}
END_TEST

typedef struct {
    double from, to;
} Span;

/* From where to where a graph is filled near its right end, as shares of its height; to is 0 when
 * it is not. */
static Span filled(Viewer *viewer, const Hand *hand, uint32_t port) {
    enum { FILL = 0xcdd0a3 };
    double box[4];
    viewer_place(viewer, port, box);
    Picture graph = hand_picture(hand, viewer->window, box);
    int highest = -1, lowest = 0;
    for (int y = 0; y < graph.height; y++)
        if (graph.rgb[(size_t)y * (size_t)graph.width + (size_t)(graph.width - 12)] == FILL) {
            highest = highest < 0 ? y : highest;
            lowest = y;
        }
    Span found = {(double)highest / graph.height, (double)lowest / graph.height};
    free(graph.rgb);
    return found;
}

/* After a meter of 3 dB, on a scale of 6 dB: half of the graph's height within 2 px, of 92, and
 * half the curve's line. */
static void expect_half(const char *uri, double from, double to) {
    static Viewer viewer;
    Hand hand;
    hand_open(&hand);
    open_at(&viewer, uri, 0.0f);
    free(viewer_settle(&viewer, &hand, NULL).rgb);
    const HostPort *reduction = host_port(viewer.plugin, "reduction");
    Span found = filled(&viewer, &hand, reduction->index);
    ck_assert_double_eq(found.to, 0.0);
    viewer_send(&viewer, reduction->index, 3.0f);
    for (int i = 0; i < 600 && (fabs(found.from - from) > 0.03 || fabs(found.to - to) > 0.03);
         i++) {
        viewer_idle(&viewer, 1);
        usleep(5000);
        hand_wait(&hand);
        found = filled(&viewer, &hand, reduction->index);
    }
    ck_assert_double_eq_tol(found.from, from, 0.035);
    ck_assert_double_eq_tol(found.to, to, 0.035);
    viewer_shut(&viewer);
    hand_close(&hand);
}

START_TEST(reduction_hangs_as_deep_as_it_is) {
    expect_half("urn:siskin:de-esser#stereo", 0.0, 0.5);
}
END_TEST

START_TEST(a_change_up_or_down_stands_as_high_as_it_is) {
    expect_half("urn:siskin:band-colour#stereo", 0.5, 1.0);
}
END_TEST

START_TEST(the_focus_is_seen) {
    enum { ACCENT = 0x56650a };
    static Viewer viewer;
    Hand hand;
    hand_open(&hand);
    open_at(&viewer, "urn:siskin:de-esser#stereo", 0.0f);
    double box[4];
    viewer_place(&viewer, host_port(viewer.plugin, "band_low")->index, box);
    /* The ring is around the whole row, under the slider, too: where nothing else has the accent's
     * colour. */
    const double edge[4] = {box[0], box[1] + box[3] - 2.0, box[2], 2.0};
    Picture before = viewer_settle(&viewer, &hand, edge);
    hand_click(&hand, viewer.window, box[0] + 0.5 * box[2], box[1] + 0.5 * box[3]);
    Picture after = {0};
    bool seen = false;
    for (int i = 0; i < 500 && !seen; i++) {
        viewer_idle(&viewer, 1);
        usleep(2000);
        hand_wait(&hand);
        free(after.rgb);
        after = hand_picture(&hand, viewer.window, edge);
        seen = true;
        for (int x = 0; x < after.width; x++)
            seen &= after.rgb[x] == ACCENT || after.rgb[after.width + x] == ACCENT;
    }
    ck_assert(seen);
    for (int x = 0; x < before.width; x++)
        ck_assert_uint_ne(before.rgb[x], ACCENT);
    free(before.rgb);
    free(after.rgb);
    viewer_shut(&viewer);
    hand_close(&hand);
}
END_TEST

/* ---- hosts of all kinds ---- */

static xcb_window_t focused(const Hand *hand) {
    xcb_get_input_focus_reply_t *reply =
        xcb_get_input_focus_reply(hand->x, xcb_get_input_focus(hand->x), NULL);
    ck_assert_ptr_nonnull(reply);
    xcb_window_t window = reply->focus;
    free(reply);
    return window;
}

static void await_focus(Viewer *viewer, const Hand *hand, xcb_window_t window) {
    for (int i = 0; i < 200 && focused(hand) != window; i++) {
        viewer_idle(viewer, 1);
        usleep(10000);
    }
    ck_assert_uint_eq(focused(hand), window);
}

/* A window at the side, as a host's toolkit has for its keyboard. */
static xcb_window_t window_aside(const Hand *hand) {
    xcb_window_t window = xcb_generate_id(hand->x);
    xcb_create_window(hand->x, XCB_COPY_FROM_PARENT, window, hand->root, 2000, 2000, 10, 10, 0,
                      XCB_WINDOW_CLASS_INPUT_OUTPUT, XCB_COPY_FROM_PARENT, 0, NULL);
    xcb_map_window(hand->x, window);
    hand_wait(hand);
    return window;
}

/* When a press on the view was, as a window manager sees it: it hears of it first and lets it go
 * on. */
static xcb_timestamp_t press_as_managed(const Hand *hand, xcb_window_t view) {
    xcb_grab_button(hand->x, 0, hand->root, XCB_EVENT_MASK_BUTTON_PRESS, XCB_GRAB_MODE_SYNC,
                    XCB_GRAB_MODE_ASYNC, XCB_NONE, XCB_NONE, 1, XCB_MOD_MASK_ANY);
    hand_click(hand, view, 4.0, 4.0);
    xcb_generic_event_t *event = xcb_wait_for_event(hand->x);
    while (event && (event->response_type & 0x7f) != XCB_BUTTON_PRESS) {
        free(event);
        event = xcb_wait_for_event(hand->x);
    }
    ck_assert_ptr_nonnull(event);
    xcb_timestamp_t time = ((xcb_button_press_event_t *)event)->time;
    free(event);
    xcb_ungrab_button(hand->x, 1, hand->root, XCB_MOD_MASK_ANY);
    xcb_allow_events(hand->x, XCB_ALLOW_REPLAY_POINTER, time);
    hand_wait(hand);
    return time;
}

/* The host gives the keyboard to a window of its own for the same press, but later than the view
 * took it: the view has it in the end. What was chosen since keeps it. */
START_TEST(a_press_gives_it_the_keyboard_whoever_comes_later) {
    Viewer viewer;
    Hand hand;
    open_at(&viewer, "urn:siskin:de-esser#mono", 0.0f);
    hand_open(&hand);
    viewer_idle(&viewer, 5);
    xcb_window_t aside = window_aside(&hand);
    xcb_timestamp_t pressed = press_as_managed(&hand, viewer.window);
    await_focus(&viewer, &hand, viewer.window);
    xcb_set_input_focus(hand.x, XCB_INPUT_FOCUS_PARENT, aside, pressed);
    hand_wait(&hand);
    await_focus(&viewer, &hand, viewer.window);
    usleep(20000); /* so that now is later than the press */
    xcb_set_input_focus(hand.x, XCB_INPUT_FOCUS_PARENT, aside, XCB_CURRENT_TIME);
    hand_wait(&hand);
    viewer_idle(&viewer, 20);
    await_focus(&viewer, &hand, aside);
    hand_close(&hand);
    viewer_shut(&viewer);
}
END_TEST

START_TEST(a_host_without_any_feature_gets_a_view) {
    Viewer viewer;
    viewer_load(&viewer, find("urn:siskin:gap-trimmer#mono"));
    LV2UI_Widget widget = NULL;
    viewer.view =
        viewer.ui->instantiate(viewer.ui, viewer.plugin->uri, NULL, NULL, NULL, &widget, NULL);
    ck_assert_ptr_nonnull(viewer.view);
    viewer.window = (xcb_window_t)(uintptr_t)widget;
    ck_assert_int_eq(viewer.show->show(viewer.view), 0);
    Hand hand;
    hand_open(&hand);
    free(viewer_settle(&viewer, &hand, NULL).rgb);
    double box[4];
    viewer_place(&viewer, host_port(viewer.plugin, "threshold")->index, box);
    hand_click(&hand, viewer.window, box[0] + 0.2 * box[2], box[1] + 0.5 * box[3]);
    ck_assert_int_eq(viewer_idle(&viewer, 20), 0);
    ck_assert_int_eq(viewer.show->hide(viewer.view), 0);
    ck_assert_int_eq(viewer_idle(&viewer, 5), 0);
    viewer_shut(&viewer);
    hand_close(&hand);
}
END_TEST

START_TEST(it_lies_within_the_host_s_window) {
    static Viewer viewer;
    Hand hand;
    hand_open(&hand);
    xcb_window_t parent = xcb_generate_id(hand.x);
    xcb_create_window(hand.x, XCB_COPY_FROM_PARENT, parent, hand.root, 30, 40, 900, 800, 0,
                      XCB_WINDOW_CLASS_INPUT_OUTPUT, XCB_COPY_FROM_PARENT, 0, NULL);
    xcb_map_window(hand.x, parent);
    hand_wait(&hand);
    viewer_load(&viewer, find("urn:siskin:de-esser#stereo"));
    ck_assert(viewer_open(&viewer, parent, 0.0f));
    xcb_query_tree_reply_t *tree =
        xcb_query_tree_reply(hand.x, xcb_query_tree(hand.x, viewer.window), NULL);
    ck_assert_ptr_nonnull(tree);
    ck_assert_uint_eq(tree->parent, parent);
    free(tree);
    Picture whole = viewer_settle(&viewer, &hand, NULL);
    ck_assert_int_eq(whole.width, viewer.width);
    ck_assert_int_eq(whole.height, viewer.height);
    free(whole.rgb);
    /* A host that takes its window away first has ended the view. */
    xcb_destroy_window(hand.x, parent);
    hand_wait(&hand);
    int result = 0;
    for (int i = 0; i < 1000 && result == 0; i++, usleep(1000))
        result = viewer_idle(&viewer, 1);
    ck_assert_int_ne(result, 0);
    viewer_shut(&viewer);
    hand_close(&hand);
}
END_TEST

START_TEST(it_is_as_large_as_the_host_s_scale) {
    static Viewer one, two, ten;
    open_at(&one, "urn:siskin:de-esser#stereo", 0.0f);
    open_at(&two, "urn:siskin:de-esser#stereo", 2.0f);
    open_at(&ten, "urn:siskin:de-esser#stereo", 10.0f); /* beyond what there is: 2 */
    ck_assert_double_eq(two.width, 2.0 * one.width);
    ck_assert_double_eq(two.height, 2.0 * one.height);
    ck_assert_int_eq(ten.width, two.width);
    viewer_shut(&one);
    viewer_shut(&two);
    viewer_shut(&ten);
}
END_TEST

START_TEST(views_open_at_once_are_strangers) {
    enum { MOST = 64 };
    static Viewer viewer[MOST];
    size_t n = n_uris();
    ck_assert_uint_le(n, MOST);
    for (size_t i = 0; i < n; i++)
        open_at(&viewer[i], uri_at(i), 0.0f);
    for (size_t i = 0; i < n; i++)
        for (int k = 0; k < 3; k++)
            ck_assert_int_eq(viewer_idle(&viewer[i], 1), 0);
    Hand hand;
    hand_open(&hand);
    Picture before = viewer_settle(&viewer[0], &hand, NULL);
    for (size_t i = 1; i < n; i++)
        viewer_send(&viewer[i], 3, 1e9f);
    viewer_shut(&viewer[1]);
    ck_assert(viewer_await_picture(&viewer[0], &hand, NULL, &before, true));
    free(before.rgb);
    for (size_t i = 0; i < n; i++)
        if (i != 1)
            viewer_shut(&viewer[i]);
    hand_close(&hand);
}
END_TEST

START_TEST(nonsense_from_the_host_does_no_harm) {
    static const float SENT[] = {NAN, INFINITY, -INFINITY, 1e30f, -1e30f, 1e-40f, -0.0f};
    static Viewer viewer;
    Hand hand;
    hand_open(&hand);
    open_at(&viewer, stereo_at(_i), 0.0f);
    for (uint32_t port = 0; port < 200; port++)
        for (size_t k = 0; k < sizeof SENT / sizeof *SENT; k++) {
            viewer_send(&viewer, port, SENT[k]);
            viewer.ui->port_event(viewer.view, port, 3, 0, &SENT[k]);
            viewer.ui->port_event(viewer.view, port, 4, 99, &SENT[k]);
            viewer.ui->port_event(viewer.view, port, 4, 0, NULL);
            if (port % 5 == 0)
                ck_assert_int_eq(viewer_idle(&viewer, 1), 0);
        }
    viewer_send(&viewer, UINT32_MAX, 1.0f);
    usleep(100000);
    ck_assert_int_eq(viewer_idle(&viewer, 5), 0);
    for (size_t i = 0; i < viewer.plugin->n_ports; i++)
        if (is_control(&viewer.plugin->ports[i]))
            viewer_send(&viewer, (uint32_t)i, viewer.plugin->ports[i].initial);
    free(viewer_settle(&viewer, &hand, NULL).rgb);
    ck_assert_uint_eq(viewer.all_writes, 0);
    expect_knobs(&viewer, &hand, 1.0);
    viewer_shut(&viewer);
    hand_close(&hand);
}
END_TEST

/* ---- servers that fail ---- */

START_TEST(a_host_outlives_its_x_server) {
    enum { MOST = 64 };
    XServer own = {0};
    static Viewer viewer[MOST]; /* of every plugin one, all open at once */
    int n = (int)n_uris() / 2;
    ck_assert_int_le(n, MOST);
    xserver_start(&own);
    signal(SIGPIPE, SIG_DFL); /* what a write to a closed socket brings, and what ends a process */
    for (int i = 0; i < n; i++) {
        open_at(&viewer[i], stereo_at(i), 0.0f);
        viewer_idle(&viewer[i], 5);
    }
    xserver_stop(&own);
    for (int i = 0; i < n; i++) {
        viewer_send(&viewer[i], 3, 5000.0f); /* its first control, far out of the range of most */
        if (i % 3 == 1) /* a write before the view has read that the server is gone */
            viewer[i].show->hide(viewer[i].view);
        int result = viewer_idle(&viewer[i], 10);
        ck_assert_int_ne(result, 0);
        ck_assert_int_ne(viewer[i].show->show(viewer[i].view), 0);
        viewer_shut(&viewer[i]);
    }
    /* Nor does one open where there is none. */
    viewer_load(&viewer[0], find("urn:siskin:de-esser#stereo"));
    ck_assert(!viewer_open(&viewer[0], 0, 0.0f));
}
END_TEST

START_TEST(a_server_that_is_stuck_does_not_hold_up_the_host) {
    XServer own = {0};
    static Viewer viewer;
    xserver_start(&own);
    open_at(&viewer, "urn:siskin:de-esser#stereo", 2.0f);
    viewer_idle(&viewer, 5);
    kill(own.process, SIGSTOP);
    for (int i = 0; i < 300; i++) { /* ten seconds of a host, hundreds of megabytes of picture */
        for (uint32_t port = 3; port < 12; port++)
            viewer_send(&viewer, port, (float)(i % 2) * 1e6f);
        ck_assert_int_eq(viewer_idle(&viewer, 1), 0);
    }
    kill(own.process, SIGCONT);
    Hand hand;
    hand_open(&hand);
    free(viewer_settle(&viewer, &hand, NULL).rgb);
    hand_close(&hand);
    viewer_shut(&viewer);
    xserver_stop(&own);
}
END_TEST

/* ---- over and over ---- */

static size_t open_files(void) {
    DIR *folder = opendir("/proc/self/fd");
    size_t n = 0;
    while (readdir(folder))
        n++;
    closedir(folder);
    return n;
}

START_TEST(opened_over_and_over_it_leaves_nothing) {
    const char *wanted = getenv("SISKIN_OPENS");
    long times = wanted ? strtol(wanted, NULL, 10) : 200;
    static Viewer viewer;
    size_t files = 0;
    for (long i = 0; i < times; i++) {
        open_at(&viewer, uri_at((size_t)i % n_uris()), 0.0f);
        viewer_idle(&viewer, 3);
        viewer_shut(&viewer);
        if (i == (long)n_uris())
            files = open_files(); /* every library is loaded by now */
    }
    ck_assert_uint_eq(open_files(), files);
}
END_TEST

/* ---- the suite ---- */

static void start(void) {
    HostError error;
    xserver_start(&server);
    host = host_open(bundles, &error);
    ck_assert_msg(host, "%s", error.text);
}

static void stop(void) {
    host_close(host);
    xserver_stop(&server);
}

int main(int argc, char **argv) {
    (void)argc;
    find_bundles(argv[0]);
    if (!xserver_installed()) {
        printf("views: not tried, Xvfb is not installed\n");
        return getenv("CI") ? EXIT_FAILURE : EXIT_SUCCESS;
    }
    HostError error;
    Host *counted = host_open(bundles, &error);
    size_t n = 0;
    if (counted)
        host_own_uris(counted, &n);
    host_close(counted);
    const int plugins = (int)n / 2;
    Suite *suite = suite_create("view");
    TCase *tcase = tcase_create("view");
    tcase_set_timeout(tcase, 60.0);
    tcase_add_unchecked_fixture(tcase, start, stop);
    tcase_add_loop_test(tcase, every_control_answers_mouse_and_keys, 0, plugins);
    tcase_add_loop_test(tcase, tab_reaches_every_control_and_comes_round, 0, plugins);
    tcase_add_loop_test(tcase, what_the_host_sets_is_seen_and_goes_again, 0, plugins);
    tcase_add_loop_test(tcase, any_size_from_half_to_three_times_is_drawn, 0, plugins);
    tcase_add_test(tcase, reduction_hangs_as_deep_as_it_is);
    tcase_add_test(tcase, a_change_up_or_down_stands_as_high_as_it_is);
    tcase_add_test(tcase, the_focus_is_seen);
    tcase_add_test(tcase, a_press_gives_it_the_keyboard_whoever_comes_later);
    tcase_add_test(tcase, a_host_without_any_feature_gets_a_view);
    tcase_add_test(tcase, it_lies_within_the_host_s_window);
    tcase_add_test(tcase, it_is_as_large_as_the_host_s_scale);
    tcase_add_test(tcase, views_open_at_once_are_strangers);
    tcase_add_loop_test(tcase, nonsense_from_the_host_does_no_harm, 0, plugins);
    tcase_add_test(tcase, a_host_outlives_its_x_server);
    tcase_add_test(tcase, a_server_that_is_stuck_does_not_hold_up_the_host);
    suite_add_tcase(suite, tcase);
    TCase *opens = tcase_create("opens");
    tcase_set_timeout(opens, 60.0);
    tcase_add_unchecked_fixture(opens, start, stop);
    tcase_add_test(opens, opened_over_and_over_it_leaves_nothing);
    suite_add_tcase(suite, opens);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed || n == 0 ? EXIT_FAILURE : EXIT_SUCCESS;
}
