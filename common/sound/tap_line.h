/* SPDX-License-Identifier: ISC */
/* tap_line.h: a delay that may be changed while it sounds.
 *
 *     y[t] = x[t - from] + w (x[t - to] - x[t - from])
 *
 * At rest it is exact: frames are copied. A new delay is faded to, w = 3 u^2 - 2 u^3 with u from 0
 * to 1 over TAP_LINE_FADE_MS, so that it starts and arrives without a corner; the pitch does not
 * move, as it would if the tap were drawn from one place to the other. A delay that is set while
 * one is being faded to waits until that is done; of several that wait the last counts.
 *
 * Writing and reading are two calls, so that what is read may be in what is written: a loop. A
 * stretch must then be no longer than the shortest delay.
 * Latency: the delay. Cost a copy; while fading 5 operations a frame. */
#ifndef SISKIN_SOUND_TAP_LINE_H
#define SISKIN_SOUND_TAP_LINE_H

#include "basic/delay.h"

#define TAP_LINE_FADE_MS 30.0

typedef struct {
    Delay line;
    size_t fade; /* frames */
    size_t goal;
    struct {
        bool fresh;          /* nothing was read yet: a delay is met at once */
        size_t from, to, at; /* frames; at: of the fade, `fade` when it is over */
    } state;
} TapLine;

/* Room for delays of 0..max_frames. false: the arena is full. */
bool tap_line_prepare(TapLine *tap, double rate_hz, size_t max_frames, Arena *arena);
void tap_line_reset(TapLine *tap);
/* frames <= max. */
void tap_line_set(TapLine *tap, size_t frames);
/* The next n <= DELAY_MAX_BLOCK frames of the delayed signal, before they are written: every delay
 * in use must be n or more. Moves the fade on. */
void tap_line_read_ahead(TapLine *tap, float *out, size_t n);
/* Appends n <= DELAY_MAX_BLOCK frames. */
void tap_line_write(TapLine *tap, const float *in, size_t n);
/* Both, for what is no loop; any delay; in may equal out. */
void tap_line_process(TapLine *tap, const float *in, float *out, size_t n);

#endif
