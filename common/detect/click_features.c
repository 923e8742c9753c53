/* SPDX-License-Identifier: ISC */
#include "detect/click_features.h"

#include "basic/maths.h"
#include "basic/simd.h"

#include <math.h>
#include <string.h>

enum { MASK = CLICK_HISTORY - 1, ROW = BAND_LEVELS_ROW, LOW = BAND_LEVELS_LOW };
static const size_t WIDTH = SIMD_WIDTH;

static const float NOTHING = -200.0f; /* dB: quieter than any level */

/* An event with what is needed of it more than once. Hops are unsigned and may wrap below 0. */
typedef struct {
    const ClickHistory *h;
    size_t n; /* bands */
    size_t start, end, peak;
    size_t best;          /* band */
    float height;         /* largest */
    const float *at_peak; /* levels */
    float most[ROW];      /* excess, largest in time */
} Event;

/* Largest and mean level of hops from..to, band by band. */
static void row_largest(const ClickHistory *h, size_t from, size_t to, float out[ROW]) {
    Simd low = simd_all(NOTHING), high = low;
    for (size_t t = from; t != to; t++) {
        low = simd_larger(low, simd_load(h->level[t & MASK]));
        high = simd_larger(high, simd_load(h->level[t & MASK] + WIDTH));
    }
    memcpy(out, &low, sizeof low);
    memcpy(out + WIDTH, &high, sizeof high);
}

static void row_mean(const ClickHistory *h, size_t from, size_t to, float out[ROW]) {
    Simd low = simd_all(0.0f), high = low;
    for (size_t t = from; t != to; t++) {
        low += simd_load(h->level[t & MASK]);
        high += simd_load(h->level[t & MASK] + WIDTH);
    }
    low /= (float)(to - from);
    high /= (float)(to - from);
    memcpy(out, &low, sizeof low);
    memcpy(out + WIDTH, &high, sizeof high);
}

/* Two at a time, so that they do not all wait for each other. */
static float largest(const float *ring, size_t from, size_t to) {
    float most = NOTHING, other = NOTHING;
    for (; to - from >= 2; from += 2) {
        most = maths_larger(most, ring[from & MASK]);
        other = maths_larger(other, ring[(from + 1) & MASK]);
    }
    if (from != to)
        most = maths_larger(most, ring[from & MASK]);
    return maths_larger(most, other);
}

static float largest_of_band(const ClickHistory *h, size_t b, size_t from, size_t to) {
    float most = NOTHING;
    for (size_t t = from; t != to; t++)
        most = maths_larger(most, h->level[t & MASK][b]);
    return most;
}

/* The n values, largest first; then NOTHING. */
static void sort(const float *values, size_t n, float sorted[ROW]) {
    for (size_t i = 0; i < ROW; i++)
        sorted[i] = i < n ? values[i] : NOTHING;
    for (size_t i = 0; i < n; i++)
        for (size_t k = i + 1; k < n; k++) {
            float a = sorted[i], b = sorted[k];
            sorted[i] = a > b ? a : b;
            sorted[k] = a > b ? b : a;
        }
}

/* The second of n sorted values, or the only one. */
static float second(const float sorted[ROW], size_t n) {
    return sorted[n > 1 ? 1 : 0];
}

static float mean_of(const float *values, size_t n) {
    float sum = 0.0f;
    for (size_t b = 0; b < n; b++)
        sum += values[b];
    return sum / (float)n;
}

static size_t find_peak(const Event *e) {
    size_t peak = e->start;
    float most = -1.0f;
    for (size_t t = e->start; t != e->end; t++) {
        float sum = mean_of(e->h->excess[t & MASK], e->n);
        peak = sum > most ? t : peak;
        most = maths_larger(sum, most);
    }
    return peak;
}

static Event open_event(const ClickHistory *h, const ClickEvent *event) {
    Event e = {.h = h, .n = h->bands, .start = event->start, .end = event->end};
    e.peak = find_peak(&e);
    e.at_peak = h->level[e.peak & MASK];
    for (size_t t = e.start; t != e.end; t++)
        for (size_t b = 0; b < ROW; b++)
            e.most[b] = maths_larger(e.most[b], h->excess[t & MASK][b]);
    for (size_t b = 1; b < e.n; b++)
        e.best = e.most[b] > e.most[e.best] ? b : e.best;
    e.height = largest(h->height, e.start, e.end);
    return e;
}

