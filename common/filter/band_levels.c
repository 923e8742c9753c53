/* SPDX-License-Identifier: ISC */
#include "filter/band_levels.h"

#include "basic/maths.h"

#include <math.h>
#include <string.h>

static const double HOP_MS = 0.5;
static const double BAND_OCTAVES = 0.43;
static const double LEAST_RATIO = 1.26; /* a third of an octave */
static const double LOW_BAND_HZ[2] = {90.0, 1200.0};
/* Of a Butterworth filter of 4th order: 1 / (2 cos(pi/8)), 1 / (2 cos(3 pi/8)). */
static const double CUT_Q[2] = {0.541196100146197, 1.306562964876377};
static const double CUT_AT = 0.9;

void band_levels_prepare(BandLevels *levels, double rate_hz, unsigned channels) {
    double hop = floor(HOP_MS * 0.001 * rate_hz + 0.5);
    levels->rate_hz = rate_hz;
    levels->channels = channels;
    levels->hop = hop < 1.0 ? 1 : (size_t)hop;
    band_levels_reset(levels);
}

void band_levels_reset(BandLevels *levels) {
    memset(&levels->state, 0, sizeof levels->state);
}

static void design_cut(BandLevels *levels, double hz) {
    double g = tan(PI * hz / levels->rate_hz);
    for (int lane = 0; lane < SIMD_WIDTH; lane++) {
        double k = 1.0 / CUT_Q[lane / 2];
        double a1 = 1.0 / (1.0 + g * (g + k));
        levels->cut.a1[lane] = (float)a1;
        levels->cut.a2[lane] = (float)(g * a1);
        levels->cut.g[lane] = (float)g;
        levels->cut.k[lane] = (float)k;
    }
}

/* The band-pass with edges low..high as the b-th of the row. */
static void design_band(BandLevels *levels, size_t b, double low_hz, double high_hz) {
    double g = tan(PI * sqrt(low_hz * high_hz) / levels->rate_hz);
    double k = (high_hz - low_hz) / sqrt(low_hz * high_hz);
    double a1 = 1.0 / (1.0 + g * (g + k));
    levels->band[b / SIMD_WIDTH].a1[b % SIMD_WIDTH] = (float)a1;
    levels->band[b / SIMD_WIDTH].a2[b % SIMD_WIDTH] = (float)(g * a1);
    levels->band[b / SIMD_WIDTH].g2[b % SIMD_WIDTH] = (float)(2.0 * g);
    levels->scale[b] = (float)(k * k / ((double)levels->hop * levels->channels));
}

void band_levels_set(BandLevels *levels, const BandLevelsParams *params) {
    double top = 0.45 * levels->rate_hz;
    double high = fmin(fmax((double)params->high_hz, 25.0), top);
    double low = fmin(fmax((double)params->low_hz, 20.0), high / LEAST_RATIO);
    double octaves = log2(high / low);
    size_t bands = (size_t)(octaves / BAND_OCTAVES + 0.5);
    bands = bands < 1 ? 1 : bands > BAND_LEVELS_BANDS ? BAND_LEVELS_BANDS : bands;
    levels->bands = bands;
    memset(levels->band, 0, sizeof levels->band);
    memset(levels->scale, 0, sizeof levels->scale);
    for (size_t b = 0; b <= bands; b++)
        levels->edge_hz[b] = (float)(low * exp2(octaves * (double)b / (double)bands));
    for (size_t b = 0; b < bands; b++)
        design_band(levels, b, (double)levels->edge_hz[b], (double)levels->edge_hz[b + 1]);
    design_band(levels, BAND_LEVELS_LOW, LOW_BAND_HZ[0], fmin(LOW_BAND_HZ[1], top));
    design_cut(levels, CUT_AT * low);
}

/* One frame of the high-passes. The second stage gets what the first gave a frame ago, so that all
 * four run at once. Returns left and right in lanes 2 and 3. */
static inline Simd cut_step(BandLevels *levels, float left, float right) {
    Simd before = levels->state.cut_out;
    Simd x = {left, right, before[0], before[1]};
    Simd v1 = levels->cut.a1 * levels->state.cut1 + levels->cut.a2 * (x - levels->state.cut2);
    Simd v2 = levels->state.cut2 + levels->cut.g * v1;
    levels->state.cut1 = v1 + v1 - levels->state.cut1;
    levels->state.cut2 = v2 + v2 - levels->state.cut2;
    levels->state.cut_out = x - levels->cut.k * v1 - v2;
    return levels->state.cut_out;
}

/* One frame of half a row. */
static inline void bands_step(BandLevels *levels, unsigned channel, unsigned half, Simd x) {
    Simd *ic1 = &levels->state.ic1[channel][half], *ic2 = &levels->state.ic2[channel][half];
    Simd v1 = levels->band[half].a1 * *ic1 + levels->band[half].a2 * (x - *ic2);
    *ic1 = v1 + v1 - *ic1;
    *ic2 = *ic2 + levels->band[half].g2 * v1;
    levels->state.sum[channel][half] += v1 * v1;
}

static inline void row_step(BandLevels *levels, unsigned channel, float above, float x) {
    bands_step(levels, channel, 0, (Simd){above, above, above, above});
    bands_step(levels, channel, 1, (Simd){above, above, above, x});
}

/* Works on a copy, which stays in registers. */
static void process_mono(BandLevels *levels, const float *in, size_t n) {
    BandLevels l = *levels;
    for (size_t i = 0; i < n; i++)
        row_step(&l, 0, cut_step(&l, in[i], 0.0f)[2], in[i]);
    levels->state = l.state;
}

static void process_stereo(BandLevels *levels, const float *left, const float *right, size_t n) {
    BandLevels l = *levels;
    for (size_t i = 0; i < n; i++) {
        Simd above = cut_step(&l, left[i], right[i]);
        row_step(&l, 0, above[2], left[i]);
        row_step(&l, 1, above[3], right[i]);
    }
    levels->state = l.state;
}

bool band_levels_process(BandLevels *levels, const float *const *in, size_t at, size_t n,
                         float power_out[BAND_LEVELS_ROW]) {
    if (levels->channels == 2)
        process_stereo(levels, in[0] + at, in[1] + at, n);
    else
        process_mono(levels, in[0] + at, n);
    levels->state.filled += n;
    if (levels->state.filled < levels->hop)
        return false;
    for (int half = 0; half < 2; half++) {
        Simd sum = levels->state.sum[0][half] + levels->state.sum[1][half];
        for (int lane = 0; lane < SIMD_WIDTH; lane++)
            power_out[half * SIMD_WIDTH + lane] =
                sum[lane] * levels->scale[half * SIMD_WIDTH + lane];
        for (int channel = 0; channel < 2; channel++)
            levels->state.sum[channel][half] = (Simd){0.0f, 0.0f, 0.0f, 0.0f};
    }
    levels->state.filled = 0;
    return true;
}
