/* SPDX-License-Identifier: ISC */
#include "filter/crossover.h"

#include "basic/one_pole.h"

#include <math.h>
#include <string.h>

static const double PI = 3.14159265358979323846;
static const double HIGHEST = 0.45;       /* of the rate */
static const float K = 1.41421356237309f; /* 1/Q of Butterworth's second order */
static const float NEAR = 1e-6f;          /* of the goal: a phase of 1e-6 */

enum { SPLITS = CROSSOVER_BANDS - 1 };

/* The sections: split 2 and its second half, the all-passes, the outer splits and their halves. */
enum { FIRST, SECOND, TURN, OUTER, LOWER, UPPER };

typedef struct {
    Simd a1, a2, a3;
} Section;

typedef struct {
    Section inner, turn, outer;
} Sections;

void crossover_prepare(Crossover *crossover, double rate_hz, unsigned channels) {
    memset(crossover, 0, sizeof *crossover);
    crossover->rate_hz = rate_hz;
    crossover->channels = channels;
    crossover->pole = (float)one_pole_coefficient(CROSSOVER_GLIDE_MS, rate_hz);
    crossover_set(crossover, &(CrossoverParams){{180.0f, 1100.0f, 5500.0f}});
    crossover_reset(crossover);
}

void crossover_reset(Crossover *crossover) {
    memset(&crossover->state, 0, sizeof crossover->state);
    memcpy(crossover->state.g, crossover->goal, sizeof crossover->state.g);
    crossover->state.fresh = true;
}

void crossover_set(Crossover *crossover, const CrossoverParams *params) {
    for (int s = 0; s < SPLITS; s++) {
        double share = fmin((double)params->split_hz[s] / crossover->rate_hz, HIGHEST);
        crossover->goal[s] = (float)tan(PI * share);
    }
    if (crossover->state.fresh)
        memcpy(crossover->state.g, crossover->goal, sizeof crossover->state.g);
}

static Section design(Simd g) {
    Section s;
    s.a1 = 1.0f / (1.0f + g * (g + K));
    s.a2 = g * s.a1;
    s.a3 = g * s.a2;
    return s;
}

/* lane: left and right of one half, left and right of the other. */
static Sections design_all(const float g[SPLITS]) {
    return (Sections){.inner = design(simd_all(g[1])),
                      .turn = design((Simd){g[2], g[2], g[0], g[0]}),
                      .outer = design((Simd){g[0], g[0], g[2], g[2]})};
}

static bool move(Crossover *crossover) {
    bool moving = false;
    for (int s = 0; s < SPLITS; s++) {
        float goal = crossover->goal[s], *g = &crossover->state.g[s];
        *g = one_pole_step(*g, goal, crossover->pole);
        if (fabsf(*g - goal) <= NEAR * goal)
            *g = goal;
        moving |= *g != goal;
    }
    return moving;
}

/* v1, band-pass, and v2, low-pass, of one section (svf.h). */
static inline void step(const Section *s, Simd x, Simd *ic1, Simd *ic2, Simd *v1, Simd *v2) {
    Simd v3 = x - *ic2;
    *v1 = s->a1 * *ic1 + s->a2 * v3;
    *v2 = *ic2 + s->a2 * *ic1 + s->a3 * v3;
    *ic1 = 2.0f * *v1 - *ic1;
    *ic2 = 2.0f * *v2 - *ic2;
}

/* `moving` is a constant where this is called, so that each call is a loop without a branch. */
static inline void run(Crossover *crossover, const float *const in[CROSSOVER_CHANNELS],
                       float *band[CROSSOVER_BANDS][CROSSOVER_CHANNELS], size_t n,
                       const bool moving) {
    const float *left = in[0], *right = in[1];
    Simd ic1[CROSSOVER_SECTIONS], ic2[CROSSOVER_SECTIONS], v1, v2;
    memcpy(ic1, crossover->state.ic1, sizeof ic1);
    memcpy(ic2, crossover->state.ic2, sizeof ic2);
    Sections sections = design_all(crossover->state.g);
    for (size_t i = 0; i < n; i++) {
        if (moving) {
            move(crossover);
            sections = design_all(crossover->state.g);
        }
        Simd x = {left[i], right[i], left[i], right[i]};
        step(&sections.inner, x, &ic1[FIRST], &ic2[FIRST], &v1, &v2);
        Simd high = x - K * v1 - v2;
        Simd half = {v2[0], v2[1], high[2], high[3]};
        step(&sections.inner, half, &ic1[SECOND], &ic2[SECOND], &v1, &v2);
        high = half - K * v1 - v2;
        half = (Simd){v2[0], v2[1], high[2], high[3]};
        step(&sections.turn, half, &ic1[TURN], &ic2[TURN], &v1, &v2);
        half = half - 2.0f * K * v1;
        step(&sections.outer, half, &ic1[OUTER], &ic2[OUTER], &v1, &v2);
        Simd low = v2;
        high = half - K * v1 - v2;
        step(&sections.outer, low, &ic1[LOWER], &ic2[LOWER], &v1, &v2);
        low = v2;
        step(&sections.outer, high, &ic1[UPPER], &ic2[UPPER], &v1, &v2);
        high = high - K * v1 - v2;
        band[0][0][i] = low[0], band[0][1][i] = low[1];
        band[1][0][i] = high[0], band[1][1][i] = high[1];
        band[2][0][i] = low[2], band[2][1][i] = low[3];
        band[3][0][i] = high[2], band[3][1][i] = high[3];
    }
    memcpy(crossover->state.ic1, ic1, sizeof ic1);
    memcpy(crossover->state.ic2, ic2, sizeof ic2);
}

void crossover_process(Crossover *crossover, const float *const *in,
                       float *band[CROSSOVER_BANDS][CROSSOVER_CHANNELS], size_t n) {
    /* One channel goes through twice, with the same result into the same place. */
    unsigned right = crossover->channels - 1;
    const float *const from[CROSSOVER_CHANNELS] = {in[0], in[right]};
    float *to[CROSSOVER_BANDS][CROSSOVER_CHANNELS];
    for (int b = 0; b < CROSSOVER_BANDS; b++) {
        to[b][0] = band[b][0];
        to[b][1] = band[b][right];
    }
    bool moving = false;
    for (int s = 0; s < SPLITS; s++)
        moving |= crossover->state.g[s] != crossover->goal[s];
    if (moving)
        run(crossover, from, to, n, true);
    else
        run(crossover, from, to, n, false);
    crossover->state.fresh &= n == 0;
}
