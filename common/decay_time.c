/* SPDX-License-Identifier: ISC */
#include "decay_time.h"

#include <math.h>

static const double BEGIN_DB = 5.0, SPAN_DB = 20.0, LEAST_SPAN_DB = 15.0, OVER_FLOOR_DB = 8.0;
static const double SUSTAIN_DB = 3.0, STRAIGHT = 0.95;

enum { FEWEST = 5 }; /* points of a line */

/* The last step that still is within 3 dB of the loudest of the voice. */
static size_t last_sustained(const float *level_db, size_t n, size_t voiced) {
    float loudest = level_db[0];
    size_t last = 0;
    for (size_t i = 0; i < voiced && i < n; i++)
        loudest = level_db[i] > loudest ? level_db[i] : loudest;
    for (size_t i = 0; i < voiced && i < n; i++)
        last = (double)level_db[i] > (double)loudest - SUSTAIN_DB ? i : last;
    return last;
}

/* The first step from `from` on that is under `db`; n when there is none. */
static size_t first_under(const float *level_db, size_t from, size_t n, double db) {
    while (from < n && (double)level_db[from] > db)
        from++;
    return from;
}

/* Slope in dB a step, and r^2, of the least-squares line. */
static double slope_of(const float *level_db, size_t from, size_t to, double *straight) {
    double count = (double)(to - from), mean_x = 0.5 * (count - 1.0), mean_y = 0.0;
    double xx = 0.0, xy = 0.0, yy = 0.0;
    for (size_t i = from; i < to; i++)
        mean_y += (double)level_db[i] / count;
    for (size_t i = from; i < to; i++) {
        double x = (double)(i - from) - mean_x, y = (double)level_db[i] - mean_y;
        xx += x * x;
        xy += x * y;
        yy += y * y;
    }
    *straight = yy > 0.0 ? xy * xy / (xx * yy) : 0.0;
    return xy / xx;
}

bool decay_time_fit(const float *level_db, size_t n, size_t voiced, double step_s, double floor_db,
                    double *t60_s) {
    double straight;
    if (n < FEWEST)
        return false;
    size_t start = last_sustained(level_db, n, voiced);
    double top_db = (double)level_db[start] - BEGIN_DB;
    double bottom_db = fmax(top_db - SPAN_DB, floor_db + OVER_FLOOR_DB);
    size_t from = first_under(level_db, start, n, top_db);
    size_t to = first_under(level_db, from, n, bottom_db);
    if (top_db - bottom_db < LEAST_SPAN_DB || to >= n || to < from + FEWEST)
        return false;
    double slope = slope_of(level_db, from, to, &straight);
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
