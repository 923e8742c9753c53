/* SPDX-License-Identifier: ISC */
#include "sound/past_sound.h"

#include "basic/maths.h"
#include "basic/simd.h"

#include <math.h>
#include <string.h>

static const double KAISER_BETA = 4.0;

/* Modified Bessel function of order 0, by its series (Abramowitz and Stegun 1964, 9.6.12). */
static double bessel(double x) {
    double term = 1.0, sum = 1.0;
    for (int k = 1; k < 40; k++) {
        term *= 0.25 * x * x / ((double)k * (double)k);
        sum += term;
    }
    return sum;
}

static size_t taps_of(double stretch) {
    return 4 * (size_t)ceil(2.0 * stretch - 1e-9);
}

static void design_row(float *row, size_t taps, double stretch, double fraction) {
    double h[PAST_SOUND_MOST_TAPS], sum = 0.0;
    for (size_t k = 0; k < taps; k++) {
        double t = (double)k + 1.0 - 0.5 * (double)taps - fraction;
        double edge = t / (0.5 * (double)taps), x = PI * t / stretch;
        double sinc = fabs(x) < 1e-9 ? 1.0 : sin(x) / x;
        double window = fabs(edge) < 1.0 ? bessel(KAISER_BETA * sqrt(1.0 - edge * edge)) : 0.0;
        h[k] = sinc * window;
        sum += h[k];
    }
    for (size_t k = 0; k < taps; k++)
        row[k] = (float)(h[k] / sum);
    /* On a frame nothing but that frame: sin(pi k) is not 0 to the last bit. */
    for (size_t k = 0; k < taps && stretch == 1.0 && (fraction == 0.0 || fraction == 1.0); k++)
        row[k] = k == taps / 2 - 1 + (size_t)fraction ? 1.0f : 0.0f;
}

static bool design(PastSoundKernel *kernel, double stretch, Arena *arena) {
    kernel->taps = taps_of(stretch);
    kernel->table = arena_take(arena, (PAST_SOUND_PHASES + 1) * kernel->taps, sizeof(float));
    if (!kernel->table)
        return false;
    for (size_t p = 0; p <= PAST_SOUND_PHASES; p++)
        design_row(kernel->table + p * kernel->taps, kernel->taps, stretch,
                   (double)p / PAST_SOUND_PHASES);
    return true;
}

bool past_sound_prepare(PastSound *past, unsigned channels, size_t frames, Arena *arena) {
    *past = (PastSound){.channels = channels, .size = 512};
    while (past->size < frames)
        past->size *= 2;
    for (unsigned c = 0; c < channels; c++)
        past->ring[c] = arena_take(arena, 2 * past->size, sizeof(float));
    bool fine = past->ring[channels - 1] != NULL && past->ring[0] != NULL;
    for (size_t k = 0; k < PAST_SOUND_KERNELS; k++)
        fine &= design(&past->kernel[k], exp2((double)k / 3.0), arena);
    return fine;
}

void past_sound_reset(PastSound *past) {
    for (unsigned c = 0; c < past->channels; c++)
        memset(past->ring[c], 0, 2 * past->size * sizeof(float));
    past->state.end = 0;
}

void past_sound_write(PastSound *past, const float *const *in, size_t at, size_t n) {
    size_t mask = past->size - 1, to = (size_t)past->state.end & mask;
    size_t first = n < past->size - to ? n : past->size - to;
    for (unsigned c = 0; c < past->channels; c++) {
        float *ring = past->ring[c];
        memcpy(ring + to, in[c] + at, first * sizeof(float));
        memcpy(ring + past->size + to, in[c] + at, first * sizeof(float));
        memcpy(ring, in[c] + at + first, (n - first) * sizeof(float));
        memcpy(ring + past->size, in[c] + at + first, (n - first) * sizeof(float));
    }
    past->state.end += (int64_t)n;
}

/* Where frame `t` lies, with half the ring and more behind it. */
static const float *frame(const PastSound *past, unsigned channel, int64_t t) {
    return past->ring[channel] + ((size_t)t & (past->size - 1));
}

void past_sound_read(const PastSound *past, unsigned channel, double start, int64_t first,
                     float *out, size_t n) {
    double whole = floor(start), place = (start - whole) * PAST_SOUND_PHASES;
    size_t phase = (size_t)place;
    float between = (float)(place - (double)phase), h[8];
    const float *row = past->kernel[0].table + phase * 8;
    const float *x = frame(past, channel, (int64_t)whole + first - 3);
    if (place == 0.0) {
        memcpy(out, x + 3, n * sizeof *out);
        return;
    }
    for (size_t k = 0; k < 8; k++)
        h[k] = row[k] + between * (row[k + 8] - row[k]);
    for (size_t i = 0; i < n; i++)
        out[i] = ((h[0] * x[i] + h[1] * x[i + 1]) + (h[2] * x[i + 2] + h[3] * x[i + 3])) +
                 ((h[4] * x[i + 4] + h[5] * x[i + 5]) + (h[6] * x[i + 6] + h[7] * x[i + 7]));
}

static const PastSoundKernel *kernel_for(const PastSound *past, double speed) {
    size_t k = 0;
    for (double reach = 1.001; k + 1 < PAST_SOUND_KERNELS && speed > reach; k++)
        reach *= 1.2599210498948732; /* 2^(1/3) */
    return &past->kernel[k];
}

void past_sound_read_at(const PastSound *past, unsigned channel, double start, double speed,
                        int64_t first, float *out, size_t n) {
    const PastSoundKernel *kernel = kernel_for(past, speed);
    const size_t taps = kernel->taps;
    for (size_t i = 0; i < n; i++) {
        double t = start + speed * (double)(first + (int64_t)i), whole = floor(t);
        double place = (t - whole) * PAST_SOUND_PHASES;
        size_t phase = (size_t)place;
        Simd between = simd_all((float)(place - (double)phase)), sum = simd_all(0.0f);
        const float *row = kernel->table + phase * taps;
        const float *x = frame(past, channel, (int64_t)whole - (int64_t)(taps / 2 - 1));
        for (size_t k = 0; k < taps; k += SIMD_WIDTH) {
            Simd low = simd_load(row + k), high = simd_load(row + k + taps);
            sum += (low + between * (high - low)) * simd_load(x + k);
        }
        out[i] = (sum[0] + sum[2]) + (sum[1] + sum[3]);
    }
}
