/* SPDX-License-Identifier: ISC */
#include "view/xserver.h"

#include <check.h>
#include <fcntl.h>
#include <math.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/prctl.h>
#include <sys/wait.h>
#include <unistd.h>
#include <xcb/xtest.h>

static _Noreturn void be_server(int display_to) {
    char number[16];
    int null = open("/dev/null", O_RDWR);
    dup2(null, STDOUT_FILENO);
    dup2(null, STDERR_FILENO);
    prctl(PR_SET_PDEATHSIG, SIGKILL); /* a suite that dies leaves none behind */
    snprintf(number, sizeof number, "%d", display_to);
    execlp("Xvfb", "Xvfb", "-displayfd", number, "-screen", "0", "2600x2400x24", "-nolisten", "tcp",
           "-noreset", (char *)NULL);
    _exit(127);
}

bool xserver_installed(void) {
    const char *path = getenv("PATH");
    char *all = strdup(path ? path : ""), *rest = all;
    bool found = false;
    for (char *folder = strsep(&rest, ":"); folder && !found; folder = strsep(&rest, ":")) {
        char file[4096];
        snprintf(file, sizeof file, "%s/Xvfb", folder);
        found = access(file, X_OK) == 0;
    }
    free(all);
    return found;
}

void xserver_start(XServer *server) {
    int ends[2];
    ck_assert_int_eq(pipe(ends), 0);
    server->process = fork();
    if (server->process == 0) {
        close(ends[0]);
        be_server(ends[1]);
    }
    close(ends[1]);
    char number[16] = "";
    size_t n = 0;
    /* Until the end of the line: a server that cannot write it gives up. */
    while (n + 1 < sizeof number && !strchr(number, '\n') && read(ends[0], number + n, 1) == 1)
        n++;
    close(ends[0]);
    ck_assert_msg(n > 0, "Xvfb does not start");
    number[strcspn(number, "\n")] = '\0';
    snprintf(server->display, sizeof server->display, ":%s", number);
    setenv("DISPLAY", server->display, 1);
}

void xserver_stop(XServer *server) {
    if (server->process > 0) {
        kill(server->process, SIGKILL);
        waitpid(server->process, NULL, 0);
    }
    server->process = 0;
}

/* ---- the hand ---- */

void hand_open(Hand *hand) {
    hand->x = xcb_connect(NULL, NULL);
    ck_assert_int_eq(xcb_connection_has_error(hand->x), 0);
    hand->root = xcb_setup_roots_iterator(xcb_get_setup(hand->x)).data->root;
}

void hand_close(Hand *hand) {
    xcb_disconnect(hand->x);
}

void hand_wait(const Hand *hand) {
    free(xcb_get_input_focus_reply(hand->x, xcb_get_input_focus(hand->x), NULL));
}

void hand_move(const Hand *hand, xcb_window_t window, double x, double y) {
    xcb_translate_coordinates_reply_t *at = xcb_translate_coordinates_reply(
        hand->x,
        xcb_translate_coordinates(hand->x, window, hand->root, (int16_t)lrint(floor(x)),
                                  (int16_t)lrint(floor(y))),
        NULL);
    ck_assert_ptr_nonnull(at);
    xcb_test_fake_input(hand->x, XCB_MOTION_NOTIFY, 0, 0, hand->root, at->dst_x, at->dst_y, 0);
    free(at);
    hand_wait(hand);
}

void hand_button(const Hand *hand, int button, bool down) {
    xcb_test_fake_input(hand->x, down ? XCB_BUTTON_PRESS : XCB_BUTTON_RELEASE, (uint8_t)button, 0,
                        hand->root, 0, 0, 0);
    hand_wait(hand);
}

void hand_click(const Hand *hand, xcb_window_t window, double x, double y) {
    hand_move(hand, window, x, y);
    hand_button(hand, 1, true);
    hand_button(hand, 1, false);
}

void hand_key(const Hand *hand, uint32_t symbol) {
    const xcb_setup_t *setup = xcb_get_setup(hand->x);
    uint8_t first = setup->min_keycode, count = (uint8_t)(setup->max_keycode - first + 1), code = 0;
    xcb_get_keyboard_mapping_reply_t *map = xcb_get_keyboard_mapping_reply(
        hand->x, xcb_get_keyboard_mapping(hand->x, first, count), NULL);
    ck_assert_ptr_nonnull(map);
    const xcb_keysym_t *symbols = xcb_get_keyboard_mapping_keysyms(map);
    for (int i = 0; i < count && code == 0; i++)
        if (symbols[(size_t)i * map->keysyms_per_keycode] == symbol)
            code = (uint8_t)(first + i);
    free(map);
    ck_assert_msg(code != 0, "no key types 0x%x", symbol);
    xcb_test_fake_input(hand->x, XCB_KEY_PRESS, code, 0, hand->root, 0, 0, 0);
    xcb_test_fake_input(hand->x, XCB_KEY_RELEASE, code, 0, hand->root, 0, 0, 0);
    hand_wait(hand);
}

/* Of a part of a window. NULL: none can be had now, as while a host's toolkit moves the window
 * about and some of it lies outside of what it is in. */
static xcb_get_image_reply_t *try_image(const Hand *hand, xcb_window_t window, int x, int y,
                                        const Picture *size) {
    return xcb_get_image_reply(hand->x,
                               xcb_get_image(hand->x, XCB_IMAGE_FORMAT_Z_PIXMAP, window, (int16_t)x,
                                             (int16_t)y, (uint16_t)size->width,
                                             (uint16_t)size->height, 0xffffff),
                               NULL);
}

Picture hand_picture(const Hand *hand, xcb_window_t window, const double box[4]) {
    xcb_get_geometry_reply_t *size =
        xcb_get_geometry_reply(hand->x, xcb_get_geometry(hand->x, window), NULL);
    ck_assert_ptr_nonnull(size);
    int x = 0, y = 0, right = size->width, bottom = size->height;
    free(size);
    if (box) {
        x = (int)fmax(floor(box[0]), 0.0);
        y = (int)fmax(floor(box[1]), 0.0);
        right = (int)fmin(ceil(box[0] + box[2]), right);
        bottom = (int)fmin(ceil(box[1] + box[3]), bottom);
    }
    ck_assert(right > x && bottom > y);
    Picture picture = {.width = right - x, .height = bottom - y};
    size_t n = (size_t)picture.width * (size_t)picture.height;
    xcb_get_image_reply_t *image = try_image(hand, window, x, y, &picture);
    for (int tries = 0; !image && tries < 100; tries++) {
        usleep(20000);
        image = try_image(hand, window, x, y, &picture);
    }
    ck_assert_ptr_nonnull(image);
    ck_assert_uint_eq((size_t)xcb_get_image_data_length(image), 4 * n);
    picture.rgb = malloc(4 * n);
    memcpy(picture.rgb, xcb_get_image_data(image), 4 * n);
    for (size_t i = 0; i < n; i++)
        picture.rgb[i] &= 0xffffff;
    free(image);
    return picture;
}
