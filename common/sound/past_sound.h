/* SPDX-License-Identifier: ISC */
/* past_sound.h: the last frames of every channel, to be read anywhere, also between frames and
 * faster or slower.
 *
 *     y(t) = sum over k of x[floor(t) + k] h(k - frac t),   h(t) = sinc(t / s) / s under a Kaiser window
 *
 * Source: Smith and Gossett, "A flexible sampling-rate conversion method", ICASSP 1984: h is tabled
 * at PAST_SOUND_PHASES places a frame, and read between them in a straight line. s = 1 has 8 taps;
 * sound that is read faster than it was taken, by up to PAST_SOUND_FASTEST times, needs a low-pass
 * as much lower, s = 2^(k/3), and as many more taps, or its top would fold back. On a frame, at the
 * speed it was taken, y is that frame, bit for bit. Valid to 0.35 of the rate within 0.5 dB at s =
 * 1. Every frame is kept twice, so that any stretch lies unbroken. */
#ifndef SISKIN_SOUND_PAST_SOUND_H
#define SISKIN_SOUND_PAST_SOUND_H

#include "basic/arena.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define PAST_SOUND_FASTEST 4.0

enum {
    PAST_SOUND_CHANNELS = 2,
    PAST_SOUND_PHASES = 64,
    PAST_SOUND_KERNELS = 7, /* s = 1, 2^(1/3) .. 4 */
    PAST_SOUND_MOST_TAPS = 32,
};

typedef struct {
    size_t taps;  /* a multiple of 4 */
    float *table; /* [PAST_SOUND_PHASES + 1][taps] */
} PastSoundKernel;

typedef struct {
    unsigned channels;
    size_t size; /* frames kept, a power of two */
    float *ring[PAST_SOUND_CHANNELS];
    PastSoundKernel kernel[PAST_SOUND_KERNELS];
    struct {
        int64_t end; /* frames taken so far */
    } state;
} PastSound;

/* Keeps `frames` frames and more of 1..2 channels. false: the arena is full. */
bool past_sound_prepare(PastSound *past, unsigned channels, size_t frames, Arena *arena);
void past_sound_reset(PastSound *past);
/* Takes n frames from in[channel] + at. */
void past_sound_write(PastSound *past, const float *const *in, size_t at, size_t n);

/* n frames of one channel: what lies at start + first, start + first + 1, ... Frames outside of
 * those kept are not to be asked for. The time is split so that a frame comes out the same wherever
 * a block begins. */
void past_sound_read(const PastSound *past, unsigned channel, double start, int64_t first,
                     float *out, size_t n);
/* What lies at start + first speed, start + (first + 1) speed, ...; speed
 * 0.25..PAST_SOUND_FASTEST. */
void past_sound_read_at(const PastSound *past, unsigned channel, double start, double speed,
                        int64_t first, float *out, size_t n);

#endif
