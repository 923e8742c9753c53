/* SPDX-License-Identifier: ISC */
#include "siskin/text.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const char *under_work;
static int end_status = 1;

void text_no_memory(const char *what, int status) {
    under_work = what;
    end_status = status;
}

static void *must(void *memory) {
    if (!memory) {
        fprintf(stderr, "siskin: out of memory%s%s\n", under_work ? " at " : "",
                under_work ? under_work : "");
        exit(end_status);
    }
    return memory;
}

void *text_take(size_t count, size_t size) {
    return must(calloc(count ? count : 1, size));
}

char *text_copy(const char *text) {
    return must(strdup(text));
}

char *text_print(const char *format, ...) {
    va_list args;
    char *text = NULL;
    va_start(args, format);
    int length = vasprintf(&text, format, args);
    va_end(args);
    return must(length < 0 ? NULL : text);
}

void *text_grow(void *array_address, size_t *count, size_t size) {
    void *array = NULL;
    memcpy(&array, array_address, sizeof array); /* any pointer type: read and written by bytes */
    char *grown = must(reallocarray(array, *count + 1, size));
    memcpy(array_address, &grown, sizeof grown);
    return memset(grown + (*count)++ * size, 0, size);
}

void text_add(char *buffer, size_t size, const char *format, ...) {
    size_t used = strlen(buffer);
    va_list args;
    va_start(args, format);
    vsnprintf(buffer + used, size - used, format, args);
    va_end(args);
}

bool text_number(const char *word, double *value) {
    /* strtod also takes hexadecimal, "inf" and "nan": none is meant in a command or chain. */
    if (!*word || strspn(word, "0123456789.+-eE") != strlen(word))
        return false;
    char *end = NULL;
    *value = strtod(word, &end);
    return *end == '\0' && isfinite(*value);
}

enum { LONGEST = 48 }; /* letters compared */

static size_t least(size_t a, size_t b) {
    return a < b ? a : b;
}

/* Edit distance with swaps of neighbours (optimal string alignment: Damerau, "A technique for
 * computer detection and correction of spelling errors", CACM 7(3), 1964). */
static size_t distance(const char *a, const char *b) {
    size_t rows[3][LONGEST + 1]; /* the row of the table under work and the two before it */
    size_t na = strnlen(a, LONGEST);
    size_t nb = strnlen(b, LONGEST);
    for (size_t j = 0; j <= nb; j++)
        rows[0][j] = j;
    for (size_t i = 1; i <= na; i++) {
        size_t *now = rows[i % 3];
        const size_t *last = rows[(i + 2) % 3];
        const size_t *before = rows[(i + 1) % 3];
        now[0] = i;
        for (size_t j = 1; j <= nb; j++) {
            now[j] = least(least(last[j], now[j - 1]) + 1, last[j - 1] + (a[i - 1] != b[j - 1]));
            if (i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1])
                now[j] = least(now[j], before[j - 2] + 1);
        }
    }
    return rows[na % 3][nb];
}

const char *text_nearest(const char *word, const char *const *names, size_t count) {
    const char *nearest = NULL;
    size_t best = strlen(word) / 2 + 1; /* further than that shares too little to be meant */
    for (size_t i = 0; i < count; i++) {
        size_t d = distance(word, names[i]);
        if (d < best) {
            best = d;
            nearest = names[i];
        }
    }
    return nearest;
}

const char *text_time(char buffer[32], double seconds) {
    long long tenths = llround(seconds * 10.0);
    long long minutes = tenths / 600;
    if (minutes >= 60)
        snprintf(buffer, 32, "%lld:%02lld:%02lld.%lld", minutes / 60, minutes % 60,
                 tenths / 10 % 60, tenths % 10);
    else
        snprintf(buffer, 32, "%lld:%02lld.%lld", minutes, tenths / 10 % 60, tenths % 10);
    return buffer;
}

const char *text_base(const char *path) {
    const char *slash = strrchr(path, '/');
    return slash ? slash + 1 : path;
}

double text_db(double amplitude) {
    return 20.0 * log10(amplitude);
}

/* Unicode 15, table 3-7: no overlong forms, no surrogates, nothing over U+10FFFF. */
size_t text_utf8_length(const unsigned char *s) {
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

uint64_t text_hash(uint64_t hash, const void *bytes, size_t n) {
    const unsigned char *byte = bytes;
    for (size_t i = 0; i < n; i++)
        hash = (hash ^ byte[i]) * 0x100000001B3u;
    return hash;
}

static bool is_control(unsigned char c) {
    return c < 0x20 || c == 0x7F;
}

void text_csv(FILE *file, const char *text) {
    fputc('"', file);
    if (*text && strchr("=+-@\t\r", *text))
        fputc('\'', file);
    for (; *text; text++) {
        if (*text == '"')
            fputc('"', file);
        fputc(is_control((unsigned char)*text) ? ' ' : *text, file);
    }
    fputc('"', file);
}

const char *text_plain(char *buffer, size_t size, const char *text) {
    size_t used = 0;
    for (const unsigned char *s = (const unsigned char *)text; *s;) {
        size_t length = text_utf8_length(s);
        /* U+0080 to U+009F are controls, too; bytes that are no UTF-8 may be. */
        bool bare = is_control(*s) || length == 0 || (length == 2 && *s == 0xC2 && s[1] < 0xA0);
        if (used + 4 * (length ? length : 1) >= size)
            break;
        for (size_t i = 0; i < (length ? length : 1); i++, s++)
            used += (size_t)snprintf(buffer + used, size - used,
                                     !bare        ? "%c"
                                     : *s == '\n' ? "\\n"
                                                  : "\\x%02x",
                                     *s);
    }
    buffer[used] = '\0';
    return buffer;
}
