/* SPDX-License-Identifier: ISC */
/* text.h: text, bytes and pictures as they may stand in an HTML page. */
#ifndef SISKIN_PAGE_TEXT_H
#define SISKIN_PAGE_TEXT_H

#include <stddef.h>
#include <stdint.h>
#include <stdio.h>

/* Writes text so that no part of it is markup, in an element or in a quoted attribute (WHATWG HTML,
 * section 13.1.2: & < > " '). Bytes that are no UTF-8 and characters that HTML forbids become
 * U+FFFD. */
void page_escape(FILE *to, const char *text);

/* Base 64 (RFC 4648, section 4), padded. The caller frees it. */
char *page_base64(const void *bytes, size_t n);
void page_write_base64(FILE *to, const void *bytes, size_t n);

/* A picture of `rows` rows (from the top) of `columns` bytes, 0 black to 255 white, as PNG (W3C PNG
 * specification, 2003), in memory that the caller frees. */
unsigned char *page_png(const uint8_t *grey, size_t columns, size_t rows, size_t *bytes);

/* "1:02.345": minutes, seconds and thousandths. */
const char *page_time(char buffer[32], double seconds);

#endif
