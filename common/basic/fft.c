/* SPDX-License-Identifier: ISC */
#include "basic/fft.h"

#include "basic/maths.h"

#include <math.h>

static void reverse_bits(uint32_t *place, size_t count) {
    unsigned bits = 0;
    while (((size_t)1 << bits) < count)
        bits++;
    for (size_t i = 0; i < count; i++) {
        uint32_t reversed = 0;
        for (unsigned b = 0; b < bits; b++)
            reversed |= (uint32_t)(i >> b & 1) << (bits - 1 - b);
        place[i] = reversed;
    }
}

bool fft_prepare(Fft *fft, size_t size, Arena *arena) {
    fft->size = size;
    fft->turn = arena_take(arena, size, sizeof(float));
    fft->place = arena_take(arena, size / 2, sizeof(uint32_t));
    fft->work = arena_take(arena, size, sizeof(float));
    if (!fft->turn || !fft->place || !fft->work)
        return false;
    for (size_t k = 0; k < size / 2; k++) {
        fft->turn[2 * k] = (float)cos(2.0 * PI * (double)k / (double)size);
        fft->turn[2 * k + 1] = (float)-sin(2.0 * PI * (double)k / (double)size);
    }
    reverse_bits(fft->place, size / 2);
    return true;
}

/* One stage: pairs `half` apart, twiddles `stride` apart. */
static void butterflies(const Fft *fft, size_t half, size_t stride) {
    size_t count = fft->size / 2;
    for (size_t block = 0; block < count; block += 2 * half) {
        float *a = fft->work + 2 * block;
        float *b = a + 2 * half;
        for (size_t k = 0; k < half; k++) {
            const float *turn = fft->turn + 2 * k * stride;
            float re = b[2 * k] * turn[0] - b[2 * k + 1] * turn[1];
            float im = b[2 * k] * turn[1] + b[2 * k + 1] * turn[0];
            b[2 * k] = a[2 * k] - re;
            b[2 * k + 1] = a[2 * k + 1] - im;
            a[2 * k] += re;
            a[2 * k + 1] += im;
        }
    }
}

/* |X[k]|^2 from Z[k] and Z[N/2 - k]: X = (E + turn O), E and O the even and odd frames' spectra. */
static float untangled(const Fft *fft, size_t k) {
    size_t count = fft->size / 2;
    const float *z = fft->work + (k == count ? 0 : 2 * k);
    const float *y = fft->work + (k == 0 || k == count ? 0 : 2 * (count - k));
    float even_re = 0.5f * (z[0] + y[0]), even_im = 0.5f * (z[1] - y[1]);
    float odd_re = 0.5f * (z[1] + y[1]), odd_im = 0.5f * (y[0] - z[0]);
    float c = k < count ? fft->turn[2 * k] : -1.0f;
    float s = k < count ? fft->turn[2 * k + 1] : 0.0f;
    float re = even_re + c * odd_re - s * odd_im;
    float im = even_im + c * odd_im + s * odd_re;
    return re * re + im * im;
}

void fft_power(Fft *fft, const float *in, float *power) {
    size_t count = fft->size / 2;
    for (size_t i = 0; i < count; i++) {
        float *to = fft->work + 2 * (size_t)fft->place[i];
        to[0] = in[2 * i];
        to[1] = in[2 * i + 1];
    }
    for (size_t half = 1, stride = count; half < count; half *= 2, stride /= 2)
        butterflies(fft, half, stride);
    for (size_t k = 0; k <= count; k++)
        power[k] = untangled(fft, k);
}
