/* SPDX-License-Identifier: ISC */
#include "sound/spectral_frames.h"

#include "basic/simd.h"

#include <math.h>
#include <string.h>

static const double PI = 3.14159265358979323846;
static const double SHORTEST_S = 0.0426;

enum { WINDOW_COST = 2, BUTTERFLY_COST = 20, ADD_COST = 3 };

size_t spectral_frames_size(double rate_hz) {
    size_t size = 16;
    while ((double)size < SHORTEST_S * rate_hz)
        size *= 2;
    return size;
}

/* Where the frame's sample `from` lies in a ring, and how many of `count` come before the ring's
 * end. */
static size_t place(const SpectralFrames *f, size_t from, size_t count, size_t *run) {
    size_t ring = 2 * f->size, at = (f->state.end + f->size + from) & (ring - 1);
    *run = count < ring - at ? count : ring - at;
    return at;
}

static void weigh(const float *x, const float *window, float *y, size_t n) {
    for (size_t i = 0; i < n; i++)
        y[i] = x[i] * window[i];
}

/* The samples from..from + count - 1 of the frame, under the window. */
static void take(void *self, const Spectrum *unused, size_t from, size_t count) {
    const SpectralFrames *f = self;
    (void)unused;
    float *to[SPECTRAL_CHANNELS] = {f->data[0].re + from, f->data[0].im + from};
    const float *window = f->window + from;
    size_t run, at = place(f, from, count, &run);
    for (unsigned c = 0; c < f->channels && c < SPECTRAL_CHANNELS; c++) {
        weigh(f->past[c] + at, window, to[c], run);
        weigh(f->past[c], window + run, to[c] + run, count - run);
    }
    if (f->channels == 1)
        memset(to[1], 0, count * sizeof(float));
}

static void transform(void *self, const Spectrum *unused, size_t from, size_t count) {
    const SpectralFrames *f = self;
    (void)unused;
    spread_fft_run(&f->fft, f->data, from, count);
}

/* Where the spectrum is; the way back starts there, with its parts exchanged. */
static const Spectrum *spectrum(const SpectralFrames *f) {
    return &f->data[spread_fft_result(&f->fft)];
}

static void transform_back(void *self, const Spectrum *there, size_t from, size_t count) {
    const SpectralFrames *f = self;
    const Spectrum *other = there == &f->data[0] ? &f->data[1] : &f->data[0];
    const Spectrum back[2] = {{there->im, there->re}, {other->im, other->re}};
    spread_fft_run(&f->fft, back, from, count);
}

static void add_weighed(const float *x, const float *window, float *sum, size_t n) {
    for (size_t i = 0; i < n; i++)
        sum[i] += x[i] * window[i];
}

static void add(void *self, const Spectrum *unused, size_t from, size_t count) {
    const SpectralFrames *f = self;
    (void)unused;
    /* Twice through the same number of passes: it is back where it was taken. */
    const float *audio[SPECTRAL_CHANNELS] = {f->data[0].re + from, f->data[0].im + from};
    const float *window = f->back + from;
    size_t run, at = place(f, from, count, &run);
    for (unsigned c = 0; c < f->channels && c < SPECTRAL_CHANNELS; c++) {
        add_weighed(audio[c], window, f->sum[c] + at, run);
        add_weighed(audio[c] + run, window + run, f->sum[c], count - run);
    }
}

static bool take_memory(SpectralFrames *f, Arena *arena) {
    bool ok = spread_fft_prepare(&f->fft, f->size, arena);
    f->window = arena_take(arena, f->size, sizeof(float));
    f->back = arena_take(arena, f->size, sizeof(float));
    ok = ok && f->window && f->back;
    for (int i = 0; i < 2; i++) {
        f->data[i].re = arena_take(arena, f->size, sizeof(float));
        f->data[i].im = arena_take(arena, f->size, sizeof(float));
        ok = ok && f->data[i].re && f->data[i].im;
    }
    for (unsigned c = 0; c < f->channels; c++) {
        f->past[c] = arena_take(arena, 2 * f->size, sizeof(float));
        f->sum[c] = arena_take(arena, 2 * f->size, sizeof(float));
        ok = ok && f->past[c] && f->sum[c];
    }
    return ok;
}

