/* SPDX-License-Identifier: ISC */
#include "filter/edge_filter.h"

#include "basic/maths.h"
#include "basic/one_pole.h"

#include <math.h>
#include <string.h>

static const double HIGHEST = 0.49; /* corner, a share of the rate */

enum { A1, A2, A3, M0, M1, M2 };

/* 1/Q of section i of n. */
static double butterworth_damping(unsigned i, unsigned n) {
    return 2.0 * cos(PI * (2.0 * i + 1.0) / (4.0 * n));
}

/* ---- glides ---- */

static void glide_jump(EdgeGlide *glide) {
    glide->first = glide->goal;
    glide->value = glide->goal;
}

/* One tick; true while it moves. The first pole comes to no more than `most`.
 * What is left under 1e-6 of the way is skipped: a phase of 4e-6. */
static bool glide_step(EdgeGlide *glide, double pole, double most) {
    if (glide->value == glide->goal && glide->first == glide->goal)
        return false;
    glide->first = fmin(most, one_pole_step_double(glide->first, glide->goal, pole));
    glide->value = one_pole_step_double(glide->value, glide->first, pole);
    double near = 1e-6 * (1.0 + fabs(glide->goal));
    if (fabs(glide->first - glide->goal) < near && fabs(glide->value - glide->goal) < near)
        glide_jump(glide);
    return true;
}

static bool glide_all(EdgeFilter *filter) {
    const double blend = filter->blend;
    double most = filter->state.low.first * filter->steepest;
    bool moving = glide_step(&filter->state.low, filter->follow, most);
    moving |= glide_step(&filter->state.high, blend, HUGE_VAL);
    for (int i = 0; i < EDGE_SECTIONS; i++) {
        moving |= glide_step(&filter->state.damping[i], blend, HUGE_VAL);
        moving |= glide_step(&filter->state.weight[i], blend, HUGE_VAL);
    }
    return moving;
}

static void jump_all(EdgeFilter *filter) {
    glide_jump(&filter->state.low);
    glide_jump(&filter->state.high);
    for (int i = 0; i < EDGE_SECTIONS; i++) {
        glide_jump(&filter->state.damping[i]);
        glide_jump(&filter->state.weight[i]);
    }
}

/* ---- design ---- */

static EdgeSection design(double g, double damping, double weight, bool low_pass) {
    double a1 = 1.0 / (1.0 + g * (g + damping));
    EdgeSection section = {{[A1] = (float)a1, [A2] = (float)(g * a1), [A3] = (float)(g * g * a1)}};
    section.of[M0] = low_pass ? (float)(1.0 - weight) : 1.0f;
    section.of[M1] = low_pass ? 0.0f : (float)(-weight * damping);
    section.of[M2] = low_pass ? (float)weight : (float)-weight;
    return section;
}

static void design_all(EdgeFilter *filter, EdgeSection *sections) {
    double low = tan(PI * filter->state.low.value / filter->rate_hz);
    double high = tan(PI * filter->state.high.value / filter->rate_hz);
    for (int i = 0; i < EDGE_SECTIONS; i++) {
        bool low_pass = i < EDGE_LOW_PASS;
        sections[i] = design(low_pass ? high : low, filter->state.damping[i].value,
                             filter->state.weight[i].value, low_pass);
    }
}

/* Goals from the parameters. What is faded out, or was never in, stays where it is. */
static void aim(EdgeFilter *filter) {
    const EdgeFilterParams *params = &filter->params;
    filter->state.settled = false;
    filter->state.low.goal = params->low_hz;
    bool low_pass = params->high_hz > 0.0 && params->high_hz < HIGHEST * filter->rate_hz;
    if (low_pass)
        filter->state.high.goal = params->high_hz;
    for (unsigned i = 0; i < EDGE_LOW_PASS; i++) {
        filter->state.damping[i].goal = butterworth_damping(i, EDGE_LOW_PASS);
        filter->state.weight[i].goal = low_pass ? 1.0 : 0.0;
    }
    for (unsigned i = 0; i < EDGE_HIGH_PASS; i++) {
        bool wanted = i < params->pairs;
        if (wanted)
            filter->state.damping[EDGE_LOW_PASS + i].goal = butterworth_damping(i, params->pairs);
        filter->state.weight[EDGE_LOW_PASS + i].goal = wanted ? 1.0 : 0.0;
    }
}

