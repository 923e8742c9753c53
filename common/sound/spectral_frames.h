/* SPDX-License-Identifier: ISC */
/* spectral_frames.h: short-time spectra of one or two channels, changed by the caller and put
 * together again, with the work of each frame spread over the hop after it.
 *
 * N frames under a root of a Hann window, one hop of N/4 apart, are transformed, changed, brought
 * back, weighted by the same window and added (Griffin and Lim, IEEE Trans. ASSP 32(2), 1984;
 * Allen, ASSP 25(3), 1977). The squared windows of four hops add to 2 exactly, so spectra left
 * alone give the input back, within rounding; spectra made zero give exact silence. N is the power
 * of two that lasts 42.6..85.3 ms.
 *
 * Both channels share a transform, left + i right: bin k and bin N - k hold, of real channels,
 *     |L|^2 + |R|^2 = (|Z[k]|^2 + |Z[N-k]|^2) / 2
 * and a real gain g[k] on both changes each channel by g alone. One channel is transformed with
 * nothing beside it, and costs the same.
 *
 * A frame whose last sample has come is worked on, a share a sample, until the next hop, so
 * process() is A + B n however the host cuts its blocks; the caller's tasks are cut in the same
 * way. Hops are counted from reset. Latency N + N/4. Cost 8.5 log2 N + 40 operations a sample each
 * of the two transforms, and the tasks. */
#ifndef SISKIN_SOUND_SPECTRAL_FRAMES_H
#define SISKIN_SOUND_SPECTRAL_FRAMES_H

#include "basic/arena.h"
#include "basic/spread_fft.h"

#include <stdbool.h>
#include <stddef.h>

enum { SPECTRAL_CHANNELS = 2, SPECTRAL_OVERLAP = 4, SPECTRAL_TASKS = 12 };

/* A part of what the caller does to each spectrum [N], in so many steps that take about `cost`
 * operations each. run is called for all steps in order, in pieces of any size. */
typedef struct {
    size_t steps, cost; /* cost: time, re the other tasks; as measured, some 0.1 ns */
    void (*run)(void *user, const Spectrum *spectrum, size_t from, size_t count);
} SpectralTask;

typedef struct {
    size_t size, hop; /* N, N/4 */
    unsigned channels;
    SpreadFft fft;
    float *window, *back; /* [N] of the way there; of the way back, over 2N */
    SpectralTask tasks[SPECTRAL_TASKS];
    size_t n_tasks;
    void *user;
    size_t total; /* cost of one hop */
    Spectrum data[2];
    float *past[SPECTRAL_CHANNELS]; /* [2N] input, a ring */
    float *sum[SPECTRAL_CHANNELS];  /* [2N] output being added up, a ring */
    struct {
        size_t at;    /* of this hop */
        size_t write; /* of the rings, modulo 2N */
        size_t end;   /* of the frame worked on, in the ring */
        size_t task;  /* of the hop */
        size_t step;  /* of the task */
        size_t done;  /* cost */
    } state;
} SpectralFrames;

/* N at a rate of 8..192 kHz. */
size_t spectral_frames_size(double rate_hz);
static inline size_t spectral_frames_latency(const SpectralFrames *frames) {
    return frames->size + frames->hop;
}
/* tasks: what is done between the transforms, in order; n_tasks at most SPECTRAL_TASKS - 4, steps
 * at least 1. `user` is handed to them. false: the arena is full. */
bool spectral_frames_prepare(SpectralFrames *frames, double rate_hz, unsigned channels,
                             const SpectralTask *tasks, size_t n_tasks, void *user, Arena *arena);
void spectral_frames_reset(SpectralFrames *frames);
/* Samples until the hop ends, >= 1. */
static inline size_t spectral_frames_room(const SpectralFrames *frames) {
    return frames->hop - frames->state.at;
}
/* n <= spectral_frames_room() samples of each channel, from in[channel] + at to out[channel] + at.
 * True: the hop is over, and work on the next frame begins with the next sample. */
bool spectral_frames_process(SpectralFrames *frames, const float *const *in, float *const *out,
                             size_t at, size_t n);

#endif
