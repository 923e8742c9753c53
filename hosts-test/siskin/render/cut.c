/* SPDX-License-Identifier: ISC */
#include "siskin/render/cut.h"

#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

/* ---- chunks: one of samples may not reach past the end of the file ---- */

/* How a container lays out its chunks. */
typedef struct {
    const char *magic;   /* the first four bytes */
    uint64_t first;      /* where the first chunk begins */
    size_t id_bytes;     /* before the length */
    size_t length_bytes; /* 4 or 8 */
    bool big_end;
    bool with_head; /* the length counts the chunk's own head */
    unsigned align; /* chunks begin at multiples of this */
    const char *samples;
} Chunks;

static const Chunks containers[] = {
    {"RIFF", 12, 4, 4, false, false, 2, "data"}, /* WAV */
    {"RF64", 12, 4, 4, false, false, 2, "data"}, /* EBU Tech 3306: long lengths are in ds64 */
    {"FORM", 12, 4, 4, true, false, 2, "SSND"},  /* AIFF */
    {"riff", 40, 16, 8, false, true, 8, "data"}, /* W64 */
    {"caff", 8, 4, 8, true, false, 1, "data"},   /* CAF */
    {".snd", 0, 8, 4, true, false, 1, ".snd"},   /* AU: no chunks, but its head reads like one */
};

enum { MOST_HEAD = 24, MOST_CHUNKS = 10000, DS64_SAMPLES = 8 };

static uint64_t number_at(const unsigned char *bytes, size_t n, bool big_end) {
    uint64_t value = 0;
    for (size_t i = 0; i < n; i++)
        value |= (uint64_t)bytes[i] << 8 * (big_end ? n - 1 - i : i);
    return value;
}

static bool read_at(int fd, void *bytes, size_t n, uint64_t at) {
    return pread(fd, bytes, n, (off_t)at) == (ssize_t)n;
}

/* Bytes of samples that are missing. Writers that cannot seek leave 0 or all bits set; those say
 * nothing. */
static uint64_t missing_samples(int fd, uint64_t size, const Chunks *chunks) {
    unsigned char head[MOST_HEAD], number[8];
    size_t n = chunks->id_bytes + chunks->length_bytes;
    uint64_t at = chunks->first, unknown = UINT64_MAX >> (64 - 8 * chunks->length_bytes);
    uint64_t elsewhere = unknown;
    for (int k = 0; k < MOST_CHUNKS && at + n <= size && read_at(fd, head, n, at); k++) {
        uint64_t length = number_at(head + chunks->id_bytes, chunks->length_bytes, chunks->big_end);
        uint64_t begins = at + n;
        if (memcmp(head, "ds64", 4) == 0 && read_at(fd, number, 8, begins + DS64_SAMPLES))
            elsewhere = number_at(number, 8, false);
        if (memcmp(head, ".snd", 4) == 0) /* the place of its samples stands before their length */
            begins = number_at(head + 4, 4, true);
        if (chunks->with_head)
            length = length > n ? length - n : 0;
        if (memcmp(head, chunks->samples, 4) == 0) {
            length = length == unknown ? elsewhere : length;
            bool said = length != 0 && length != unknown;
            return said && length > size - begins && begins <= size ? length - (size - begins) : 0;
        }
        if (length > size - begins)
            return 0;
        at = (begins + length + chunks->align - 1) / chunks->align * chunks->align;
    }
    return 0;
}

/* ---- Ogg: the last page is marked as the last, and is there to its end ---- */

enum {
    PAGE_HEAD = 27,
    PAGE_MOST = PAGE_HEAD + 255 + 255 * 255,
    TAIL = 2 * PAGE_MOST,
    PAGE_LAST = 0x04
};

/* Length of the page that begins here, as far as its head tells; 0: it is no page, or its head is
 * not all there. */
static size_t page_length(const unsigned char *page, size_t there) {
    if (there < PAGE_HEAD || memcmp(page, "OggS", 4) != 0)
        return 0;
    size_t segments = page[26], length = PAGE_HEAD + segments;
    if (there < length)
        return 0;
    for (size_t i = 0; i < segments; i++)
        length += page[PAGE_HEAD + i];
    return length;
}

static bool pages_end(int fd, uint64_t size) {
    size_t n = size < TAIL ? (size_t)size : TAIL;
    unsigned char *tail = malloc(n);
    bool ends = false;
    if (!tail || !read_at(fd, tail, n, size - n))
        ends = true; /* reading it as audio will say what is wrong */
    for (size_t at = 0; !ends && at < n; at++) {
        size_t length = page_length(tail + at, n - at);
        ends = length && (tail[at + 5] & PAGE_LAST) && at + length <= n;
    }
    free(tail);
    return ends;
}

static const Chunks *find_container(const unsigned char *magic) {
    for (size_t i = 0; i < sizeof containers / sizeof *containers; i++)
        if (memcmp(magic, containers[i].magic, 4) == 0)
            return &containers[i];
    return NULL;
}

bool cut_off(int fd, char *why, size_t size) {
    unsigned char magic[4];
    struct stat status;
    if (fstat(fd, &status) != 0 || !read_at(fd, magic, sizeof magic, 0))
        return false;
    const Chunks *chunks = find_container(magic);
    uint64_t bytes = (uint64_t)status.st_size;
    uint64_t missing = chunks ? missing_samples(fd, bytes, chunks) : 0;
    if (missing)
        snprintf(why, size,
                 "is cut off: %llu bytes of the samples that its header promises are missing",
                 (unsigned long long)missing);
    else if (memcmp(magic, "OggS", 4) == 0 && !pages_end(fd, bytes))
        snprintf(why, size, "is cut off: its last page is missing");
    else
        return false;
    return true;
}
