/* SPDX-License-Identifier: ISC */
/* files.h: the style, skeleton and script of the page as they lie in the program: put there when it
 * is built, by page/embed.sh. Lines with their ends; NULL after the last. */
#ifndef SISKIN_PAGE_FILES_H
#define SISKIN_PAGE_FILES_H

extern const char *const page_css[], *const page_html[];
extern const char *const page_base_js[],
    *const page_player_js[], *const page_view_js[], *const page_draw_js[],
                                                        *const page_sounds_js[],
                                                            *const page_notes_js[],
                                                                *const page_begin_js[];

#endif
