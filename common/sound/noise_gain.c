/* SPDX-License-Identifier: ISC */
#include "sound/noise_gain.h"

#include "basic/decibel.h"
#include "basic/one_pole.h"
#include "basic/simd_math.h"
#include "sound/spectral_frames.h"

#include <math.h>
#include <string.h>

static const float ALPHA = 0.94f, BETA = 0.7f;
static const float LEAST_XI = 0.0031623f;     /* -25 dB */
static const float MOST_GAMMA = 1e6f;         /* 60 dB: what is over it is no noise at all */
static const float PER_ZETA_LOW = 10.0f;      /* 1 over -10 dB */
static const float PER_ZETA_LOG2 = 0.602060f; /* 1 over the octaves from -10 to -5 dB */
static const float LEAST_PRESENCE = 0.05f;    /* q is at most 0.95 */
static const float NOTHING = 1e-18f;          /* -200 dBFS and less in a bin: no noise */
static const double BAND_MEAN_MS = 20.0, DEVIATIONS = 3.0, BAND_RATIO = 1.26;
static const double FALL_DB_S = 500.0, HIGH_HZ = 4000.0;
static const double DB_PER_LOG2 = 6.0205999132796239;
/* log2 v at both ends of the table: below, E1 is a straight line in log v; above, it is nothing. */
static const float TABLE_FROM = -16.0f, TABLE_TO = 4.0f;

enum { LEAST_BAND = 4, ARRAYS = 7 };

/* E1(x) = integral from x of exp(-t)/t: Abramowitz and Stegun 5.1.11, and for x > 1 the continued
 * fraction 5.1.22, from its end. */
static double exponential_integral(double x) {
    if (x > 1.0) {
        double tail = x;
        for (int n = 60; n > 0; n--)
            tail = x + (double)n / (1.0 + (double)n / tail);
        return exp(-x) / tail;
    }
    double sum = -0.57721566490153286 - log(x), term = -1.0;
    for (int n = 1; n <= 30; n++) {
        term *= -x / (double)n;
        sum += term / (double)n;
    }
    return sum;
}

static void fill_table(NoiseGain *gain) {
    double step = (double)(TABLE_TO - TABLE_FROM) / NOISE_GAIN_TABLE;
    for (int i = 0; i <= NOISE_GAIN_TABLE; i++) {
        double v = exp2((double)TABLE_FROM + step * (double)i);
        gain->table[i] = (float)(0.5 * exponential_integral(v) / log(2.0));
    }
}

static void lay_bands(NoiseGain *gain, double rate_hz) {
    double bin_hz = 0.5 * rate_hz / (double)(gain->bins - 1);
    double hop_ms = 500.0 / bin_hz / 2.0; /* N/4 samples: a quarter of 1 / bin_hz */
    gain->keep = (float)one_pole_coefficient(BAND_MEAN_MS, 1000.0 / hop_ms);
    gain->fall = (float)(FALL_DB_S * hop_ms / 1000.0 / DB_PER_LOG2);
    gain->bands = gain->high = 0;
    for (size_t k = 0; k < gain->bins;) {
        size_t next = (size_t)((double)k * BAND_RATIO);
        next = next < k + LEAST_BAND ? k + LEAST_BAND : next;
        bool last = next + LEAST_BAND > gain->bins || gain->bands == NOISE_GAIN_BANDS - 1;
        gain->edge[gain->bands] = k;
        gain->high += (double)k * bin_hz < HIGH_HZ;
        k = last ? gain->bins : next;
        /* gamma of a room has deviation 1; under this window a bin shares about half with its
         * neighbours, and the smoothing is worth about two frames that do not overlap. */
        double width = (double)(k - gain->edge[gain->bands]);
        gain->chance[gain->bands++] = (float)(1.0 + DEVIATIONS / sqrt(width));
    }
    gain->edge[gain->bands] = gain->bins;
}

static void list_arrays(NoiseGain *gain, float **arrays[ARRAYS]) {
    float **all[ARRAYS] = {&gain->gamma, &gain->zeta,     &gain->xi,   &gain->prior,
                           &gain->gain,  &gain->presence, &gain->least};
    memcpy(arrays, all, sizeof all);
}

bool noise_gain_prepare(NoiseGain *gain, double rate_hz, size_t bins, Arena *arena) {
    gain->bins = bins;
    /* Four bins are computed together: the last ones may lie beyond the end. */
    gain->room = (bins + SIMD_WIDTH - 1) / SIMD_WIDTH * SIMD_WIDTH + 2;
    float **arrays[ARRAYS];
    list_arrays(gain, arrays);
    for (int i = 0; i < ARRAYS; i++)
        if (!(*arrays[i] = arena_take(arena, gain->room, sizeof(float))))
            return false;
    fill_table(gain);
    lay_bands(gain, rate_hz);
    noise_gain_set(gain, &(NoiseGainParams){.depth_db = 0.0f});
    noise_gain_reset(gain);
    return true;
}

void noise_gain_reset(NoiseGain *gain) {
    float **arrays[ARRAYS];
    list_arrays(gain, arrays);
    for (int i = 0; i < ARRAYS; i++)
        memset(*arrays[i], 0, gain->room * sizeof(float));
    memset(&gain->state, 0, sizeof gain->state);
}

void noise_gain_set(NoiseGain *gain, const NoiseGainParams *params) {
    gain->floor_log2 = (float)(-(double)params->depth_db / DB_PER_LOG2);
    gain->bias = (float)pow(10.0, (double)params->sensitivity_db / 10.0);
}

void noise_gain_begin(NoiseGain *gain, float share, bool periodic) {
    gain->state.share = share;
    gain->state.voiced -= gain->state.voiced > 0;
    if (periodic)
        gain->state.voiced = SPECTRAL_OVERLAP;
    gain->state.all_zeta = 0.0f;
}

