/* SPDX-License-Identifier: ISC */
#include "speech_measures.h"
#include "basic/maths.h"

#include "basic/fft.h"

#include <math.h>
#include <stdbool.h>
#include <stdlib.h>

enum { BANDS = 15, SEGMENT = 30 };

double speech_si_sdr(const float *clean, const float *processed, size_t n) {
    double ss = 0.0, ys = 0.0;
    for (size_t i = 0; i < n; i++) {
        ss += (double)clean[i] * (double)clean[i];
        ys += (double)processed[i] * (double)clean[i];
    }
    double a = ss > 0.0 ? ys / ss : 0.0, rest = 0.0;
    for (size_t i = 0; i < n; i++) {
        double e = a * (double)clean[i] - (double)processed[i];
        rest += e * e;
    }
    return 10.0 * log10((a * a * ss + 1e-20) / (rest + 1e-20 * (a * a * ss + 1.0)));
}

/* ---- Frames of both under a Hann window, `length` long and half of it apart, in `size` bins
 * ---- */

typedef struct {
    size_t length, size, count;
    float *cut, *power, *hann;
    void *memory;
    Fft fft;
} Frames;

static bool frames_open(Frames *f, size_t length, size_t n) {
    f->length = length;
    for (f->size = 16; f->size < length;)
        f->size *= 2;
    f->count = n >= length ? (n - length) / (length / 2) + 1 : 0;
    size_t room = 16 * f->size * sizeof(float) + 4096;
    f->memory = calloc(1, room);
    Arena arena = arena_over(f->memory, f->memory ? room : 0);
    f->cut = arena_take(&arena, f->size, sizeof(float));
    f->hann = arena_take(&arena, length, sizeof(float));
    f->power = arena_take(&arena, f->size / 2 + 1, sizeof(float));
    if (!fft_prepare(&f->fft, f->size, &arena) || !f->cut || !f->hann || !f->power)
        return false;
    for (size_t i = 0; i < length; i++)
        f->hann[i] = (float)(0.5 - 0.5 * cos(2.0 * PI * ((double)i + 0.5) / (double)length));
    return true;
}

static const float *frames_power(Frames *f, const float *audio, size_t frame) {
    const float *from = audio + frame * (f->length / 2);
    for (size_t i = 0; i < f->size; i++)
        f->cut[i] = i < f->length ? from[i] * f->hann[i] : 0.0f;
    fft_power(&f->fft, f->cut, f->power);
    return f->power;
}

static double frames_energy(const Frames *f, const float *audio, size_t frame) {
    const float *from = audio + frame * (f->length / 2);
    double sum = 0.0;
    for (size_t i = 0; i < f->length; i++)
        sum += (double)(from[i] * f->hann[i]) * (double)(from[i] * f->hann[i]);
    return sum;
}

/* ---- STOI ---- */

typedef double Bands[BANDS];

static void read_bands(Frames *f, const float *audio, size_t frame, double rate_hz, Bands bands) {
    const float *power = frames_power(f, audio, frame);
    for (int b = 0; b < BANDS; b++) {
        double centre = 150.0 * pow(2.0, b / 3.0) * (double)f->size / rate_hz;
        size_t from = (size_t)lround(centre * pow(2.0, -1.0 / 6.0));
        size_t to = (size_t)lround(centre * pow(2.0, 1.0 / 6.0));
        double sum = 0.0;
        for (size_t k = from; k < to && k <= f->size / 2; k++)
            sum += (double)power[k];
        bands[b] = sqrt(sum);
    }
}

/* Correlation of one band over a segment, the processed brought to the clean one's energy and
 * clipped. */
static double correlation(const Bands *clean, const Bands *processed, int b) {
    double xx = 0.0, yy = 0.0, mean_x = 0.0, mean_y = 0.0, y[SEGMENT];
    for (int i = 0; i < SEGMENT; i++) {
        xx += clean[i][b] * clean[i][b];
        yy += processed[i][b] * processed[i][b];
    }
    double scale = sqrt(xx / (yy + 1e-30)), clip = 1.0 + pow(10.0, 15.0 / 20.0);
    for (int i = 0; i < SEGMENT; i++) {
        y[i] = fmin(scale * processed[i][b], clip * clean[i][b]);
        mean_x += clean[i][b] / SEGMENT;
        mean_y += y[i] / SEGMENT;
    }
    double xy = 0.0, xd = 0.0, yd = 0.0;
    for (int i = 0; i < SEGMENT; i++) {
        double dx = clean[i][b] - mean_x, dy = y[i] - mean_y;
        xy += dx * dy;
        xd += dx * dx;
        yd += dy * dy;
    }
    return xy / (sqrt(xd * yd) + 1e-30);
}

static size_t gather(Frames *f, const float *clean, const float *processed, double rate_hz,
                     Bands *x, Bands *y) {
    double loudest = 0.0;
    for (size_t i = 0; i < f->count; i++)
        loudest = fmax(loudest, frames_energy(f, clean, i));
    size_t kept = 0;
    for (size_t i = 0; i < f->count; i++) {
        if (frames_energy(f, clean, i) < 1e-4 * loudest)
            continue;
        read_bands(f, clean, i, rate_hz, x[kept]);
        read_bands(f, processed, i, rate_hz, y[kept]);
        kept++;
    }
    return kept;
}

double speech_stoi(const float *clean, const float *processed, size_t n, double rate_hz) {
    Frames f;
    bool ok = frames_open(&f, (size_t)(0.0256 * rate_hz), n);
    Bands *x = calloc(f.count + 1, sizeof *x), *y = calloc(f.count + 1, sizeof *y);
    double sum = 0.0;
    size_t count = 0;
    size_t kept = ok && x && y ? gather(&f, clean, processed, rate_hz, x, y) : 0;
    for (size_t m = SEGMENT; m <= kept; m++)
        for (int b = 0; b < BANDS; b++, count++)
            sum +=
                correlation((const Bands *)x + (m - SEGMENT), (const Bands *)y + (m - SEGMENT), b);
    free(x);
    free(y);
    free(f.memory);
    return count > 0 ? sum / (double)count : NAN;
}

/* ---- LSD ---- */

static double distance(Frames *f, const float *clean, const float *processed, size_t frame,
                       double least, double *levels) {
    const float *power = frames_power(f, clean, frame);
    for (size_t k = 0; k <= f->size / 2; k++)
        levels[k] = 10.0 * log10(fmax((double)power[k], least));
    power = frames_power(f, processed, frame);
    double sum = 0.0;
    for (size_t k = 0; k <= f->size / 2; k++) {
        double d = levels[k] - 10.0 * log10(fmax((double)power[k], least));
        sum += d * d;
    }
    size_t bins = f->size / 2 + 1;
    return sqrt(sum / (double)bins);
}

double speech_lsd(const float *clean, const float *processed, size_t n, double rate_hz) {
    size_t length = 16;
    while ((double)length < 0.0213 * rate_hz)
        length *= 2;
    Frames f;
    bool ok = frames_open(&f, length, n);
    double *levels = calloc(f.size, sizeof *levels);
    double loudest = 0.0, sum = 0.0;
    for (size_t i = 0; ok && i < f.count; i++) {
        const float *power = frames_power(&f, clean, i);
        for (size_t k = 0; k <= f.size / 2; k++)
            loudest = fmax(loudest, (double)power[k]);
    }
    ok = ok && levels && loudest > 0.0;
    for (size_t i = 0; ok && i < f.count; i++)
        sum += distance(&f, clean, processed, i, 1e-6 * loudest, levels);
    free(levels);
    free(f.memory);
    return ok ? sum / (double)f.count : NAN;
}
