/* SPDX-License-Identifier: ISC */
#include "siskin/page/text.h"

#include "siskin/text.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <zlib.h>

/* ---- text ---- */

static const char *entity(unsigned char c) {
    switch (c) {
    case '&':
        return "&amp;";
    case '<':
        return "&lt;";
    case '>':
        return "&gt;";
    case '"':
        return "&quot;";
    case '\'':
        return "&#39;";
    default:
        return NULL;
    }
}

static bool is_forbidden(unsigned char c) {
    return (c < 0x20 && c != '\n' && c != '\t') || c == 0x7F;
}

void page_escape(FILE *to, const char *text) {
    const unsigned char *s = (const unsigned char *)text;
    while (*s) {
        size_t length = text_utf8_length(s);
        if (entity(*s))
            fputs(entity(*s), to);
        else if (length == 0 || is_forbidden(*s))
            fputs("\xEF\xBF\xBD", to);
        else
            fwrite(s, 1, length, to);
        s += length ? length : 1;
    }
}

const char *page_time(char buffer[32], double seconds) {
    long long ms = llround(1000.0 * seconds);
    snprintf(buffer, 32, "%lld:%02lld.%03lld", ms / 60000, ms / 1000 % 60, ms % 1000);
    return buffer;
}

/* ---- base 64 ---- */

static void encode_three(const unsigned char *in, size_t n, char out[4]) {
    static const char digits[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    unsigned bits = (unsigned)in[0] << 16;
    bits |= n > 1 ? (unsigned)in[1] << 8 : 0;
    bits |= n > 2 ? (unsigned)in[2] : 0;
    out[0] = digits[bits >> 18];
    out[1] = digits[bits >> 12 & 63];
    out[2] = '=';
    out[3] = '=';
    if (n > 1)
        out[2] = digits[bits >> 6 & 63];
    if (n > 2)
        out[3] = digits[bits & 63];
}

char *page_base64(const void *bytes, size_t n) {
    const unsigned char *in = bytes;
    char *out = text_take((n + 2) / 3 * 4 + 1, 1);
    for (size_t i = 0; i < n; i += 3)
        encode_three(in + i, n - i < 3 ? n - i : 3, out + i / 3 * 4);
    return out;
}

void page_write_base64(FILE *to, const void *bytes, size_t n) {
    char *text = page_base64(bytes, n);
    fputs(text, to);
    free(text);
}

/* ---- PNG ---- */

static unsigned char *put32(unsigned char *to, uint32_t value) {
    for (int i = 0; i < 4; i++)
        to[i] = (unsigned char)(value >> (24 - 8 * i));
    return to + 4;
}

static unsigned char *put_chunk(unsigned char *to, const char *name, const void *data, size_t n) {
    unsigned char *begin = put32(to, (uint32_t)n);
    memcpy(begin, name, 4);
    if (n)
        memcpy(begin + 4, data, n);
    return put32(begin + 4 + n, (uint32_t)crc32(0, begin, (uInt)(n + 4)));
}

/* Rows as PNG filters them: each byte less the one to its left, after the number of that filter. */
static unsigned char *filter_rows(const uint8_t *grey, size_t columns, size_t rows) {
    unsigned char *lines = text_take(rows, columns + 1);
    for (size_t r = 0; r < rows; r++) {
        unsigned char *line = lines + r * (columns + 1);
        line[0] = 1;
        for (size_t c = 0; c < columns; c++)
            line[c + 1] =
                (unsigned char)(grey[r * columns + c] - (c ? grey[r * columns + c - 1] : 0));
    }
    return lines;
}

unsigned char *page_png(const uint8_t *grey, size_t columns, size_t rows, size_t *bytes) {
    static const unsigned char signature[8] = {137, 'P', 'N', 'G', 13, 10, 26, 10};
    unsigned char head[13] = {[8] = 8}; /* bits of depth; grey, deflate, filters, no interlace: 0 */
    const size_t chunk = 12;            /* bytes around its data */
    size_t size = rows * (columns + 1);
    uLongf packed_size = compressBound((uLong)size);
    unsigned char *lines = filter_rows(grey, columns, rows);
    unsigned char *packed = text_take(packed_size, 1);
    compress2(packed, &packed_size, lines, (uLong)size, Z_BEST_COMPRESSION);
    free(lines);
    unsigned char *png = text_take(sizeof signature + 3 * chunk + sizeof head + packed_size, 1);
    put32(put32(head, (uint32_t)columns), (uint32_t)rows);
    memcpy(png, signature, sizeof signature);
    unsigned char *end = put_chunk(png + sizeof signature, "IHDR", head, sizeof head);
    end = put_chunk(end, "IDAT", packed, packed_size);
    end = put_chunk(end, "IEND", NULL, 0);
    free(packed);
    *bytes = (size_t)(end - png);
    return png;
}
