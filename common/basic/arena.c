/* SPDX-License-Identifier: ISC */
#include "basic/arena.h"

#include <stdint.h>
#include <string.h>

Arena arena_over(void *memory, size_t size) {
    size_t skip = (size_t)(-(uintptr_t)memory) & (ARENA_ALIGN - 1);
    if (skip > size)
        skip = size;
    return (Arena){.base = (unsigned char *)memory + skip, .size = size - skip, .used = 0};
}

void *arena_take(Arena *arena, size_t count, size_t size) {
    const size_t most = SIZE_MAX / 4;
    if (size != 0 && count > most / size) {
        arena->used = most;
        return NULL;
    }
    size_t bytes = (count * size + ARENA_ALIGN - 1) & ~(size_t)(ARENA_ALIGN - 1);
    size_t at = arena->used;
    if (arena->used < most)
        arena->used += bytes;
    if (at > arena->size || bytes > arena->size - at)
        return NULL;
    unsigned char *block = arena->base + at;
    if (bytes > 0)
        memset(block, 0, bytes);
    return block;
}
