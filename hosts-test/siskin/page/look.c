/* SPDX-License-Identifier: ISC */
#include "siskin/page/look.h"

#include "siskin/text.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { BLOCK = 4096, ARENA_BYTES = 1 << 21 };
static const double PI = 3.14159265358979323846;

static size_t columns_for(uint64_t frames, double least_frames, size_t most) {
    double wanted = floor((double)frames / least_frames);
    return wanted < 1.0 ? 1 : wanted > (double)most ? most : (size_t)wanted;
}

/* ---- waveform ---- */

static void draw_wave(Look *look, const float *in, size_t n) {
    for (size_t i = 0; i < n;) {
        uint64_t at = look->frame + i;
        size_t column = (size_t)(at * look->n_waves / look->total);
        uint64_t end = ((column + 1) * look->total + look->n_waves - 1) / look->n_waves;
        size_t until = end - look->frame < n ? (size_t)(end - look->frame) : n;
        for (; i < until; i++) {
            look->least[column] = fminf(look->least[column], in[i]);
            look->most[column] = fmaxf(look->most[column], in[i]);
        }
    }
}

/* ---- loudness ---- */

static bool open_loudness(Look *look, Arena *arena) {
    LookLoudness *l = &look->loudness;
    double length_s = (double)look->total / look->rate_hz;
    l->step_s = 0.1 * ceil(fmax(1.0, length_s / (0.1 * LOOK_LOUDNESS)));
    l->step = (size_t)lrint(l->step_s * look->rate_hz);
    l->count = (size_t)(length_s / l->step_s) + 1;
    l->lufs = text_take(l->count, sizeof *l->lufs);
    for (size_t i = 0; i < l->count; i++)
        l->lufs[i] = NAN;
    return loudness_prepare(&l->meter, look->rate_hz, look->channels, NULL, arena);
}

/* The reading after a step is that of the 3 s before it: it is kept for their middle. */
static void keep_loudness(LookLoudness *l) {
    double middle_s = (double)l->frame / (double)l->step * l->step_s - 1.5;
    long point = lround(middle_s / l->step_s);
    if (point >= 0 && point < (long)l->count)
        l->lufs[point] = (float)loudness_short_term(&l->meter);
}

static void hear_loudness(LookLoudness *l, const float *const *in, unsigned channels, size_t n) {
    for (size_t at = 0; at < n;) {
        size_t room = l->step - (size_t)(l->frame % l->step);
        size_t take = n - at < room ? n - at : room;
        const float *from[2] = {in[0] + at, in[channels - 1] + at};
        loudness_process(&l->meter, from, take);
        l->frame += take;
        at += take;
        if (take == room)
            keep_loudness(l);
    }
}

/* ---- spectrogram ---- */

static double mel(double hz) {
    return 1127.0 * log1p(hz / 700.0);
}

double look_top_hz(double rate_hz) {
    return fmin(LOOK_HIGHEST_HZ, 0.5 * rate_hz);
}

static void place_rows(LookSpectrum *s) {
    double low = mel(LOOK_LOWEST_HZ), high = mel(look_top_hz(s->rate_hz));
    for (size_t r = 0; r <= LOOK_ROWS; r++) {
        double hz = 700.0 * expm1((low + (high - low) * (double)r / LOOK_ROWS) / 1127.0);
        s->edge_bin[r] = hz * (double)s->fft.size / s->rate_hz;
    }
}

static bool open_spectrum(Look *look, Arena *arena) {
    LookSpectrum *s = &look->spectrum;
    size_t size = 16;
    while ((double)size < 0.032 * look->rate_hz)
        size *= 2;
    s->rate_hz = look->rate_hz;
    s->total = look->total;
    s->columns = columns_for(look->total, 0.01 * look->rate_hz, LOOK_SPECTRA);
    s->hop = fmin((double)look->total / (double)s->columns, 0.5 * (double)size);
    s->level = text_take(LOOK_ROWS * s->columns, 1);
    s->window = arena_take(arena, size, sizeof(float));
    s->ring = arena_take(arena, size, sizeof(float));
    s->frames = arena_take(arena, size, sizeof(float));
    s->power = arena_take(arena, size / 2 + 1, sizeof(float));
    if (!fft_prepare(&s->fft, size, arena) || !s->power)
        return false;
    for (size_t i = 0; i < size; i++)
        s->window[i] = (float)(0.5 - 0.5 * cos(2.0 * PI * ((double)i + 0.5) / (double)size));
    place_rows(s);
    return true;
}

