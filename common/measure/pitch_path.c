/* SPDX-License-Identifier: ISC */
#include "measure/pitch_path.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Boersma 1993, and what Praat has as defaults since. */
static const float VOICING = 0.45f, SILENCE = 0.03f, OCTAVE = .03f;
static const float OCTAVE_JUMP = 0.35f, VOICE_CHANGE = 0.14f;
static const double STEP_S = 0.01; /* for which the costs of changes are meant */
static const double LOUD = 0.95;   /* quantile */

enum { NONE = PITCH_CANDIDATES, STATES };

static int by_size(const void *a, const void *b) {
    float x = *(const float *)a, y = *(const float *)b;
    return (x > y) - (x < y);
}

/* Over the moments that are not digital silence. 0: there are none, or memory is out. */
static float loud_level(const PitchMoment *moments, size_t n) {
    float *level = malloc((n + 1) * sizeof *level);
    size_t count = 0;
    for (size_t i = 0; level && i < n; i++)
        if (moments[i].level > 0.0f)
            level[count++] = moments[i].level;
    if (count)
        qsort(level, count, sizeof *level, by_size);
    float loud = count ? level[(size_t)(LOUD * (double)(count - 1))] : 0.0f;
    free(level);
    return loud;
}

/* What each state is worth at a moment; less than anything where there is no candidate. */
static void score_moment(const PitchMoment *moment, float loud, float score[STATES]) {
    float share = loud > 0.0f ? moment->level / loud : 0.0f;
    float silence = 2.0f - share / (SILENCE / (1.0f + VOICING));
    score[NONE] = VOICING + (silence > 0.0f ? silence : 0.0f);
    for (size_t i = 0; i < PITCH_CANDIDATES; i++) {
        float hz = moment->hz[i];
        score[i] =
            hz > 0.0f ? moment->strength[i] + OCTAVE * log2f(hz / (float)PITCH_CANDIDATES_LOWEST_HZ)
                      : -INFINITY;
    }
}

static float change_cost(const PitchMoment *from, size_t i, const PitchMoment *to, size_t k,
                         float scale) {
    if (i == NONE || k == NONE)
        return i == k ? 0.0f : scale * VOICE_CHANGE;
    return scale * OCTAVE_JUMP * fabsf(log2f(to->hz[k] / from->hz[i]));
}

/* The best way to state k of the next moment. */
static unsigned char best_from(const PitchMoment *from, const PitchMoment *to, size_t k,
                               const float sum[STATES], float scale, float *best) {
    unsigned char which = NONE;
    *best = -INFINITY;
    for (size_t i = 0; i < STATES; i++) {
        if (sum[i] == -INFINITY)
            continue;
        float way = sum[i] - change_cost(from, i, to, k, scale);
        if (way > *best) {
            *best = way;
            which = (unsigned char)i;
        }
    }
    return which;
}

static void advance(const PitchMoment *from, const PitchMoment *to, const float score[STATES],
                    float scale, float sum[STATES], unsigned char came[STATES]) {
    float next[STATES], most = -INFINITY;
    for (size_t k = 0; k < STATES; k++) {
        next[k] = -INFINITY;
        if (score[k] == -INFINITY)
            continue;
        float best;
        came[k] = best_from(from, to, k, sum, scale, &best);
        next[k] = best + score[k];
        most = next[k] > most ? next[k] : most;
    }
    for (size_t k = 0; k < STATES; k++) /* so that the sums of a long take stay exact */
        sum[k] = next[k] - most;
}

bool pitch_path(const PitchMoment *moments, size_t n, double step_s, float *hz) {
    if (n == 0)
        return true;
    unsigned char(*came)[STATES] = calloc(n, sizeof *came);
    if (!came)
        return false;
    const float loud = loud_level(moments, n), scale = (float)(STEP_S / step_s);
    float sum[STATES], score[STATES];
    score_moment(&moments[0], loud, sum);
    for (size_t i = 1; i < n; i++) {
        score_moment(&moments[i], loud, score);
        advance(&moments[i - 1], &moments[i], score, scale, sum, came[i]);
    }
    size_t state = NONE;
    for (size_t k = 0; k < STATES; k++)
        state = sum[k] > sum[state] ? k : state;
    for (size_t i = n; i-- > 0;) {
        hz[i] = state == NONE ? 0.0f : moments[i].hz[state];
        state = came[i][state];
    }
    free(came);
    return true;
}
