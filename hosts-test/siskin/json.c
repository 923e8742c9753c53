/* SPDX-License-Identifier: ISC */
#include "siskin/json.h"

#include "siskin/text.h"

#include <math.h>

Json json_begin(FILE *to) {
    return (Json){.to = to};
}

static void write_text(FILE *to, const char *text) {
    const unsigned char *s = (const unsigned char *)text;
    putc('"', to);
    while (*s) {
        size_t length = text_utf8_length(s);
        if (*s == '"' || *s == '\\')
            fprintf(to, "\\%c", *s);
        else if (*s < 0x20 || *s == 0x7F || *s == '<')
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
