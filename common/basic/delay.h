/* SPDX-License-Identifier: ISC */
/* delay.h: delay line by whole frames, with the delay changeable at any time.
 *
 * y[t] = x[t - d], 0 <= d <= max. Exact: samples are copied, never computed. Latency d. */
#ifndef SISKIN_BASIC_DELAY_H
#define SISKIN_BASIC_DELAY_H

#include "basic/arena.h"

#include <stdbool.h>
#include <stddef.h>

typedef struct {
    size_t mask; /* ring length - 1; a power of two greater than max + DELAY_MAX_BLOCK */
    size_t max;  /* frames */
    float *ring;
    struct {
        size_t write; /* frames written so far, modulo the ring */
    } state;
} Delay;

enum { DELAY_MAX_BLOCK = 256 }; /* most frames in one delay_write */

/* Room for delays of 0..max_frames. false: the arena is full. */
bool delay_prepare(Delay *delay, size_t max_frames, Arena *arena);
void delay_reset(Delay *delay);

/* Appends n <= DELAY_MAX_BLOCK frames. */
void delay_write(Delay *delay, const float *in, size_t n);

/* The n frames written last, as they were `frames` frames earlier; frames <= max.
 * Before anything was written there is silence. */
void delay_read(const Delay *delay, size_t frames, float *out, size_t n);

#endif
