/* SPDX-License-Identifier: ISC */
/* arena.h: memory for units, handed out once at prepare time from one block of the caller's.
 *
 * A unit's prepare() takes what it needs and nothing is given back one by one: the owner frees the
 * block. process() is given no arena, so that it cannot take memory.
 * When the block is too small arena_take() returns NULL and `used` still grows past `size`: the
 * owner then makes a larger block and prepares again. */
#ifndef SISKIN_BASIC_ARENA_H
#define SISKIN_BASIC_ARENA_H

#include <stddef.h>

enum { ARENA_ALIGN = 64 }; /* bytes: a cache line, and enough for any vector type */

typedef struct {
    unsigned char *base; /* aligned to ARENA_ALIGN by arena_over */
    size_t size;         /* bytes from base */
    size_t used;         /* bytes asked for so far; > size when something did not fit */
} Arena;

/* An arena over `memory` of `size` bytes (any alignment; up to ARENA_ALIGN - 1 bytes are lost). */
Arena arena_over(void *memory, size_t size);

/* `count` elements of `size` bytes each, zeroed, aligned to ARENA_ALIGN.
 * NULL when they do not fit or count * size overflows. count 0 gives a valid, empty block. */
void *arena_take(Arena *arena, size_t count, size_t size);

#endif
