/* SPDX-License-Identifier: ISC */
#include "basic/viterbi.h"

#include <string.h>

enum {
    MASK = VITERBI_RING - 1,
    ENTERED = VITERBI_STATES /* from[][0]: came in by a whole run */
};
static const unsigned START = 1;

void viterbi_prepare(Viterbi *path, const float cost[VITERBI_STATES][VITERBI_STATES]) {
    memcpy(path->cost, cost, sizeof path->cost);
    viterbi_reset(path);
}

/* A path begins in START: the others are out of reach until the first change. */
void viterbi_reset(Viterbi *path) {
    memset(&path->state, 0, sizeof path->state);
    for (unsigned j = 0; j < VITERBI_STATES; j++)
        path->state.score[j] = j == START ? 0.0 : -1e9;
    for (size_t t = 0; t < VITERBI_RING; t++) {
        path->state.enter[t] = -1e9;
        path->state.entered_from[t] = (unsigned char)START;
        memset(path->state.from[t], (int)START, VITERBI_STATES);
    }
}

void viterbi_set(Viterbi *path, size_t least, size_t lag) {
    path->least = least;
    path->lag = lag;
}

/* The best state i to have been in before j, among those from `first` up. */
static unsigned best_before(const Viterbi *path, unsigned first, unsigned j, double *score) {
    unsigned best = first;
    *score = path->state.score[first] - (double)path->cost[first][j];
    for (unsigned i = first + 1; i < VITERBI_STATES; i++) {
        double s = path->state.score[i] - (double)path->cost[i][j];
        best = s > *score ? i : best;
        *score = s > *score ? s : *score;
    }
    return best;
}

/* Moves all scores by one step and notes where each came from. */
static void advance(Viterbi *path, const float likelihood[VITERBI_STATES]) {
    size_t t = path->state.step & MASK;
    double next[VITERBI_STATES], entering;
    path->state.entered_from[t] = (unsigned char)best_before(path, 1, 0, &entering);
    path->state.enter[t] = entering - path->state.sum;
    path->state.sum += (double)likelihood[0];

    double stay = path->state.score[0] + (double)likelihood[0];
    double whole = path->state.enter[(path->state.step + 1 - path->least) & MASK] + path->state.sum;
    next[0] = stay >= whole ? stay : whole;
    path->state.from[t][0] = stay >= whole ? 0 : ENTERED;
    for (unsigned j = 1; j < VITERBI_STATES; j++) {
        path->state.from[t][j] = (unsigned char)best_before(path, 0, j, &next[j]);
        next[j] += (double)likelihood[j];
    }
    memcpy(path->state.score, next, sizeof next);
    path->state.step++;
}

unsigned viterbi_step(Viterbi *path, const float likelihood[VITERBI_STATES]) {
    advance(path, likelihood);
    unsigned state = 0;
    for (unsigned j = 1; j < VITERBI_STATES; j++)
        state = path->state.score[j] > path->state.score[state] ? j : state;
    size_t back = 0, t = path->state.step - 1;
    while (back < path->lag) {
        unsigned from = path->state.from[(t - back) & MASK][state];
        if (from != ENTERED) {
            back++;
            state = from;
        } else if (back + path->least > path->lag) {
            return 0;
        } else {
            back += path->least;
            state = path->state.entered_from[(t + 1 - back) & MASK];
        }
    }
    return state;
}
