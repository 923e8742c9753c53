/* SPDX-License-Identifier: ISC */
#include "measure/tonality.h"

#include "basic/maths.h"

#include <math.h>

/* Krumhansl and Kessler 1982, from the tonic up. */
static const double profile[2][12] = {
    {6.35, 2.23, 3.48, 2.33, 4.38, 4.09, 2.52, 5.19, 2.39, 3.66, 2.29, 2.88},
    {6.33, 2.68, 3.52, 5.38, 2.60, 3.53, 2.54, 4.75, 3.98, 2.69, 3.34, 3.17},
};
static const bool is_note[2][12] = {
    {true, false, true, false, true, true, false, true, false, true, false, true},
    {true, false, true, true, false, true, false, true, true, false, true, true},
};
static const double CLEAR_LEAD = 0.2;

enum { A = 9 /* semitones over C */ };

static double mean_of(const double x[12]) {
    double sum = 0.0;
    for (size_t i = 0; i < 12; i++)
        sum += x[i];
    return sum / 12.0;
}

static double correlation(const double time[12], const double shape[12], unsigned tonic) {
    double mean_time = mean_of(time), mean_shape = mean_of(shape);
    double xy = 0.0, xx = 0.0, yy = 0.0;
    for (unsigned i = 0; i < 12; i++) {
        double x = time[(i + tonic) % 12] - mean_time;
        double y = shape[i] - mean_shape;
        xy += x * y;
        xx += x * x;
        yy += y * y;
    }
    return xx > 0.0 ? xy / sqrt(xx * yy) : 0.0;
}

void tonality_correlate(const double time[12], double r[TONALITY_KEYS]) {
    for (unsigned key = 0; key < TONALITY_KEYS; key++)
        r[key] = correlation(time, profile[key / 12], key % 12);
}

static double find_tuning(const double time[TONALITY_CENTS], Tonality *tonality) {
    double re = 0.0, im = 0.0, all = 0.0;
    for (size_t c = 0; c < TONALITY_CENTS; c++) {
        re += time[c] * cos(2.0 * PI * (double)c / 100.0);
        im += time[c] * sin(2.0 * PI * (double)c / 100.0);
        all += time[c];
    }
    tonality->tuning_cents = 100.0 * atan2(im, re) / (2.0 * PI);
    tonality->tuning_strength = all > 0.0 ? hypot(re, im) / all : 0.0;
    return all;
}

static void fold(const double time[TONALITY_CENTS], double tuning_cents, double semitones[12]) {
    for (size_t i = 0; i < 12; i++)
        semitones[i] = 0.0;
    for (size_t c = 0; c < TONALITY_CENTS; c++) {
        long over_a = lround(((double)c - tuning_cents) / 100.0);
        semitones[(size_t)(over_a + A + 12) % 12] += time[c];
    }
}

static unsigned best_of(const double r[TONALITY_KEYS], unsigned but) {
    unsigned best = but == 0 ? 1 : 0;
    for (unsigned key = 0; key < TONALITY_KEYS; key++)
        if (key != but && r[key] > r[best])
            best = key;
    return best;
}

bool tonality_find(const double time[TONALITY_CENTS], Tonality *tonality) {
    double semitones[12], r[TONALITY_KEYS];
    if (find_tuning(time, tonality) <= 0.0)
        return false;
    fold(time, tonality->tuning_cents, semitones);
    tonality_correlate(semitones, r);
    unsigned best = best_of(r, TONALITY_KEYS);
    unsigned next = best_of(r, best);
    tonality->tonic = best % 12;
    tonality->minor = best >= 12;
    tonality->r = r[best];
    tonality->next_tonic = next % 12;
    tonality->next_minor = next >= 12;
    tonality->next_r = r[next];
    /* A minor is the relative of C major: three semitones down, or up again. */
    tonality->relative_tonic = (tonality->tonic + (tonality->minor ? 3 : 9)) % 12;
    tonality->relative_r = r[tonality->relative_tonic + (tonality->minor ? 0 : 12)];
    tonality->parallel_r = r[(best + 12) % TONALITY_KEYS];
    double lead = fmin(1.0, (r[best] - r[next]) / CLEAR_LEAD);
    tonality->confidence = r[best] > 0.0 ? r[best] * lead : 0.0;
    return r[best] > 0.0;
}

double tonality_error_cents(const Tonality *tonality, double cents) {
    double over_tonic =
        fmod(cents - tonality->tuning_cents + 100.0 * (A + 12 - (int)tonality->tonic), 1200.0);
    if (over_tonic < 0.0)
        over_tonic += 1200.0;
    double nearest = 1200.0;
    for (int i = 0; i <= 12; i++) {
        double away = over_tonic - 100.0 * i;
        if (is_note[tonality->minor][i % 12] && fabs(away) < fabs(nearest))
            nearest = away;
    }
    return nearest;
}
