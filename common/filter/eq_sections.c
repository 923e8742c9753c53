/* SPDX-License-Identifier: ISC */
#include "filter/eq_sections.h"

#include <math.h>
#include <string.h>

enum { D, A2, A3, M0, M1, M2 };

static EqSection section_of(const Matched *f) {
    double low = 1.0 + f->a1 + f->a2, high = 1.0 - f->a1 + f->a2;
    double g = sqrt(low / high), gk = 2.0 * (1.0 - f->a2) / high;
    double a1 = 0.25 * high; /* 1 / (1 + g k + g^2) */
    double at_half = (f->b0 - f->b1 + f->b2) / high, at_zero = (f->b0 + f->b1 + f->b2) / low;
    double band = 2.0 * (f->b0 - f->b2) / (high * g);
    return (EqSection){{[D] = (float)((gk + g * g) * a1),
                        [A2] = (float)(g * a1),
                        [A3] = (float)(g * g * a1),
                        [M0] = (float)at_half,
                        [M1] = (float)(band - at_half * gk / g),
                        [M2] = (float)(at_zero - at_half)}};
}

/* The output is the input, whatever the states are. */
static void pass(EqSection *section) {
    section->of[M0] = 1.0f;
    section->of[M1] = section->of[M2] = 0.0f;
}

static void forget(EqSections *eq, unsigned which) {
    eq->state.ic1[which] = eq->state.ic2[which] = simd_all(0.0f);
}

/* The end of a fade: exactly at the goals. */
static void arrive(EqSections *eq) {
    eq->state.left = 0;
    memset(eq->state.step, 0, sizeof eq->state.step);
    memcpy(eq->state.now, eq->state.goal, sizeof eq->state.now);
    for (unsigned s = 0; s < EQ_SECTIONS; s++) {
        eq->state.works[s] &= !eq->state.goes[s];
        if (!eq->state.works[s])
            forget(eq, s);
    }
}

void eq_sections_prepare(EqSections *eq, double rate_hz) {
    memset(eq, 0, sizeof *eq);
    eq->fade = (size_t)lrint(EQ_FADE_MS * 1e-3 * rate_hz);
    eq_sections_reset(eq);
}

void eq_sections_reset(EqSections *eq) {
    arrive(eq);
    for (unsigned s = 0; s < EQ_SECTIONS; s++)
        forget(eq, s);
    eq->state.fresh = true;
}

void eq_sections_aim(EqSections *eq, unsigned which, const Matched *filter) {
    EqSection *goal = &eq->state.goal[which], *now = &eq->state.now[which];
    if (!filter && !eq->state.works[which])
        return;
    if (filter)
        *goal = section_of(filter);
    else
        pass(goal);
    if (!eq->state.works[which]) {
        *now = *goal;
        pass(now);
    }
    eq->state.works[which] = true;
    eq->state.goes[which] = !filter;
    eq->state.left = eq->fade;
    const float per_frame = 1.0f / (float)eq->fade;
    for (unsigned s = 0; s < EQ_SECTIONS; s++)
        for (int k = 0; k < EQ_COEFFICIENTS; k++)
            eq->state.step[s].of[k] =
                (eq->state.goal[s].of[k] - eq->state.now[s].of[k]) * per_frame;
}

/* The sections `which`, `count` of them. `count` and `moving` are constants wherever it is called,
 * so that each call is a loop of its own without a branch. */
static inline void run(EqSections *eq, const unsigned which[EQ_SECTIONS],
                       const float *const in[EQ_CHANNELS], float *const out[EQ_CHANNELS], size_t n,
                       const unsigned count, const bool moving) {
    const float *in0 = in[0], *in1 = in[1];
    float *out0 = out[0], *out1 = out[1];
    Simd c[EQ_SECTIONS][EQ_COEFFICIENTS], step[EQ_SECTIONS][EQ_COEFFICIENTS];
    Simd ic1[EQ_SECTIONS], ic2[EQ_SECTIONS];
    for (unsigned s = 0; s < count; s++) {
        ic1[s] = eq->state.ic1[which[s]];
        ic2[s] = eq->state.ic2[which[s]];
        for (int k = 0; k < EQ_COEFFICIENTS; k++) {
            c[s][k] = simd_all(eq->state.now[which[s]].of[k]);
            step[s][k] = simd_all(eq->state.step[which[s]].of[k]);
        }
    }
    for (size_t i = 0; i < n; i++) {
        Simd x = {in0[i], in1[i]};
        for (unsigned s = 0; s < count; s++) {
            if (moving)
                for (int k = 0; k < EQ_COEFFICIENTS; k++)
                    c[s][k] += step[s][k];
            Simd v3 = x - ic2[s];
            Simd r1 = c[s][A2] * v3 - c[s][D] * ic1[s];
            Simd r2 = c[s][A2] * ic1[s] + c[s][A3] * v3;
            Simd v1 = ic1[s] + r1, v2 = ic2[s] + r2;
            ic1[s] = v1 + r1;
            ic2[s] = v2 + r2;
            x = c[s][M0] * x + c[s][M1] * v1 + c[s][M2] * v2;
        }
        out0[i] = x[0];
        out1[i] = x[1];
    }
    for (unsigned s = 0; s < count; s++) {
        eq->state.ic1[which[s]] = ic1[s];
        eq->state.ic2[which[s]] = ic2[s];
        if (moving)
            for (int k = 0; k < EQ_COEFFICIENTS; k++)
                eq->state.now[which[s]].of[k] = c[s][k][0];
    }
}

static void copy(const float *const in[EQ_CHANNELS], float *const out[EQ_CHANNELS], size_t n) {
    for (unsigned c = 0; c < EQ_CHANNELS; c++)
        if (in[c] != out[c])
            memmove(out[c], in[c], n * sizeof(float));
}

static void run_part(EqSections *eq, const float *const in[EQ_CHANNELS],
                     float *const out[EQ_CHANNELS], size_t n) {
    unsigned which[EQ_SECTIONS] = {0}, count = 0;
    for (unsigned s = 0; s < EQ_SECTIONS; s++)
        if (eq->state.works[s])
            which[count++] = s;
    const bool moving = eq->state.left > 0;
    switch (count) {
    case 0:
        copy(in, out, n);
        return;
    case 1:
        moving ? run(eq, which, in, out, n, 1, true) : run(eq, which, in, out, n, 1, false);
        return;
    case 2:
        moving ? run(eq, which, in, out, n, 2, true) : run(eq, which, in, out, n, 2, false);
        return;
    case 3:
        moving ? run(eq, which, in, out, n, 3, true) : run(eq, which, in, out, n, 3, false);
        return;
    default:
        moving ? run(eq, which, in, out, n, 4, true) : run(eq, which, in, out, n, 4, false);
        return;
    }
}

void eq_sections_process(EqSections *eq, const float *const in[EQ_CHANNELS],
                         float *const out[EQ_CHANNELS], size_t n) {
    if (n > 0 && eq->state.fresh) {
        eq->state.fresh = false;
        arrive(eq);
    }
    for (size_t done = 0; done < n;) {
        const size_t left = eq->state.left;
        size_t now = left > 0 && left < n - done ? left : n - done;
        const float *from[EQ_CHANNELS] = {in[0] + done, in[1] + done};
        float *to[EQ_CHANNELS] = {out[0] + done, out[1] + done};
        run_part(eq, from, to, now);
        done += now;
        if (left > 0) {
            eq->state.left -= now;
            if (eq->state.left == 0)
                arrive(eq);
        }
    }
}