static void measure_height(const Event *e, float feature[CLICK_FEATURES]) {
    const float *excess = e->h->excess[e->peak & MASK];
    size_t n = e->n, other = n > 1 ? 1 : 0;
    float sorted[ROW], within = 0.0f;
    sort(e->most, n, sorted);
    feature[CLICK_FIRST] = sorted[0];
    feature[CLICK_SECOND] = second(sorted, n);
    sort(excess, n, sorted);
    feature[CLICK_MIDDLE] = sorted[n - 1 - n / 2];
    feature[CLICK_UPPER] = sorted[n - 1 - 3 * n / 4];
    feature[CLICK_TILT] =
        0.5f * (excess[n - 1] + excess[n - 1 - other] - excess[0] - excess[other]);
    for (size_t t = e->start; t != e->end; t++)
        within += e->h->height[t & MASK] > e->height - 6.0f ? 1.0f : 0.0f;
    feature[CLICK_WIDTH] = within;
}

static void measure_sides(const Event *e, float feature[CLICK_FEATURES]) {
    float before[ROW], after[ROW], step = 0.0f, rise = 0.0f, fall = 0.0f, change = 0.0f;
    row_mean(e->h, e->start - 18, e->start - 2, before);
    row_mean(e->h, e->end + 3, e->end + 19, after);
    for (size_t b = 0; b < e->n; b++) {
        step += after[b] - before[b];
        rise += e->at_peak[b] - before[b];
        fall += e->at_peak[b] - after[b];
    }
    feature[CLICK_STEP] = step / (float)e->n;
    feature[CLICK_RISE] = rise / (float)e->n;
    feature[CLICK_FALL] = fall / (float)e->n;
    feature[CLICK_LOW_CHANGE] = fabsf(after[LOW] - before[LOW]);
    row_mean(e->h, e->start - 50, e->start - 2, before);
    row_mean(e->h, e->end + 3, e->end + 51, after);
    for (size_t b = 0; b < e->n; b++)
        change += fabsf(after[b] - before[b]);
    feature[CLICK_FAR_CHANGE] = change / (float)e->n;
}

/* Peak over the largest of hops from..to: mean over bands. */
static float mean_over(const Event *e, size_t from, size_t to) {
    float most[ROW];
    row_largest(e->h, from, to, most);
    return mean_of(e->at_peak, e->n) - mean_of(most, e->n);
}

/* The same: mean of the best two bands. */
static float best_two_over(const Event *e, size_t from, size_t to) {
    float most[ROW], over[ROW], sorted[ROW];
    row_largest(e->h, from, to, most);
    for (size_t b = 0; b < ROW; b++)
        over[b] = e->at_peak[b] - most[b];
    sort(over, e->n, sorted);
    return 0.5f * (sorted[0] + second(sorted, e->n));
}

static void measure_standing(const Event *e, float feature[CLICK_FEATURES]) {
    size_t start = e->start, end = e->end;
    float before[ROW], after[ROW], over[ROW], sorted[ROW];
    feature[CLICK_OVER_BEFORE] = best_two_over(e, start - 60, start);
    feature[CLICK_OVER_AFTER] = best_two_over(e, end, end + 60);
    feature[CLICK_NEAR_BEFORE] = mean_over(e, start - 12, start - 1);
    feature[CLICK_NEAR_AFTER] = mean_over(e, end, end + 12);
    row_largest(e->h, start - 24, start - 1, before);
    row_largest(e->h, end + 1, end + 25, after);
    for (size_t b = 0; b < ROW; b++)
        over[b] = e->at_peak[b] - maths_larger(before[b], after[b]);
    sort(over, e->n, sorted);
    feature[CLICK_NEAR_MEAN] = mean_of(over, e->n);
    feature[CLICK_NEAR_LEAST] = sorted[e->n - 1];
    feature[CLICK_SHARP_FALL] = largest_of_band(e->h, e->best, e->peak - 1, e->peak + 2) -
                                largest_of_band(e->h, e->best, e->peak + 4, e->peak + 7);
}

/* ---- A period away ---- */

enum {
    SHORTEST_PERIOD = 5, /* hops: 2.5 ms; shorter ones leave no gaps between pulses */
    PERIODS = 40,        /* up to 22 ms */
    LONGEST_PERIOD = SHORTEST_PERIOD + PERIODS - 1,
    PAST = 48,  /* hops compared before the event, */
    COMING = 23 /* and after it */
};

/* The mean level of n hops from `from` on, in a row. */
static void unroll(const float *ring, size_t from, size_t n, float *out) {
    for (size_t i = 0; i < n; i++)
        out[i] = ring[(from + i) & MASK];
}

/* sum[j] += |near[i] - far[i + j]|, summed over i < n: four lags in a register, five of these at a
 * time. */
