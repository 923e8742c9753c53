/* SPDX-License-Identifier: ISC */
#include "filter/band_ratio.h"

#include "basic/maths.h"

#include <math.h>
#include <string.h>

static const double HOP_MS = 0.5;
static const double BUTTERWORTH_K = 1.41421356237309505; /* 1/Q of the second-order filter */
static const float LOW_SHARE = 0.3f, HIGH_SHARE = 0.45f; /* of the rate */
static const float LEAST_WIDTH = 1.25f;                  /* high over low edge */
static const float MOST_MISSING_DB = 6.0f;

void band_ratio_prepare(BandRatio *b, double rate_hz) {
    memset(b, 0, sizeof *b);
    b->rate_hz = rate_hz;
    b->hop = (size_t)lrint(rate_hz * HOP_MS * 1e-3);
    b->hop_rate = rate_hz / (double)b->hop;
    double sum = 0.0, hann[BAND_RATIO_WINDOW];
    for (int i = 0; i < BAND_RATIO_WINDOW; i++) {
        hann[i] = 0.5 - 0.5 * cos(2.0 * PI * (i + 0.5) / BAND_RATIO_WINDOW);
        sum += hann[i];
    }
    /* The mean over the hop and over both channels is taken here, once. */
    for (int i = 0; i < BAND_RATIO_WINDOW; i++)
        b->weight[i] = (float)(hann[i] / (sum * 2.0 * (double)b->hop));
    band_ratio_reset(b);
}

void band_ratio_reset(BandRatio *b) {
    memset(&b->state, 0, sizeof b->state);
}

static void design(BandRatioFilters *f, size_t lane, double rate_hz, float hz) {
    double g = tan(PI * hz / rate_hz);
    double a1 = 1.0 / (1.0 + g * (g + BUTTERWORTH_K));
    f->a1[lane] = (float)a1;
    f->a2[lane] = (float)(g * a1);
    f->a3[lane] = (float)(g * g * a1);
    f->b1[lane] = (float)(2.0 * a1 - 1.0);
    f->b2[lane] = (float)(2.0 * g * a1);
    f->damp[lane] = (float)((g + BUTTERWORTH_K) * a1);
}

static float lowest(const BandRatio *b, float hz) {
    return fminf(hz, LOW_SHARE * (float)b->rate_hz);
}

static float highest(const BandRatio *b, float low_hz, float hz) {
    return fminf(fmaxf(hz, LEAST_WIDTH * low_hz), HIGH_SHARE * (float)b->rate_hz);
}

static void set_lanes(BandRatio *b, size_t first, float low_hz, float high_hz) {
    for (size_t l = first; l < first + 2; l++) {
        design(&b->high_pass, l, b->rate_hz, low_hz);
        design(&b->low_pass, l, b->rate_hz, high_hz);
    }
}

void band_ratio_set(BandRatio *b, const BandRatioParams *params) {
    /* Floats without padding: the same bits need no new design.
     * NOLINTNEXTLINE(bugprone-suspicious-memory-comparison,cert-exp42-c,cert-flp37-c) */
    if (memcmp(params, &b->params, sizeof *params) == 0)
        return;
    b->params = *params;
    float voice_low = lowest(b, params->voice_low_hz);
    set_lanes(b, 2, voice_low, highest(b, voice_low, params->voice_high_hz));
    float low = lowest(b, params->band_low_hz);
    float high = highest(b, low, params->band_high_hz);
    set_lanes(b, 0, low, high);
    b->low_hz = low;
    b->high_hz = high;
    float wanted = fmaxf(params->band_high_hz, LEAST_WIDTH * low) - low;
    b->missing_db = fminf(10.0f * log10f(wanted / (high - low)), MOST_MISSING_DB);
}

size_t band_ratio_room(const BandRatio *b) {
    return b->hop - b->state.frame;
}

/* svf_step() of a high-pass, then of a low-pass, in their shortest form: with r = v2 - ic2,
 * the high-pass is a1 (v3 - (g + k) ic1), the low-pass ic2 + r, and ic2 moves by 2 r. */
void band_ratio_feed(BandRatio *b, const float *left, const float *right, size_t n) {
    const BandRatioFilters h = b->high_pass, l = b->low_pass;
    Simd high1 = b->state.high1, high2 = b->state.high2;
    Simd low1 = b->state.low1, low2 = b->state.low2;
    Simd last = b->state.last, last_slope = b->state.last_slope;
    Simd power = b->state.power, whole = b->state.whole;
    Simd slopes = b->state.slope, curves = b->state.curve;
    for (size_t i = 0; i < n; i++) {
        const Simd x = {left[i], right[i], left[i], right[i]};
        Simd v3 = x - high2;
        Simd r = h.a2 * high1 + h.a3 * v3;
        Simd high = h.a1 * v3 - h.damp * high1;
        high1 = h.b1 * high1 + h.b2 * v3;
        high2 += r + r;

        Simd w3 = high - low2;
        Simd q = l.a2 * low1 + l.a3 * w3;
        Simd y = low2 + q;
        low1 = l.b1 * low1 + l.b2 * w3;
        low2 = y + q;

        Simd slope = y - last, curve = slope - last_slope;
        last = y;
        last_slope = slope;
        power += y * y;
        whole += high * high;
        slopes += slope * slope;
        curves += curve * curve;
    }
    b->state.high1 = high1, b->state.high2 = high2;
    b->state.low1 = low1, b->state.low2 = low2;
    b->state.last = last, b->state.last_slope = last_slope;
    b->state.power = power, b->state.whole = whole;
    b->state.slope = slopes, b->state.curve = curves;
    b->state.frame += n;
}

bool band_ratio_hop(BandRatio *b, BandPowers *powers) {
    if (b->state.frame < b->hop)
        return false;
    b->state.frame = 0;
    b->state.newest = (b->state.newest + 1) % BAND_RATIO_WINDOW;
    float *hop = b->state.ring[b->state.newest];
    hop[0] = b->state.power[0] + b->state.power[1];
    hop[1] = b->state.power[2] + b->state.power[3];
    hop[2] = b->state.slope[0] + b->state.slope[1];
    hop[3] = b->state.curve[0] + b->state.curve[1];
    hop[4] = b->state.whole[2] + b->state.whole[3];
    b->state.power = b->state.whole = b->state.slope = b->state.curve = simd_all(0.0f);

    float total[BAND_RATIO_SUMS] = {0.0f};
    for (size_t i = 0, at = b->state.newest; i < BAND_RATIO_WINDOW; i++) {
        for (size_t k = 0; k < BAND_RATIO_SUMS; k++)
            total[k] += b->weight[i] * b->state.ring[at][k];
        at = at == 0 ? BAND_RATIO_WINDOW - 1 : at - 1;
    }
    *powers = (BandPowers){.band = total[0],
                           .voice = total[1],
                           .whole = total[4],
                           .slope = total[2],
                           .curve = total[3]};
    return true;
}

size_t band_ratio_age(const BandRatio *b) {
    return b->hop * BAND_RATIO_WINDOW / 2;
}
