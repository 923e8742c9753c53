/* SPDX-License-Identifier: ISC */
/* keyboard.h: what a key is on the keyboard that the server has, by xkbcommon. */
#ifndef SISKIN_VIEW_KEYBOARD_H
#define SISKIN_VIEW_KEYBOARD_H

#include "view/window.h"

/* Reads the server's keyboard. Without one that can be read, keys do nothing. */
void keyboard_open(Window *window);
void keyboard_close(Window *window);

/* The key's meaning; into `text` what it types, "" if nothing. state: as a key event has it. */
HandsKey keyboard_read(const Window *window, xcb_keycode_t code, unsigned state, char text[8]);

#endif
