/* SPDX-License-Identifier: ISC */
#include "siskin_json.h"

#include <math.h>
#include <stddef.h>
#include <string.h>

Json json_begin(FILE *to) {
    return (Json){.to = to};
}

/* Bytes of the UTF-8 character that begins here; 0 when there is none (Unicode 15, table 3-7: no
 * overlong forms, no surrogates, nothing over U+10FFFF). */
static size_t utf8_length(const unsigned char *s) {
    size_t more = s[0] >= 0xC2 && s[0] <= 0xDF   ? 1
                  : s[0] >= 0xE0 && s[0] <= 0xEF ? 2
                  : s[0] >= 0xF0 && s[0] <= 0xF4 ? 3
                                                 : 0;
    unsigned char low = s[0] == 0xE0 ? 0xA0 : s[0] == 0xF0 ? 0x90 : 0x80;
    unsigned char high = s[0] == 0xED ? 0x9F : s[0] == 0xF4 ? 0x8F : 0xBF;
    if (s[0] < 0x80)
        return 1;
    for (size_t i = 1; i <= more; i++) {
        if (s[i] < low || s[i] > high)
            return 0;
        low = 0x80;
        high = 0xBF;
    }
    return more ? more + 1 : 0;
}

static void write_text(FILE *to, const char *text) {
    const unsigned char *s = (const unsigned char *)text;
    putc('"', to);
    while (*s) {
        size_t length = utf8_length(s);
        if (*s == '"' || *s == '\\')
            fprintf(to, "\\%c", *s);
        else if (*s < 0x20 || *s == 0x7F)
            fprintf(to, "\\u%04x", *s);
        else if (length == 0)
            fputs("\\ufffd", to);
        else
            fwrite(s, 1, length, to);
        s += length ? length : 1;
    }
    putc('"', to);
}

static void lead(Json *json, const char *name) {
    bool flat = json->flat[json->depth];
    if (json->any[json->depth])
        putc(',', json->to);
    if (json->depth && !flat)
        fprintf(json->to, "\n%*s", (int)(2 * json->depth), "");
    else if (json->any[json->depth])
        putc(' ', json->to);
    json->any[json->depth] = true;
    if (name) {
        write_text(json->to, name);
        fputs(": ", json->to);
    }
}

void json_open(Json *json, const char *name, char kind, bool flat) {
    lead(json, name);
    putc(kind, json->to);
    bool inherited = json->flat[json->depth];
    json->depth += json->depth + 1 < JSON_DEPTH;
    json->any[json->depth] = false;
    json->flat[json->depth] = flat || inherited;
}

void json_close(Json *json, char kind) {
    bool line = json->any[json->depth] && !json->flat[json->depth];
    json->depth--;
    if (line)
        fprintf(json->to, "\n%*s", (int)(2 * json->depth), "");
    putc(kind, json->to);
    if (json->depth == 0)
        putc('\n', json->to);
}

void json_number(Json *json, const char *name, double value, int decimals) {
    lead(json, name);
    if (!isfinite(value))
        fputs("null", json->to);
    else
        fprintf(json->to, "%.*f", decimals, value);
}

void json_whole(Json *json, const char *name, uint64_t value) {
    lead(json, name);
    fprintf(json->to, "%llu", (unsigned long long)value);
}

void json_truth(Json *json, const char *name, bool value) {
    lead(json, name);
    fputs(value ? "true" : "false", json->to);
}

void json_text(Json *json, const char *name, const char *text) {
    lead(json, name);
    if (text)
        write_text(json->to, text);
    else
        fputs("null", json->to);
}
