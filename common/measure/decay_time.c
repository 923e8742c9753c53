/* SPDX-License-Identifier: ISC */
#include "measure/decay_time.h"

#include <math.h>

static const double GUARD_S = 0.05;
static const double SPAN_DB = 20.0, LEAST_SPAN_DB = 10.0, OVER_LAST_DB = 10.0;
static const float SUSTAINED = 0.5f;  /* -3 dB */
static const double OVER_FLOOR = 2.0; /* 3 dB */
static const double STRAIGHT = 0.97;

enum { FEWEST = 8 }; /* points of a line */

/* The last step that still is within 3 dB of the loudest of the voice. */
static size_t last_sustained(const float *power, size_t n, size_t voiced) {
    float loudest = power[0];
    size_t last = 0;
    for (size_t i = 0; i < voiced && i < n; i++)
        loudest = power[i] > loudest ? power[i] : loudest;
    for (size_t i = 0; i < voiced && i < n; i++)
        last = power[i] > SUSTAINED * loudest ? i : last;
    return last;
}

/* Fills left_db[i] for i < count with the level of what is left from step `from` + i on; returns
 * the count. */
static size_t integrate(const float *power, size_t from, size_t n, double floor, double *left_db) {
    size_t end = from;
    while (end < n && (double)power[end] > OVER_FLOOR * floor)
        end++;
    double sum = 0.0;
    for (size_t i = end; i-- > from;) {
        sum += (double)power[i] - floor;
        left_db[i - from] = 10.0 * log10(sum + 1e-30);
    }
    return end - from;
}

/* Slope in dB a step, and r^2, of the least-squares line over the first n. */
static double slope_of(const double *y_db, size_t n, double *straight) {
    double count = (double)n, mean_x = 0.5 * (count - 1.0), mean_y = 0.0;
    double xx = 0.0, xy = 0.0, yy = 0.0;
    for (size_t i = 0; i < n; i++)
        mean_y += y_db[i] / count;
    for (size_t i = 0; i < n; i++) {
        double x = (double)i - mean_x, y = y_db[i] - mean_y;
        xx += x * x;
        xy += x * y;
        yy += y * y;
    }
    *straight = yy > 0.0 ? xy * xy / (xx * yy) : 0.0;
    return xy / xx;
}

/* How far down the line goes: SPAN_DB, or to where what lies behind the end begins to lack. */
static double span_of(const float *power, size_t from, size_t count) {
    double first = (double)power[from], last = (double)power[from + count - 1];
    double range_db = last > 0.0 ? 10.0 * log10(first / last) - OVER_LAST_DB : SPAN_DB;
    return range_db < SPAN_DB ? range_db : SPAN_DB;
}

bool decay_time_fit(const float *power, size_t n, size_t voiced, double step_s, double floor,
                    double *t60_s) {
    double left_db[DECAY_TIME_MOST] = {0.0}, straight;
    if (n < FEWEST || n > DECAY_TIME_MOST)
        return false;
    size_t from = last_sustained(power, n, voiced) + (size_t)ceil(GUARD_S / step_s);
    size_t count = from < n ? integrate(power, from, n, floor, left_db) : 0;
    if (count < FEWEST)
        return false;
    double span_db = span_of(power, from, count);
    size_t points = 0;
    while (points < count && left_db[points] > left_db[0] - span_db)
        points++;
    if (span_db < LEAST_SPAN_DB || points < FEWEST)
        return false;
    double slope = slope_of(left_db, points, &straight);
    if (slope >= 0.0 || straight < STRAIGHT)
        return false;
    *t60_s = -60.0 / slope * step_s;
    return true;
}

double decay_time_of_room(double *t60_s, size_t n) {
    for (size_t i = 1; i < n; i++) { /* a few dozen at most: insertion */
        double value = t60_s[i];
        size_t k = i;
        for (; k > 0 && t60_s[k - 1] > value; k--)
            t60_s[k] = t60_s[k - 1];
        t60_s[k] = value;
    }
    double at = 0.25 * (double)(n - 1);
    size_t below = (size_t)at;
    size_t above = below + 1 < n ? below + 1 : below;
    return t60_s[below] + (at - (double)below) * (t60_s[above] - t60_s[below]);
}