/* The largest bin whose middle is in the row; rows narrower than a bin have the nearest. */
static float row_power(const LookSpectrum *s, size_t row) {
    long first = lround(ceil(s->edge_bin[row])), last = lround(ceil(s->edge_bin[row + 1]));
    long nearest = lround(0.5 * (s->edge_bin[row] + s->edge_bin[row + 1]));
    long top = (long)(s->fft.size / 2);
    float most = s->power[nearest < top ? nearest : top];
    for (long bin = first; bin < last && bin <= top; bin++)
        most = fmaxf(most, s->power[bin]);
    return most;
}

static uint8_t level_of(float power, size_t size) {
    /* A sine of amplitude A in a bin's middle has |X| = A N / 4, and a mean square of A^2 / 2. */
    double db = 10.0 * log10(8.0 * (double)power / ((double)size * (double)size) + 1e-20);
    double level = (db - LOOK_LOW_DB) / LOOK_LEVEL_STEP_DB;
    return level < 0.0 ? 0 : level > LOOK_LEVELS - 1 ? LOOK_LEVELS - 1 : (uint8_t)level;
}

static void add_spectrum(LookSpectrum *s) {
    size_t size = s->fft.size, oldest = (size_t)(s->frame % size);
    size_t column =
        (size_t)(((double)s->hops + 0.5) * s->hop * (double)s->columns / (double)s->total);
    for (size_t i = 0; i < size; i++)
        s->frames[i] = s->window[i] * s->ring[(oldest + i) % size];
    fft_power(&s->fft, s->frames, s->power);
    s->hops++;
    if (column >= s->columns)
        return;
    for (size_t row = 0; row < LOOK_ROWS; row++) {
        uint8_t *to = &s->level[(LOOK_ROWS - 1 - row) * s->columns + column];
        uint8_t level = level_of(row_power(s, row), size);
        *to = level > *to ? level : *to;
    }
}

/* The frame after the last one of the window of hop k, whose middle is (k + 1/2) hops. */
static uint64_t window_end(const LookSpectrum *s) {
    double middle = ((double)s->hops + 0.5) * s->hop;
    return (uint64_t)llround(middle) + s->fft.size / 2;
}

static void hear_spectrum(LookSpectrum *s, const float *in, size_t n) {
    uint64_t end = window_end(s);
    for (size_t i = 0; i < n; i++) {
        s->ring[s->frame % s->fft.size] = in[i];
        s->frame++;
        for (; s->frame == end; end = window_end(s))
            add_spectrum(s);
    }
}

/* ---- together ---- */

bool look_open(Look *look, double rate_hz, unsigned channels, uint64_t frames) {
    *look = (Look){.rate_hz = rate_hz, .channels = channels, .total = frames};
    look->memory = calloc(1, ARENA_BYTES);
    if (!look->memory)
        return false;
    Arena arena = arena_over(look->memory, ARENA_BYTES);
    look->mid = text_take(BLOCK, sizeof(float));
    look->n_waves = columns_for(frames, 1.0, LOOK_WAVES);
    look->least = text_take(look->n_waves, sizeof(float));
    look->most = text_take(look->n_waves, sizeof(float));
    for (size_t i = 0; i < look->n_waves; i++) {
        look->least[i] = INFINITY;
        look->most[i] = -INFINITY;
    }
    return open_loudness(look, &arena) && open_spectrum(look, &arena);
}

static void hear_block(Look *look, const float *const *in, size_t n) {
    const float *left = in[0], *right = in[look->channels - 1];
    for (size_t i = 0; i < n; i++)
        look->mid[i] = 0.5f * left[i] + 0.5f * right[i];
    draw_wave(look, left, n);
    if (right != left)
        draw_wave(look, right, n);
    hear_loudness(&look->loudness, in, look->channels, n);
    hear_spectrum(&look->spectrum, look->mid, n);
    look->frame += n;
}

void look_hear(Look *look, const float *const *in, size_t n) {
    for (size_t at = 0; at < n; at += BLOCK) {
        const float *from[2] = {in[0] + at, in[look->channels - 1] + at};
        hear_block(look, from, n - at < BLOCK ? n - at : BLOCK);
    }
}

void look_finish(Look *look) {
    memset(look->mid, 0, BLOCK * sizeof(float));
    size_t left = look->spectrum.fft.size;
    for (; left > BLOCK; left -= BLOCK)
        hear_spectrum(&look->spectrum, look->mid, BLOCK);
    hear_spectrum(&look->spectrum, look->mid, left);
}

void look_close(Look *look) {
    free(look->memory);
    free(look->mid);
    free(look->least);
    free(look->most);
    free(look->loudness.lufs);
    free(look->spectrum.level);
    *look = (Look){0};
}