void edge_filter_prepare(EdgeFilter *filter, double rate_hz, unsigned channels) {
    *filter = (EdgeFilter){.rate_hz = rate_hz, .channels = channels};
    filter->tick = (size_t)fmax(1.0, round(EDGE_TICK_MS * 1e-3 * rate_hz));
    double ticks_hz = rate_hz / (double)filter->tick;
    filter->follow = one_pole_coefficient(EDGE_FALL_MS, ticks_hz);
    filter->steepest = exp2(1000.0 / (EDGE_RISE_MS * ticks_hz));
    filter->blend = one_pole_coefficient(EDGE_BLEND_MS, ticks_hz);
    filter->params = (EdgeFilterParams){.low_hz = 40.0, .pairs = 2};
    edge_filter_reset(filter);
}

void edge_filter_reset(EdgeFilter *filter) {
    memset(&filter->state, 0, sizeof filter->state);
    filter->state.fresh = true;
    filter->state.high.goal = HIGHEST * filter->rate_hz;
    for (int i = 0; i < EDGE_SECTIONS; i++)
        filter->state.damping[i].goal = 1.0; /* any that is stable */
    aim(filter);
}

void edge_filter_set(EdgeFilter *filter, const EdgeFilterParams *params) {
    const EdgeFilterParams *last = &filter->params;
    if (params->low_hz == last->low_hz && params->pairs == last->pairs &&
        params->high_hz == last->high_hz)
        return;
    filter->params = *params;
    aim(filter);
}

double edge_filter_low_hz(const EdgeFilter *filter) {
    return filter->state.low.value;
}

/* ---- ticks ---- */

static bool at_work(const EdgeGlide *weight) {
    return weight->goal != 0.0 || weight->first != 0.0 || weight->value != 0.0;
}

/* The sections that are at work; the others forget, so as to come back from rest. */
static void choose_sections(EdgeFilter *filter) {
    const EdgeGlide *weight = filter->state.weight;
    unsigned first = at_work(&weight[0]) ? 0 : EDGE_LOW_PASS, end = EDGE_LOW_PASS;
    while (end < EDGE_SECTIONS && at_work(&weight[end]))
        end++;
    for (unsigned i = 0; i < EDGE_SECTIONS; i++)
        if (i < first || i >= end)
            filter->state.ic1[i] = filter->state.ic2[i] = (Simd){0.0f};
    filter->state.first = first;
    filter->state.count = end - first;
}

static void begin_tick(EdgeFilter *filter) {
    if (filter->state.fresh) {
        filter->state.fresh = false;
        jump_all(filter);
        design_all(filter, filter->state.now);
    }
    filter->state.moving = glide_all(filter);
    filter->state.settled = !filter->state.moving;
    choose_sections(filter);
    if (!filter->state.moving)
        return;
    design_all(filter, filter->state.next);
    const float per_frame = 1.0f / (float)filter->tick;
    for (int i = 0; i < EDGE_SECTIONS; i++)
        for (int k = 0; k < EDGE_COEFFICIENTS; k++)
            filter->state.step[i].of[k] =
                (filter->state.next[i].of[k] - filter->state.now[i].of[k]) * per_frame;
}

/* ---- audio ---- */

static inline Simd all(float x) {
    return (Simd){x, x, x, x};
}

/* `count` sections from `first` on. `count` and `moving` are constants wherever it is called, so
 * that each call is a loop of its own without a branch. */
