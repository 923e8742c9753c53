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
        levels->cut.p[lane] = (float)(2.0 * a1 - 1.0);
        levels->cut.q[lane] = (float)(2.0 * g * a1);
        levels->cut.r[lane] = (float)(2.0 * g * g * a1);
        levels->cut.d[lane] = (float)a1;
        levels->cut.e[lane] = (float)((k + g) * a1);
    }
}

/* The band-pass with edges low..high as the b-th of the row. */
static void design_band(BandLevels *levels, size_t b, double low_hz, double high_hz) {
    double g = tan(PI * sqrt(low_hz * high_hz) / levels->rate_hz);
    double k = (high_hz - low_hz) / sqrt(low_hz * high_hz);
    double a1 = 1.0 / (1.0 + g * (g + k)), gain = k * g * a1;
    levels->band[b / SIMD_WIDTH].c1[b % SIMD_WIDTH] = (float)(2.0 * (1.0 - g * g) * a1);
    levels->band[b / SIMD_WIDTH].c2[b % SIMD_WIDTH] = (float)((1.0 + g * (g - k)) * a1);
    levels->gain[b] = (float)gain;
    levels->scale[b] = (float)(gain * gain / ((double)levels->hop * levels->channels));
}

/* What the filters hold goes on as loud as it was, though their gain is another. */
static void match_gain(BandLevels *levels, const float old[BAND_LEVELS_ROW]) {
    for (size_t b = 0; b < BAND_LEVELS_ROW; b++) {
        float change = levels->gain[b] > 0.0f ? old[b] / levels->gain[b] : 0.0f;
        for (size_t h = b / SIMD_WIDTH; h < BAND_LEVELS_HALVES; h += BAND_LEVELS_HALVES / 2) {
            levels->state.y1[h][b % SIMD_WIDTH] *= change;
            levels->state.y2[h][b % SIMD_WIDTH] *= change;
            levels->state.sum[h][b % SIMD_WIDTH] *= change * change;
        }
    }
}

void band_levels_take_over(BandLevels *levels, const BandLevels *from) {
    levels->state = from->state;
    match_gain(levels, from->gain);
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
    float gain[BAND_LEVELS_ROW];
    memcpy(gain, levels->gain, sizeof gain);
    memset(levels->gain, 0, sizeof levels->gain);
    for (size_t b = 0; b <= bands; b++)
        levels->edge_hz[b] = (float)(low * exp2(octaves * (double)b / (double)bands));
    for (size_t b = 0; b < bands; b++)
        design_band(levels, b, (double)levels->edge_hz[b], (double)levels->edge_hz[b + 1]);
    design_band(levels, BAND_LEVELS_LOW, LOW_BAND_HZ[0], fmin(LOW_BAND_HZ[1], top));
    design_cut(levels, CUT_AT * low);
    match_gain(levels, gain);
}

/* What runs, in registers: as a copy of the state by its parts, since one of the whole would stay
 * in memory, where each frame would wait for it. */
typedef struct {
    BandLevelsCut cut;
    Simd ic1, ic2, out, before[2];
    Simd c1[2], c2[2];
    Simd y1[BAND_LEVELS_HALVES], y2[BAND_LEVELS_HALVES], sum[BAND_LEVELS_HALVES];
} Work;

static inline void begin(const BandLevels *levels, Work *w) {
    w->cut = levels->cut;
    w->ic1 = levels->state.ic1;
    w->ic2 = levels->state.ic2;
    w->out = levels->state.cut_out;
    w->before[0] = levels->state.before[0];
    w->before[1] = levels->state.before[1];
    for (int h = 0; h < 2; h++) {
        w->c1[h] = levels->band[h].c1;
        w->c2[h] = levels->band[h].c2;
    }
    for (int h = 0; h < BAND_LEVELS_HALVES; h++) {
        w->y1[h] = levels->state.y1[h];
        w->y2[h] = levels->state.y2[h];
        w->sum[h] = levels->state.sum[h];
    }
}

static inline void end(BandLevels *levels, const Work *w) {
    levels->state.ic1 = w->ic1;
    levels->state.ic2 = w->ic2;
    levels->state.cut_out = w->out;
    levels->state.before[0] = w->before[0];
    levels->state.before[1] = w->before[1];
    for (int h = 0; h < BAND_LEVELS_HALVES; h++) {
        levels->state.y1[h] = w->y1[h];
        levels->state.y2[h] = w->y2[h];
        levels->state.sum[h] = w->sum[h];
    }
}

/* One frame of the high-passes. The second stage gets what the first gave a frame ago, so that all
 * four run at once. Gives left and right in lanes 2 and 3. */
static inline void cut_step(Work *w, float left, float right) {
    Simd ic1 = w->ic1, v = (Simd){left, right, w->out[0], w->out[1]} - w->ic2;
    w->out = w->cut.d * v - w->cut.e * ic1;
    w->ic2 = (w->ic2 + w->cut.q * ic1) + w->cut.r * v;
    w->ic1 = w->cut.p * ic1 + w->cut.q * v;
}

/* What the band-passes have in common: two zeros. Left and right without what is low in lanes 0 and
 * 1, whole in 2 and 3. */
static inline Simd zeros_step(Work *w, float left, float right) {
    Simd now = {w->out[2], w->out[3], left, right}, zeroed = now - w->before[1];
    w->before[1] = w->before[0];
    w->before[0] = now;
    return zeroed;
}

/* One frame of the rows of `channels`, each in two halves. The lowest band is the last of its
 * row. */
static inline void bands_step(Work *w, Simd zeroed, const int channels) {
    for (int h = 0; h < 2 * channels; h++) {
        float above = zeroed[h / 2], whole = zeroed[2 + h / 2];
        Simd in = {above, above, above, h % 2 ? whole : above};
        Simd y = (in - w->c2[h % 2] * w->y2[h]) + w->c1[h % 2] * w->y1[h];
        w->y2[h] = w->y1[h];
        w->y1[h] = y;
        w->sum[h] += y * y;
    }
}

static inline void run(BandLevels *levels, const float *left, const float *right, size_t n,
                       const int channels) {
    Work w;
    begin(levels, &w);
    for (size_t i = 0; i < n; i++) {
        cut_step(&w, left[i], right[i]);
        bands_step(&w, zeros_step(&w, left[i], right[i]), channels);
    }
    end(levels, &w);
}

bool band_levels_process(BandLevels *levels, const float *const *in, size_t at, size_t n,
                         float power_out[BAND_LEVELS_ROW]) {
    if (levels->channels == 2)
        run(levels, in[0] + at, in[1] + at, n, 2);
    else
        run(levels, in[0] + at, in[0] + at, n, 1);
    levels->state.filled += n;
    if (levels->state.filled < levels->hop)
        return false;
    for (int half = 0; half < 2; half++) {
        Simd sum = levels->state.sum[half] + levels->state.sum[half + 2];
        for (int lane = 0; lane < SIMD_WIDTH; lane++)
            power_out[half * SIMD_WIDTH + lane] =
                sum[lane] * levels->scale[half * SIMD_WIDTH + lane];
        levels->state.sum[half] = levels->state.sum[half + 2] = simd_all(0.0f);
    }
    levels->state.filled = 0;
    return true;
}
