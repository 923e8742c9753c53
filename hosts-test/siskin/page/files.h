/* SPDX-License-Identifier: ISC */
/* files.h: the files page/page.* as they lie in the program: put there when it is
 * built, by page/embed.sh. Lines with their ends; NULL after the last. */
#ifndef SISKIN_PAGE_FILES_H
#define SISKIN_PAGE_FILES_H

extern const char *const page_css[], *const page_html[], *const page_js[];

#endif
