/* SPDX-License-Identifier: ISC */
#include "voice/periodicity.h"

#include <math.h>
#include <string.h>

static const double SHORTEST_LAG_S = 0.0024, LONGEST_LAG_S = 0.014;
static const float HIGH_PASS_HZ = 180.0f, HIGH_PASS_Q = 0.7071f;

void periodicity_prepare(Periodicity *p, double rate_hz, size_t hop) {
    memset(p, 0, sizeof *p);
    p->hop = hop;
    p->window = hop * PERIODICITY_HOPS;
    p->shortest = (size_t)ceil(SHORTEST_LAG_S * rate_hz);
    p->longest = (size_t)floor(LONGEST_LAG_S * rate_hz);
    svf_set(&p->high_pass, rate_hz,
            &(SvfParams){.kind = SVF_HIGH_PASS, .frequency_hz = HIGH_PASS_HZ, .q = HIGH_PASS_Q});
}

void periodicity_reset(Periodicity *p) {
    svf_reset(&p->high_pass);
    memset(&p->state, 0, sizeof p->state);
}

void periodicity_add(Periodicity *p, const float *in, size_t n) {
    float *audio = p->state.audio + p->longest + p->window - p->hop + p->state.filled;
    float *product = p->state.product[p->state.slot];
    size_t lags = p->longest - p->shortest + 1;
    svf_process(&p->high_pass, in, audio, n);
    for (size_t t = 0; t < n; t += 4) {
        const float *x = audio + t, *past = x - p->longest;
        for (size_t i = 0; i < lags; i++)
            product[i] +=
                (x[0] * past[i] + x[1] * past[i + 1]) + (x[2] * past[i + 2] + x[3] * past[i + 3]);
    }
    p->state.filled += n;
}

/* The largest of r |r| e0 over the lags, from the sums over the window. The energy of the lagged
 * stretch slides from lag to lag; in double, since a loud frame may leave a quiet rest behind. */
static float largest(const Periodicity *p, const float *sum, double energy) {
    const float *audio = p->state.audio;
    float lagged[PERIODICITY_MAX_LAG];
    size_t lags = p->longest - p->shortest + 1;
    double e = 0.0;
    for (size_t t = 0; t < p->window; t++)
        e += (double)(audio[t] * audio[t]);
    for (size_t i = 0; i < lags; i++) {
        lagged[i] = (float)e;
        e += (double)(audio[i + p->window] * audio[i + p->window]) - (double)(audio[i] * audio[i]);
    }
    float tiny = (float)energy * 1e-6f + 1e-30f, best = 0.0f;
    for (size_t i = 0; i < lags; i++) {
        float square = sum[i] * fabsf(sum[i]) / (lagged[i] + tiny);
        best = square > best ? square : best;
    }
    return best;
}

static void next_hop(Periodicity *p) {
    memmove(p->state.audio, p->state.audio + p->hop,
            (p->longest + p->window - p->hop) * sizeof *p->state.audio);
    p->state.slot = (p->state.slot + 1) % PERIODICITY_HOPS;
    memset(p->state.product[p->state.slot], 0, sizeof p->state.product[0]);
    p->state.filled = 0;
}

float periodicity_finish(Periodicity *p) {
    float sum[PERIODICITY_MAX_LAG] = {0.0f};
    for (size_t h = 0; h < PERIODICITY_HOPS; h++)
        for (size_t i = 0; i < PERIODICITY_MAX_LAG; i++)
            sum[i] += p->state.product[h][i];
    double energy = 0.0;
    for (size_t t = 0; t < p->window; t++) {
        float x = p->state.audio[p->longest + t];
        energy += (double)(x * x);
    }
    float best = largest(p, sum, energy);
    next_hop(p);
    return energy > 0.0 ? sqrtf(best / (float)energy) : 0.0f;
}
