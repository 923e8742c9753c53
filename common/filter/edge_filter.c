/* SPDX-License-Identifier: ISC */
#include "filter/edge_filter.h"

#include "basic/maths.h"
#include "basic/one_pole.h"

#include <math.h>
#include <string.h>

static const double HIGHEST = 0.49; /* corner, a share of the rate */

enum { P, Q, R, D, E, M };

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

/* A bit for each section that is not what it was a tick ago; 0 when none moves. */
static unsigned glide_all(EdgeFilter *filter) {
    const double blend = filter->blend;
    const unsigned low_pass = (1u << EDGE_LOW_PASS) - 1, all = (1u << EDGE_SECTIONS) - 1;
    double most = filter->state.low.first * filter->steepest;
    unsigned moving = glide_step(&filter->state.low, filter->follow, most) ? all & ~low_pass : 0;
    moving |= glide_step(&filter->state.high, blend, HUGE_VAL) ? low_pass : 0;
    for (unsigned i = 0; i < EDGE_SECTIONS; i++) {
        bool bends = glide_step(&filter->state.damping[i], blend, HUGE_VAL);
        bool comes = glide_step(&filter->state.weight[i], blend, HUGE_VAL);
        moving |= (unsigned)(bends || comes) << i;
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

/* A coefficient for both channels. */
static Simd both(double x) {
    return (Simd){(float)x, (float)x};
}

static EdgeSection design(double g, double damping, double weight, bool low_pass) {
    double a1 = 1.0 / (1.0 + g * (g + damping)), a2 = g * a1, a3 = g * a2;
    double m0 = low_pass ? 1.0 - weight : 1.0;
    double m1 = low_pass ? 0.0 : -weight * damping;
    double m2 = low_pass ? weight : -weight;
    return (EdgeSection){{[P] = both(2.0 * a1 - 1.0),
                          [Q] = both(2.0 * a2),
                          [R] = both(2.0 * a3),
                          [D] = both(m0 + m1 * a2 + m2 * a3),
                          [E] = both(m1 * a1 + m2 * a2),
                          [M] = both(m0 + m2)}};
}

/* Those whose bit is set. */
static void design_some(const EdgeFilter *filter, unsigned which, EdgeSection *sections) {
    for (unsigned i = 0; i < EDGE_SECTIONS && which >> i; i++) {
        bool low_pass = i < EDGE_LOW_PASS;
        if (which >> i & 1)
            sections[i] =
                design(low_pass ? filter->state.warped_high : filter->state.warped_low,
                       filter->state.damping[i].value, filter->state.weight[i].value, low_pass);
    }
}

/* tan is the dearest part of a tick: it is asked for corners that move alone. */
static void warp_corners(EdgeFilter *filter, unsigned which) {
    const unsigned low_pass = (1u << EDGE_LOW_PASS) - 1;
    if (which & ~low_pass)
        filter->state.warped_low = tan(PI * filter->state.low.value / filter->rate_hz);
    if (which & low_pass)
        filter->state.warped_high = tan(PI * filter->state.high.value / filter->rate_hz);
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
        const unsigned all = (1u << EDGE_SECTIONS) - 1;
        filter->state.fresh = false;
        jump_all(filter);
        warp_corners(filter, all);
        design_some(filter, all, filter->state.next);
        memcpy(filter->state.now, filter->state.next, sizeof filter->state.now);
    }
    unsigned moving = glide_all(filter);
    filter->state.settled = moving == 0;
    filter->state.moves = moving != 0;
    filter->state.low_pass_moves = (moving & ((1u << EDGE_LOW_PASS) - 1)) != 0;
    choose_sections(filter);
    if (moving == 0)
        return;
    warp_corners(filter, moving);
    design_some(filter, moving, filter->state.next);
    const float per_frame = 1.0f / (float)filter->tick;
    for (unsigned i = filter->state.first; i < filter->state.first + filter->state.count; i++)
        for (int k = 0; k < EDGE_COEFFICIENTS; k++)
            filter->state.step[i].of[k] =
                (filter->state.next[i].of[k] - filter->state.now[i].of[k]) * per_frame;
}

/* ---- audio ---- */

/* Into each of the loops below, whatever the compiler thinks of their size. */
#define INLINE inline __attribute__((always_inline))

/* The other lanes of a section on its own stay at rest. */
static INLINE Simd step_section(EdgeSection *now, const EdgeSection *step, Simd *ic1, Simd *ic2,
                                Simd x, const bool moves) {
    Simd *c = now->of;
    for (int k = 0; k < EDGE_COEFFICIENTS && moves; k++)
        c[k] += step->of[k];
    const Simd first = *ic1, second = *ic2, v = x - second;
    *ic1 = c[P] * first + c[Q] * v;
    *ic2 = (second + c[Q] * first) + c[R] * v;
    return (c[M] * second + c[E] * first) + c[D] * v;
}

/* A frame through sections from..end, one after the other. */
static INLINE Simd step_alone(EdgeFilter *filter, unsigned from, unsigned end, Simd x,
                              const bool moves) {
    for (unsigned s = from; s < end; s++)
        x = step_section(&filter->state.now[s], &filter->state.step[s], &filter->state.ic1[s],
                         &filter->state.ic2[s], x, moves);
    return x;
}

/* Two sections, in series: the first in lanes 0 and 1, a channel each, the second in lanes 2 and
 * 3. */
typedef struct {
    EdgeSection now, step;
    Simd ic1, ic2;
    Simd out; /* of the frames last done */
} Pair;

enum { PAIRS = EDGE_SECTIONS / 2 };

/* Passes its input, and stays at rest. */
static const EdgeSection NO_SECTION = {{[D] = {1.0f, 1.0f}, [M] = {1.0f, 1.0f}}};
static const EdgeSection NO_STEP;

static INLINE Simd beside(Simd a, Simd b) {
    return __builtin_shufflevector(a, b, 0, 1, 4, 5);
}

static INLINE Pair take_pair(const EdgeFilter *filter, unsigned one, unsigned end,
                             const bool moves) {
    const bool two = one + 1 < end;
    const Simd none = simd_all(0.0f);
    const EdgeSection *now = &filter->state.now[one], *step = &filter->state.step[one];
    const EdgeSection *other = two ? now + 1 : &NO_SECTION, *other_step = two ? step + 1 : &NO_STEP;
    Pair pair = {.ic1 = beside(filter->state.ic1[one], two ? filter->state.ic1[one + 1] : none),
                 .ic2 = beside(filter->state.ic2[one], two ? filter->state.ic2[one + 1] : none)};
    for (int k = 0; k < EDGE_COEFFICIENTS; k++) {
        pair.now.of[k] = beside(now->of[k], other->of[k]);
        pair.step.of[k] = moves ? beside(step->of[k], other_step->of[k]) : none;
    }
    return pair;
}

/* Lanes 2 * of and the next of a pair, as of a section on its own. */
static INLINE Simd half(Simd x, unsigned of) {
    return of == 0 ? (Simd){x[0], x[1]} : (Simd){x[2], x[3]};
}

static INLINE void put_pair(EdgeFilter *filter, const Pair *pair, unsigned one, unsigned end,
                            const bool moves) {
    for (unsigned i = one, h = 0; i < end && h < 2; i++, h++) {
        filter->state.ic1[i] = half(pair->ic1, h);
        filter->state.ic2[i] = half(pair->ic2, h);
        for (int k = 0; k < EDGE_COEFFICIENTS && moves; k++)
            filter->state.now[i].of[k] = half(pair->now.of[k], h);
    }
}

/* A time of all sections: section s is at frame i - s, since it gets what the one before it gave a
 * time ago. */
static INLINE void step_pairs(Pair *pair, const unsigned pairs, Simd x, const unsigned still) {
    for (unsigned p = pairs; p-- > 0;) {
        Simd from =
            p > 0 ? __builtin_shufflevector(pair[p - 1].out, pair[p - 1].out, 2, 3, 2, 3) : x;
        pair[p].out = step_section(&pair[p].now, &pair[p].step, &pair[p].ic1, &pair[p].ic2,
                                   beside(from, pair[p].out), p >= still);
    }
}

/* `pairs`, and `still` of them, the first, that do not move, are constants wherever it is called,
 * so that each call is a loop of its own without a branch. A pair's lanes wait for each other only
 * from frame to frame, so all sections work side by side, each a frame behind the one before it. At
 * the ends of the block, where some sections have no frame yet, or none any more, the others work
 * one after the other. n is larger than the number of sections. */
static INLINE void run(EdgeFilter *filter, const float *const *in, float *const *out,
                       const size_t n, const unsigned pairs, const unsigned still) {
    const float *in0 = in[0], *in1 = in[1];
    float *out0 = out[0], *out1 = out[1];
    const unsigned first = filter->state.first, end = first + filter->state.count;
    const unsigned late = 2 * pairs - 1;
    const bool moves = still < pairs;
    Simd waiting[EDGE_SECTIONS]; /* what section s gave last, and the next one has not had */
    Pair pair[PAIRS];
    for (unsigned i = 0; i < late; i++)
        waiting[late - 1 - i] =
            step_alone(filter, first, first + late - i, (Simd){in0[i], in1[i]}, moves);
    for (unsigned p = 0; p < pairs; p++) {
        const size_t s = (size_t)2 * p;
        pair[p] = take_pair(filter, first + 2 * p, end, p >= still);
        pair[p].out = beside(waiting[s], s + 1 < late ? waiting[s + 1] : simd_all(0.0f));
    }
    for (size_t i = late; i < n; i++) {
        step_pairs(pair, pairs, (Simd){in0[i], in1[i]}, still);
        out0[i - late] = pair[pairs - 1].out[2];
        out1[i - late] = pair[pairs - 1].out[3];
    }
    for (unsigned p = 0; p < pairs; p++)
        put_pair(filter, &pair[p], first + 2 * p, end, p >= still);
    for (unsigned s = late; s-- > 0;) {
        const size_t i = n - 1 - s;
        Simd x = step_alone(filter, first + s + 1, end, half(pair[s / 2].out, s % 2), moves);
        out0[i] = x[0];
        out1[i] = x[1];
    }
}

/* A block too short to work side by side. */
static void run_alone(EdgeFilter *filter, const float *const *in, float *const *out, size_t n) {
    const unsigned first = filter->state.first, end = first + filter->state.count;
    for (size_t i = 0; i < n; i++) {
        Simd x = step_alone(filter, first, end, (Simd){in[0][i], in[1][i]}, filter->state.moves);
        out[0][i] = x[0];
        out[1][i] = x[1];
    }
}

static INLINE void run_pairs(EdgeFilter *filter, const float *const *in, float *const *out,
                             size_t n, const unsigned still) {
    if (filter->state.count <= 2)
        run(filter, in, out, n, 1, still);
    else if (filter->state.count <= 4)
        run(filter, in, out, n, 2, still);
    else
        run(filter, in, out, n, 3, still);
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
    if (n <= EDGE_SECTIONS)
        run_alone(filter, from, to, n);
    else if (!filter->state.moves)
        run_pairs(filter, from, to, n, PAIRS);
    else if (filter->state.first < EDGE_LOW_PASS && !filter->state.low_pass_moves)
        run_pairs(filter, from, to, n, EDGE_LOW_PASS / 2);
    else
        run_pairs(filter, from, to, n, 0);
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
        if (filter->state.moves && filter->state.at == 0)
            memcpy(filter->state.now, filter->state.next, sizeof filter->state.now);
    }
}
