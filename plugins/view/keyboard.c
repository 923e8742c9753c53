/* SPDX-License-Identifier: ISC */
#include "view/keyboard.h"

#include <xkbcommon/xkbcommon-keysyms.h>
#include <xkbcommon/xkbcommon-x11.h>
#include <xkbcommon/xkbcommon.h>

void keyboard_open(Window *window) {
    if (!xkb_x11_setup_xkb_extension(window->x, XKB_X11_MIN_MAJOR_XKB_VERSION,
                                     XKB_X11_MIN_MINOR_XKB_VERSION,
                                     XKB_X11_SETUP_XKB_EXTENSION_NO_FLAGS, NULL, NULL, NULL, NULL))
        return;
    int32_t device = xkb_x11_get_core_keyboard_device_id(window->x);
    window->xkb = device < 0 ? NULL : xkb_context_new(XKB_CONTEXT_NO_FLAGS);
    if (window->xkb)
        window->keymap = xkb_x11_keymap_new_from_device(window->xkb, window->x, device,
                                                        XKB_KEYMAP_COMPILE_NO_FLAGS);
    if (window->keymap)
        window->keys = xkb_state_new(window->keymap);
}

void keyboard_close(Window *window) {
    xkb_state_unref(window->keys);
    xkb_keymap_unref(window->keymap);
    xkb_context_unref(window->xkb);
    window->keys = NULL;
    window->keymap = NULL;
    window->xkb = NULL;
}

static const struct {
    xkb_keysym_t symbol;
    HandsKey key;
} KEYS[] = {
    {XKB_KEY_Tab, KEY_TAB},
    {XKB_KEY_ISO_Left_Tab, KEY_BACK_TAB},
    {XKB_KEY_Left, KEY_LESS},
    {XKB_KEY_Down, KEY_LESS},
    {XKB_KEY_KP_Left, KEY_LESS},
    {XKB_KEY_KP_Down, KEY_LESS},
    {XKB_KEY_Right, KEY_MORE},
    {XKB_KEY_Up, KEY_MORE},
    {XKB_KEY_KP_Right, KEY_MORE},
    {XKB_KEY_KP_Up, KEY_MORE},
    {XKB_KEY_Page_Down, KEY_PAGE_LESS},
    {XKB_KEY_KP_Page_Down, KEY_PAGE_LESS},
    {XKB_KEY_Page_Up, KEY_PAGE_MORE},
    {XKB_KEY_KP_Page_Up, KEY_PAGE_MORE},
    {XKB_KEY_Home, KEY_HOME},
    {XKB_KEY_KP_Home, KEY_HOME},
    {XKB_KEY_End, KEY_END},
    {XKB_KEY_KP_End, KEY_END},
    {XKB_KEY_Return, KEY_ENTER},
    {XKB_KEY_KP_Enter, KEY_ENTER},
    {XKB_KEY_Escape, KEY_ESCAPE},
    {XKB_KEY_Delete, KEY_DELETE},
    {XKB_KEY_KP_Delete, KEY_DELETE},
    {XKB_KEY_BackSpace, KEY_BACKSPACE},
};

HandsKey keyboard_read(const Window *window, xcb_keycode_t code, unsigned state, char text[8]) {
    text[0] = '\0';
    if (!window->keys)
        return KEY_OTHER;
    /* A core event has the modifiers in its lowest eight bits, the layout in bits 13 and 14 (XKB
     * protocol, 2.2.2). */
    xkb_state_update_mask(window->keys, state & 0xff, 0, 0, state >> 13 & 3, 0, 0);
    xkb_keysym_t symbol = xkb_state_key_get_one_sym(window->keys, code);
    for (size_t i = 0; i < sizeof KEYS / sizeof *KEYS; i++)
        if (KEYS[i].symbol == symbol)
            return KEYS[i].key;
    if (xkb_state_key_get_utf8(window->keys, code, text, 8) >= 8 || (unsigned char)text[0] < ' ')
        text[0] = '\0';
    return KEY_OTHER;
}