bool spectral_frames_prepare(SpectralFrames *frames, double rate_hz, unsigned channels,
                             const SpectralTask *tasks, size_t n_tasks, void *user, Arena *arena) {
    SpectralFrames *f = frames;
    f->size = spectral_frames_size(rate_hz);
    f->hop = f->size / SPECTRAL_OVERLAP;
    f->channels = channels;
    f->user = user;
    if (!take_memory(f, arena))
        return false;
    for (size_t i = 0; i < f->size; i++) {
        double root = sin(PI * ((double)i + 0.5) / (double)f->size);
        f->window[i] = (float)root;
        f->back[i] = (float)(0.5 * root / (double)f->size);
    }
    size_t steps = spread_fft_steps(&f->fft);
    f->n_tasks = 0;
    f->tasks[f->n_tasks++] = (SpectralTask){f->size, WINDOW_COST, take};
    f->tasks[f->n_tasks++] = (SpectralTask){steps, BUTTERFLY_COST, transform};
    for (size_t i = 0; i < n_tasks; i++)
        f->tasks[f->n_tasks++] = tasks[i];
    f->tasks[f->n_tasks++] = (SpectralTask){steps, BUTTERFLY_COST, transform_back};
    f->tasks[f->n_tasks++] = (SpectralTask){f->size, ADD_COST, add};
    f->total = 0;
    for (size_t i = 0; i < f->n_tasks; i++)
        f->total += f->tasks[i].steps * f->tasks[i].cost;
    spectral_frames_reset(f);
    return true;
}

void spectral_frames_reset(SpectralFrames *frames) {
    for (unsigned c = 0; c < frames->channels; c++) {
        memset(frames->past[c], 0, 2 * frames->size * sizeof(float));
        memset(frames->sum[c], 0, 2 * frames->size * sizeof(float));
    }
    memset(&frames->state, 0, sizeof frames->state);
}

/* Goes on until `goal` of the hop's cost is done. */
static void work(SpectralFrames *f, size_t goal) {
    while (f->state.done < goal) {
        const SpectralTask *task = &f->tasks[f->state.task];
        size_t wanted = (goal - f->state.done + task->cost - 1) / task->cost;
        size_t left = task->steps - f->state.step;
        wanted = (wanted + SIMD_WIDTH - 1) / SIMD_WIDTH * SIMD_WIDTH;
        size_t count = wanted < left ? wanted : left;
        bool own = f->state.task < 2 || f->state.task >= f->n_tasks - 2;
        task->run(own ? (void *)f : f->user, spectrum(f), f->state.step, count);
        f->state.step += count;
        f->state.done += count * task->cost;
        if (f->state.step == task->steps) {
            f->state.step = 0;
            f->state.task++;
        }
    }
}

/* Takes new samples in, and hands out those that no frame will add to any more. Hops divide the
 * rings, so none of a hop's pieces steps over an end. */
static void exchange(SpectralFrames *f, const float *in, float *out, unsigned c, size_t n) {
    size_t ring = 2 * f->size;
    size_t read = (f->state.write + ring - spectral_frames_latency(f)) & (ring - 1);
    memcpy(f->past[c] + f->state.write, in, n * sizeof *in);
    memcpy(out, f->sum[c] + read, n * sizeof *out);
    memset(f->sum[c] + read, 0, n * sizeof *out);
}

bool spectral_frames_process(SpectralFrames *frames, const float *const *in, float *const *out,
                             size_t at, size_t n) {
    SpectralFrames *f = frames;
    for (unsigned c = 0; c < f->channels; c++)
        exchange(f, in[c] + at, out[c] + at, c, n);
    f->state.write = (f->state.write + n) & (2 * f->size - 1);
    f->state.at += n;
    work(f, f->total / f->hop * f->state.at + f->total % f->hop * f->state.at / f->hop);
    if (f->state.at < f->hop)
        return false;
    f->state.at = f->state.task = f->state.step = f->state.done = 0;
    f->state.end = f->state.write;
    return true;
}
