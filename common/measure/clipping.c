/* SPDX-License-Identifier: ISC */
#include "measure/clipping.h"

#include <math.h>
#include <string.h>

static const float NEAR_LARGEST = 0.98855309f; /* -0.1 dB */
static const float FULL_SCALE = 1.0f - 0x1p-15f;
static const double SHORTEST_S = 3.0 / 48000.0;

enum { FEWEST = 3 };

void clipping_prepare(Clipping *tops, double rate_hz, unsigned channels) {
    size_t frames = (size_t)ceil(SHORTEST_S * rate_hz - 1e-6);
    tops->channels = channels;
    tops->shortest = frames > FEWEST ? frames : FEWEST;
    clipping_reset(tops);
}

void clipping_reset(Clipping *tops) {
    memset(&tops->state, 0, sizeof tops->state);
}

/* A new largest sample: tops well below it were no ceiling. */
static void rise(Clipping *tops, float size) {
    if (tops->state.largest < NEAR_LARGEST * size)
        tops->state.tops = tops->state.longest = 0;
    tops->state.largest = size;
}

static void extend(Clipping *tops, size_t run, float size) {
    if (run < tops->shortest || size < NEAR_LARGEST * tops->state.largest || size <= 0.0f)
        return;
    tops->state.tops += run == tops->shortest;
    tops->state.longest = run > tops->state.longest ? run : tops->state.longest;
}

static void process_channel(Clipping *tops, unsigned c, const float *in, size_t n) {
    float last = tops->state.last[c];
    size_t run = tops->state.run[c];
    double sum = 0.0;
    for (size_t i = 0; i < n; i++) {
        float size = fabsf(in[i]);
        sum += (double)in[i];
        run = in[i] == last ? run + 1 : 1;
        last = in[i];
        tops->state.full_scale += size >= FULL_SCALE;
        if (size > tops->state.largest)
            rise(tops, size);
        extend(tops, run, size);
    }
    tops->state.sum[c] += sum;
    tops->state.last[c] = last;
    tops->state.run[c] = run;
}

void clipping_process(Clipping *tops, const float *const *in, size_t n) {
    for (unsigned c = 0; c < tops->channels; c++)
        process_channel(tops, c, in[c], n);
    tops->state.frames += n;
}

double clipping_dc(const Clipping *tops, unsigned channel) {
    return tops->state.frames ? tops->state.sum[channel] / (double)tops->state.frames : 0.0;
}