static void add_differences(const float *near, const float *far, size_t n, float sum[PERIODS]) {
    enum { AT_ONCE = PERIODS / SIMD_WIDTH / 2 };
    for (size_t start = 0; start < PERIODS; start += AT_ONCE * WIDTH) {
        Simd sums[AT_ONCE];
        for (size_t k = 0; k < AT_ONCE; k++)
            sums[k] = simd_load(sum + start + k * WIDTH);
        for (size_t i = 0; i < n; i++)
            for (size_t k = 0; k < AT_ONCE; k++) {
                Simd d = near[i] - simd_load(far + i + start + k * WIDTH);
                sums[k] += simd_larger(d, -d);
            }
        memcpy(sum + start, sums, sizeof sums);
    }
}

/* The lag at which the mean level on both sides of the event differs least from itself, and how
 * much less than at other lags that is, 0..1. Envelopes instead of waveforms, and absolute
 * differences, as in the average magnitude difference function (Ross et al., IEEE TASSP 22(5),
 * 353-362, 1974). */
static size_t find_period(const Event *e, float *strength) {
    float past[PAST + LONGEST_PERIOD], coming[COMING + LONGEST_PERIOD];
    float longest_first[PERIODS] = {0.0f}, difference[PERIODS]; /* by lag, the shortest first */
    float least = INFINITY, sum = 0.0f;
    size_t period = SHORTEST_PERIOD;
    unroll(e->h->mean, e->start - 1 - PAST - LONGEST_PERIOD, PAST + LONGEST_PERIOD, past);
    unroll(e->h->mean, e->end + 1, COMING + LONGEST_PERIOD, coming);
    add_differences(past + LONGEST_PERIOD, past, PAST, longest_first);
    for (size_t k = 0; k < PERIODS; k++)
        difference[k] = longest_first[PERIODS - 1 - k];
    add_differences(coming, coming + SHORTEST_PERIOD, COMING, difference);
    for (size_t k = 0; k < PERIODS; k++) {
        period = difference[k] < least ? SHORTEST_PERIOD + k : period;
        least = difference[k] < least ? difference[k] : least;
        sum += difference[k];
    }
    /* 1 dB in all on top: where nothing moves there is no period. */
    *strength = 1.0f - (least + 1.0f) / (sum / (float)PERIODS + 1.0f);
    return period;
}

static void measure_period(const Event *e, float feature[CLICK_FEATURES]) {
    float strength, best = NOTHING;
    size_t period = find_period(e, &strength), length = e->end - e->start + 2, p = e->peak;
    size_t away = period * ((length + period - 1) / period); /* outside the event */
    for (size_t b = 0; b < e->n; b++) {
        float there = maths_larger(largest_of_band(e->h, b, p - away - 1, p - away + 2),
                                   largest_of_band(e->h, b, p + away - 1, p + away + 2));
        best = maths_larger(best, e->at_peak[b] - there);
    }
    float trust = (strength - 0.2f) / 0.3f;
    trust = trust < 0.0f ? 0.0f : trust > 1.0f ? 1.0f : trust;
    feature[CLICK_PERIOD] = trust * best;
}

/* ---- The voice around ---- */

static void measure_voice(const Event *e, float feature[CLICK_FEATURES]) {
    const ClickHistory *h = e->h;
    size_t start = e->start, end = e->end, p = e->peak;
    float sides = maths_larger(largest_of_band(h, LOW, start - 24, start - 2),
                               largest_of_band(h, LOW, end + 2, end + 24));
    float quietest = -NOTHING;
    for (size_t t = start - 59; t != start - 1; t++)
        quietest = -maths_larger(-quietest, -h->smooth[t & MASK]);
    feature[CLICK_LOW_PEAK] = largest_of_band(h, LOW, start, end) - sides;
    feature[CLICK_LOW_RISE] =
        largest_of_band(h, LOW, p - 1, p + 3) - largest_of_band(h, LOW, p - 8, p - 2);
    feature[CLICK_CLOSURE] = largest(h->smooth, start - CLICK_HOPS_BEFORE, start - 20) - quietest;
    float level = h->total[p & MASK], over = level - h->voice[(start - 1) & MASK];
    feature[CLICK_COMING] = largest(h->smooth, end + 12, end + CLICK_HOPS_AFTER) - level;
    feature[CLICK_OVER_VOICE] = over;
    feature[CLICK_SIDES] = over + maths_larger(-feature[CLICK_RISE], -feature[CLICK_FALL]);
    feature[CLICK_LOW_SIDES] = sides - h->voice_low[(start - 1) & MASK];
    feature[CLICK_LENGTH] = (float)(end - start);
    feature[CLICK_RIVAL] = largest(h->height, start - 60, start - 4) - e->height;
}

void click_features(const ClickHistory *history, const ClickEvent *event,
                    float feature[CLICK_FEATURES]) {
    Event e = open_event(history, event);
    measure_height(&e, feature);
    measure_sides(&e, feature);
    measure_standing(&e, feature);
    measure_period(&e, feature);
    measure_voice(&e, feature);
}
