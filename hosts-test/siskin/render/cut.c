/* SPDX-License-Identifier: ISC */
#include "siskin/render/cut.h"

#include <string.h>
#include <sys/mman.h>
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

size_t cut_chunk(int fd, const char *id, unsigned char *bytes, size_t most) {
    unsigned char head[8];
    uint64_t at = 12;
    for (int k = 0; k < MOST_CHUNKS && read_at(fd, head, sizeof head, at); k++) {
        uint64_t length = number_at(head + 4, 4, false);
        size_t n = length < most ? (size_t)length : most;
        if (memcmp(head, id, 4) == 0)
            return read_at(fd, bytes, n, at + sizeof head) ? n : 0;
        at += sizeof head + length + length % 2;
    }
    return 0;
}

static bool is_chunk(const unsigned char *head) {
    for (int i = 0; i < 4; i++)
        if (head[i] < 0x20 || head[i] > 0x7E)
            return false;
    return true;
}

static bool all_zero(int fd, uint64_t at, uint64_t n) {
    unsigned char bytes[4096];
    size_t look = n < sizeof bytes ? (size_t)n : sizeof bytes;
    if (!read_at(fd, bytes, look, at))
        return true;
    for (size_t i = 0; i < look; i++)
        if (bytes[i])
            return false;
    return true;
}

/* Writers that cannot seek leave 0 or all bits set as the length of the samples; those say nothing.
 */
static void look_at_samples(Cut *cut, uint64_t size, uint64_t length, uint64_t begins,
                            uint64_t unknown) {
    if (length == 0 || length == unknown || begins > size)
        return;
    cut->samples = length;
    cut->samples_from = begins;
    if (length > size - begins)
        cut->missing = length - (size - begins);
}

static void look_at_chunks(Cut *cut, int fd, uint64_t size, const Chunks *chunks) {
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
            cut->length_at = at + chunks->id_bytes;
            look_at_samples(cut, size, length, begins, unknown);
            if (!cut->samples || cut->missing)
                return;
        } else if (cut->samples && !is_chunk(head)) {
            break;
        }
        if (length > size - begins)
            break;
        at = (begins + length + chunks->align - 1) / chunks->align * chunks->align;
    }
    if (cut->samples && at < size && !all_zero(fd, at, size - at))
        cut->beyond = size - at;
}

/* ---- Ogg: every page is whole and follows the one before, up to one marked as the last ---- */

enum {
    PAGE_HEAD = 27,
    PAGE_SUM = 22, /* where its checksum stands */
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

/* RFC 3533, section 6: generator 0x04C11DB7, from 0, not reflected; its own field counts as 0. */
static uint32_t page_sum(const unsigned char *page, size_t length) {
    static uint32_t table[256];
    uint32_t sum = 0;
    for (uint32_t i = 0; !table[255] && i < 256; i++) {
        table[i] = i << 24;
        for (int bit = 0; bit < 8; bit++)
            table[i] = table[i] << 1 ^ (table[i] & 0x80000000 ? 0x04C11DB7 : 0);
    }
    for (size_t i = 0; i < length; i++) {
        unsigned char byte = i >= PAGE_SUM && i < PAGE_SUM + 4 ? 0 : page[i];
        sum = sum << 8 ^ table[sum >> 24 ^ byte];
    }
    return sum;
}

static bool page_is_good(const unsigned char *page, size_t there, size_t *length) {
    *length = page_length(page, there);
    return *length && *length <= there &&
           page_sum(page, *length) == number_at(page + PAGE_SUM, 4, false);
}

/* Opus counts at 48 kHz, from before what a player leaves out (RFC 7845, section 4). */
static void look_at_first_page(Cut *cut, const unsigned char *page, size_t length) {
    const unsigned char *packet = page + PAGE_HEAD + page[26];
    if (packet + 12 > page + length || memcmp(packet, "OpusHead", 8) != 0)
        return;
    cut->granules_hz = 48000.0;
    cut->skipped = number_at(packet + 10, 2, false);
}

static void add_hole(Cut *cut, uint64_t from, uint64_t to) {
    if (cut->n_holes && cut->hole[cut->n_holes - 1].from == from)
        cut->hole[cut->n_holes - 1].to = to;
    else if (cut->n_holes < CUT_MOST_HOLES)
        cut->hole[cut->n_holes++] = (CutHole){from, to};
    else
        cut->hole[CUT_MOST_HOLES - 1].to = to;
}

/* Of the one stream of a file; pages of another are passed over. */
static void look_at_pages(Cut *cut, const unsigned char *file, size_t size) {
    uint64_t granule = 0, serial = 0, number = 0;
    bool any = false, whole = true;
    cut->no_end = true;
    for (size_t at = 0, length; at + PAGE_HEAD <= size; at += length) {
        if (!page_is_good(file + at, size - at, &length)) {
            whole = false;
            length = 1;
            continue;
        }
        const unsigned char *page = file + at;
        uint64_t now = number_at(page + 6, 8, false);
        if (!any)
            look_at_first_page(cut, page, length);
        if (any && number_at(page + 14, 4, false) != serial)
            continue;
        if (any && (!whole || number_at(page + 18, 4, false) != number + 1)) {
            add_hole(cut, granule, now == UINT64_MAX ? granule : now);
            whole = true;
        }
        serial = number_at(page + 14, 4, false);
        number = number_at(page + 18, 4, false);
        granule = now == UINT64_MAX ? granule : now;
        cut->no_end = !(page[5] & PAGE_LAST);
        any = true;
    }
    if (!any)
        cut->no_end = false; /* reading it as audio will say what is wrong */
}

static void look_at_ogg(Cut *cut, int fd, uint64_t size) {
    void *file = mmap(NULL, size, PROT_READ, MAP_PRIVATE, fd, 0);
    if (file == MAP_FAILED)
        return;
    cut->is_ogg = true;
    look_at_pages(cut, file, size);
    munmap(file, size);
}

static const Chunks *find_container(const unsigned char *magic) {
    for (size_t i = 0; i < sizeof containers / sizeof *containers; i++)
        if (memcmp(magic, containers[i].magic, 4) == 0)
            return &containers[i];
    return NULL;
}

void cut_look(int fd, Cut *cut) {
    unsigned char magic[4];
    struct stat status;
    *cut = (Cut){0};
    if (fstat(fd, &status) != 0 || !read_at(fd, magic, sizeof magic, 0))
        return;
    const Chunks *chunks = find_container(magic);
    cut->is_riff = memcmp(magic, "RIFF", 4) == 0;
    if (chunks)
        look_at_chunks(cut, fd, (uint64_t)status.st_size, chunks);
    else if (memcmp(magic, "OggS", 4) == 0)
        look_at_ogg(cut, fd, (uint64_t)status.st_size);
}