static inline float at_most(float x, float most) {
    return x < most ? x : most;
}

static inline float at_least(float x, float least) {
    return x > least ? x : least;
}

void noise_gain_compare(NoiseGain *gain, const float *power, const float *noise, size_t from,
                        size_t count) {
    float *gamma = gain->gamma, *zeta = gain->zeta + 1, bias = gain->bias;
    const float *xi = gain->xi;
    for (size_t k = from; k < from + count; k++)
        gamma[k] = at_most(power[k] / (bias * noise[k] + NOTHING), MOST_GAMMA);
    for (size_t k = from; k < from + count; k++)
        zeta[k] = xi[k] + BETA * (zeta[k] - xi[k]);
    /* Beyond the ends it is as at the ends. */
    gain->zeta[0] = zeta[0];
    zeta[gain->bins] = zeta[gain->bins - 1];
}

/* 0 at -10 dB, 1 at -5 dB. */
static inline float presence(float zeta) {
    float share = PER_ZETA_LOG2 * decibel_fast_log2(zeta * PER_ZETA_LOW + 1e-10f);
    return at_most(at_least(share, 0.0f), 1.0f);
}

void noise_gain_bands(NoiseGain *gain, size_t from, size_t count) {
    for (size_t b = from; b < from + count; b++) {
        float gamma = 0.0f, zeta = 0.0f;
        for (size_t k = gain->edge[b]; k < gain->edge[b + 1]; k++) {
            gamma += gain->gamma[k];
            zeta += gain->zeta[k + 1];
        }
        float width = (float)(gain->edge[b + 1] - gain->edge[b]);
        float mean = one_pole_step(gain->state.mean[b], gamma / width, gain->keep);
        gain->state.mean[b] = mean;
        float here = presence(zeta / width);
        gain->state.all_zeta += zeta;
        float sound = at_least(mean - gain->chance[b], 0.0f) / (mean + 1e-6f);
        bool judged = b >= gain->high || gain->state.voiced == 0;
        /* log2 of the root; -33 where there is none, which is under any floor. */
        float least = judged ? 0.5f * decibel_fast_log2(sound + 1e-20f) : -33.0f;
        for (size_t k = gain->edge[b]; k < gain->edge[b + 1]; k++) {
            gain->presence[k] = here;
            gain->least[k] = least;
        }
    }
}

static inline float table_at(const NoiseGain *gain, float v_log2) {
    float at = (v_log2 - TABLE_FROM) * (NOISE_GAIN_TABLE / (TABLE_TO - TABLE_FROM));
    at = at_most(at_least(at, 0.0f), (float)NOISE_GAIN_TABLE - 1e-3f);
    int i = (int)at;
    return gain->table[i] + (at - (float)i) * (gain->table[i + 1] - gain->table[i]);
}

/* presence() of four. */
static inline Simd presences(Simd zeta) {
    Simd share = PER_ZETA_LOG2 * simd_fast_log2(zeta * PER_ZETA_LOW + 1e-10f);
    return simd_at_most(simd_at_least(share, simd_all(0.0f)), simd_all(1.0f));
}

/* p of four bins; A by the mean of each and its neighbours. */
static inline Simd speech(const NoiseGain *gain, size_t k, float all, Simd xi, Simd v) {
    const float *zeta = gain->zeta + k;
    Simd mean = (simd_load(zeta) + simd_load(zeta + 1) + simd_load(zeta + 2)) * (1.0f / 3.0f);
    Simd here = all * simd_load(gain->presence + k) * presences(mean);
    here = simd_at_least(here, simd_all(LEAST_PRESENCE));
    return here / (here + (1.0f - here) * (1.0f + xi) * simd_fast_exp2(-1.44269504f * v));
}

/* second: s. */
static inline void decide_four(NoiseGain *gain, size_t k, float all, float second) {
    Simd gamma = simd_load(gain->gamma + k), prior = simd_load(gain->prior + k);
    Simd fresh = simd_at_least(gamma - 1.0f, simd_all(0.0f));
    Simd xi = simd_at_least(fresh + ALPHA * (prior - fresh), simd_all(LEAST_XI));
    Simd wiener = xi / (1.0f + xi), v = gamma * wiener;
    Simd v_log2 = simd_fast_log2(v + 1e-12f), integral = simd_all(0.0f);
    for (size_t i = 0; i < SIMD_WIDTH; i++)
        integral[i] = table_at(gain, v_log2[i]);
    Simd g1 = simd_fast_log2(wiener) + integral;
    Simd left = simd_at_most(simd_fast_exp2(2.0f * g1), simd_all(1.0f)) * gamma;
    Simd g2 = simd_fast_log2(left / (1.0f + left) + 1e-12f);
    Simd p = speech(gain, k, all, xi, v);
    Simd g = p * (g1 + second * (g2 - g1)) + (1.0f - p) * gain->floor_log2;
    g = simd_at_least(g, simd_at_least(simd_load(gain->least + k), simd_all(gain->floor_log2)));
    g = simd_at_least(g, simd_load(gain->gain + k) - gain->fall);
    simd_store(gain->gain + k, simd_at_most(g, simd_all(0.0f)));
    simd_store(gain->xi + k, xi);
    simd_store(gain->prior + k, left);
}

void noise_gain_decide(NoiseGain *gain, size_t from, size_t count) {
    float all = presence(gain->state.all_zeta / (float)gain->bins);
    float second = gain->state.voiced > 0 ? 1.0f : all;
    for (size_t k = from; k < from + count; k += SIMD_WIDTH)
        decide_four(gain, k, all, second);
}
