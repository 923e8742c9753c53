/* SPDX-License-Identifier: ISC */
/* json.h: writes JSON (RFC 8259), value by value.
 *
 * Commas and indents are kept track of. A number that is not finite is null. Text is escaped as the
 * RFC asks, and bytes that are no UTF-8 (file names may hold any) become U+FFFD. `<` is escaped
 * too, so that JSON may stand in an HTML page. */
#ifndef SISKIN_JSON_H
#define SISKIN_JSON_H

#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>

enum { JSON_DEPTH = 16 };

typedef struct {
    FILE *to;
    unsigned depth;
    bool any[JSON_DEPTH];  /* something was written at this depth */
    bool flat[JSON_DEPTH]; /* all in one line */
} Json;

Json json_begin(FILE *to);
/* `name` is NULL for elements of arrays and the outermost value. `kind` is '{' or '['; flat ones
 * are written in one line. */
void json_open(Json *json, const char *name, char kind, bool flat);
void json_close(Json *json, char kind); /* '}' or ']' */
void json_number(Json *json, const char *name, double value, int decimals);
void json_whole(Json *json, const char *name, uint64_t value);
void json_truth(Json *json, const char *name, bool value);
void json_text(Json *json, const char *name, const char *text); /* NULL: null */

#endif