static inline void run(EdgeFilter *filter, const float *const *in, float *const *out, size_t n,
                       const unsigned first, const unsigned count, const bool moving) {
    const float *in0 = in[0], *in1 = in[1];
    float *out0 = out[0], *out1 = out[1];
    Simd c[EDGE_SECTIONS][EDGE_COEFFICIENTS], step[EDGE_SECTIONS][EDGE_COEFFICIENTS];
    Simd ic1[EDGE_SECTIONS], ic2[EDGE_SECTIONS];
    for (unsigned s = 0; s < count; s++) {
        ic1[s] = filter->state.ic1[first + s];
        ic2[s] = filter->state.ic2[first + s];
        for (int k = 0; k < EDGE_COEFFICIENTS; k++) {
            c[s][k] = all(filter->state.now[first + s].of[k]);
            step[s][k] = all(filter->state.step[first + s].of[k]);
        }
    }
    for (size_t i = 0; i < n; i++) {
        Simd x = {in0[i], in1[i]};
        for (unsigned s = 0; s < count; s++) {
            if (moving)
                for (int k = 0; k < EDGE_COEFFICIENTS; k++)
                    c[s][k] += step[s][k];
            Simd v3 = x - ic2[s];
            Simd v1 = c[s][A1] * ic1[s] + c[s][A2] * v3;
            Simd v2 = ic2[s] + c[s][A2] * ic1[s] + c[s][A3] * v3;
            ic1[s] = 2.0f * v1 - ic1[s];
            ic2[s] = 2.0f * v2 - ic2[s];
            x = c[s][M0] * x + c[s][M1] * v1 + c[s][M2] * v2;
        }
        out0[i] = x[0];
        out1[i] = x[1];
    }
    for (unsigned s = 0; s < count; s++) {
        filter->state.ic1[first + s] = ic1[s];
        filter->state.ic2[first + s] = ic2[s];
        if (moving)
            for (int k = 0; k < EDGE_COEFFICIENTS; k++)
                filter->state.now[first + s].of[k] = c[s][k][0];
    }
}

/* While something moves: sections of no weight pass what they get, so two loops are enough. */
static void run_moving(EdgeFilter *filter, const float *const *in, float *const *out, size_t n) {
    if (filter->state.first + filter->state.count <= 4)
        run(filter, in, out, n, 0, 4, true);
    else
        run(filter, in, out, n, 0, EDGE_SECTIONS, true);
}

static void run_resting(EdgeFilter *filter, const float *const *in, float *const *out, size_t n) {
    const unsigned first = filter->state.first;
    switch (filter->state.count) {
    case 1:
        run(filter, in, out, n, first, 1, false);
        return;
    case 2:
        run(filter, in, out, n, first, 2, false);
        return;
    case 3:
        run(filter, in, out, n, first, 3, false);
        return;
    case 4:
        run(filter, in, out, n, first, 4, false);
        return;
    case 5:
        run(filter, in, out, n, first, 5, false);
        return;
    default:
        run(filter, in, out, n, first, 6, false);
        return;
    }
}

static void run_part(EdgeFilter *filter, const float *const *in, float *const *out, size_t at,
                     size_t n) {
    const float *from[EDGE_CHANNELS];
    float *to[EDGE_CHANNELS];
    for (unsigned lane = 0; lane < EDGE_CHANNELS; lane++) {
        /* One channel goes through twice, with the same result into the same place. */
        unsigned channel = filter->channels > lane ? lane : 0;
        from[lane] = in[channel] + at;
        to[lane] = out[channel] + at;
    }
    if (filter->state.moving)
        run_moving(filter, from, to, n);
    else
        run_resting(filter, from, to, n);
}

void edge_filter_process(EdgeFilter *filter, const float *const *in, float *const *out, size_t n) {
    for (size_t done = 0; done < n;) {
        if (filter->state.at == 0)
            begin_tick(filter);
        size_t now = n - done, room = filter->tick - filter->state.at;
        if (!filter->state.settled && now > room)
            now = room;
        run_part(filter, in, out, done, now);
        done += now;
        filter->state.at = (filter->state.at + now) % filter->tick;
        if (filter->state.moving && filter->state.at == 0)
            memcpy(filter->state.now, filter->state.next, sizeof filter->state.now);
    }
}
