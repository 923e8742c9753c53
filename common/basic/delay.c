/* SPDX-License-Identifier: ISC */
#include "basic/delay.h"

#include <string.h>

bool delay_prepare(Delay *delay, size_t max_frames, Arena *arena) {
    size_t length = 1;
    while (length < max_frames + DELAY_MAX_BLOCK + 1)
        length *= 2;
    delay->mask = length - 1;
    delay->max = max_frames;
    delay->ring = arena_take(arena, length, sizeof *delay->ring);
    delay->state.write = 0;
    return delay->ring != NULL;
}

void delay_reset(Delay *delay) {
    memset(delay->ring, 0, (delay->mask + 1) * sizeof *delay->ring);
    delay->state.write = 0;
}

/* Frames from `at` to the ring's end, at most n: the length of the first of two copies. */
static size_t first_part(const Delay *delay, size_t at, size_t n) {
    size_t left = delay->mask + 1 - at;
    return n < left ? n : left;
}

void delay_write(Delay *delay, const float *in, size_t n) {
    size_t at = delay->state.write;
    size_t first = first_part(delay, at, n);
    memcpy(delay->ring + at, in, first * sizeof *in);
    memcpy(delay->ring, in + first, (n - first) * sizeof *in);
    delay->state.write = (at + n) & delay->mask;
}

void delay_read(const Delay *delay, size_t frames, float *out, size_t n) {
    size_t at = (delay->state.write - frames - n) & delay->mask;
    size_t first = first_part(delay, at, n);
    memcpy(out, delay->ring + at, first * sizeof *out);
    memcpy(out + first, delay->ring, (n - first) * sizeof *out);
}
