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

/* A bit for each section that is not what it was a tick ago; 0 when none moves. Sets state.moves. */
static unsigned glide_all(EdgeFilter *filter) {
    const double blend = filter->blend;
    const unsigned low_pass = (1u << EDGE_LOW_PASS) - 1, all = (1u << EDGE_SECTIONS) - 1;
    double most = filter->state.low.first * filter->steepest;
    bool corners = true;
    unsigned moving = glide_step(&filter->state.low, filter->follow, most) ? all & ~low_pass : 0;
    moving |= glide_step(&filter->state.high, blend, HUGE_VAL) ? low_pass : 0;
    for (unsigned i = 0; i < EDGE_SECTIONS; i++) {
        bool bends = glide_step(&filter->state.damping[i], blend, HUGE_VAL);
        bool comes = glide_step(&filter->state.weight[i], blend, HUGE_VAL);
        moving |= (unsigned)(bends || comes) << i;
        corners &= !bends && !comes;
    }
    filter->state.moves = moving == 0 ? 0 : corners ? EDGE_CORNERS : EDGE_COEFFICIENTS;
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

/* Two sections, in series: the first in lanes 0 and 1, a channel each, the second in lanes 2 and 3. */
typedef struct {
    Simd c[EDGE_COEFFICIENTS], step[EDGE_COEFFICIENTS];
    Simd ic1, ic2;
    Simd out; /* of the frames last done */
} Pair;

enum { PAIRS = EDGE_SECTIONS / 2 };

/* Passes its input, and stays at rest. */
static const EdgeSection NO_SECTION = {{[M0] = 1.0f}};
static const EdgeSection NO_STEP;

static Pair take_pair(const EdgeFilter *filter, unsigned one, unsigned end) {
    const unsigned other = one + 1;
    const EdgeSection *now[2] = {&filter->state.now[one], &NO_SECTION};
    const EdgeSection *step[2] = {&filter->state.step[one], &NO_STEP};
    Simd ic1 = filter->state.ic1[one], ic2 = filter->state.ic2[one], zero = simd_all(0.0f);
    Simd next1 = zero, next2 = zero;
    if (other < end) {
        now[1] = &filter->state.now[other];
        step[1] = &filter->state.step[other];
        next1 = filter->state.ic1[other];
        next2 = filter->state.ic2[other];
    }
    Pair pair = {.ic1 = {ic1[0], ic1[1], next1[0], next1[1]},
                 .ic2 = {ic2[0], ic2[1], next2[0], next2[1]}};
    for (int k = 0; k < EDGE_COEFFICIENTS; k++) {
        float a = now[0]->of[k], b = now[1]->of[k];
        float da = step[0]->of[k], db = step[1]->of[k];
        pair.c[k] = (Simd){a, a, b, b};
        pair.step[k] = (Simd){da, da, db, db};
    }
    return pair;
}

static void put_pair(EdgeFilter *filter, const Pair *pair, unsigned one, unsigned end, int moves) {
    for (unsigned i = one, lane = 0; i < end && i < one + 2; i++, lane += 2) {
        filter->state.ic1[i] = (Simd){pair->ic1[lane], pair->ic1[lane + 1]};
        filter->state.ic2[i] = (Simd){pair->ic2[lane], pair->ic2[lane + 1]};
        for (int k = 0; k < moves; k++)
            filter->state.now[i].of[k] = pair->c[k][lane];
    }
}

static INLINE void step_pair(Pair *pair, Simd x, const int moves) {
    Simd *c = pair->c;
    for (int k = 0; k < moves; k++)
        c[k] += pair->step[k];
    Simd v3 = x - pair->ic2;
    Simd v1 = c[A1] * pair->ic1 + c[A2] * v3;
    Simd v2 = pair->ic2 + c[A2] * pair->ic1 + c[A3] * v3;
    pair->ic1 = 2.0f * v1 - pair->ic1;
    pair->ic2 = 2.0f * v2 - pair->ic2;
    pair->out = c[M0] * x + c[M1] * v1 + c[M2] * v2;
}

/* Time `i` of all sections: section s is at frame i - s, since it gets what the one before it gave
 * a time ago. */
static INLINE void step_pairs(Pair *pair, const unsigned pairs, Simd x, const int moves) {
    for (unsigned p = pairs; p-- > 0;) {
        Simd from =
            p > 0 ? __builtin_shufflevector(pair[p - 1].out, pair[p - 1].out, 2, 3, 2, 3) : x;
        step_pair(&pair[p], __builtin_shufflevector(from, pair[p].out, 0, 1, 4, 5), moves);
    }
}

/* Lanes of a pair whose first or second section, or both, have a frame. */
static const SimdMask AT_WORK[2][2] = {{{0, 0, 0, 0}, {0, 0, -1, -1}},
                                       {{-1, -1, 0, 0}, {-1, -1, -1, -1}}};

/* Near the ends of the block, where some sections have no frame yet, or none any more: these stay
 * as they were. */
static INLINE void step_some(Pair *pair, const unsigned pairs, Simd x, size_t i, size_t n,
                             const int moves) {
    Pair before[PAIRS];
    for (unsigned p = 0; p < pairs; p++)
        before[p] = pair[p];
    step_pairs(pair, pairs, x, moves);
    for (unsigned p = 0; p < pairs; p++) {
        const size_t s = (size_t)2 * p;
        const SimdMask mask = AT_WORK[i >= s && i < n + s][i >= s + 1 && i < n + s + 1];
        pair[p].ic1 = simd_choose(mask, pair[p].ic1, before[p].ic1);
        pair[p].ic2 = simd_choose(mask, pair[p].ic2, before[p].ic2);
        for (int k = 0; k < moves; k++)
            pair[p].c[k] = simd_choose(mask, pair[p].c[k], before[p].c[k]);
    }
}

/* `pairs` and `moves` are constants wherever it is called, so that each call is a loop of its own
 * without a branch. A pair's lanes wait for each other only from frame to frame, so all sections
 * work side by side, each a frame behind the one before it. */
static INLINE void run(EdgeFilter *filter, const float *const *in, float *const *out,
                       const size_t n, const unsigned pairs, const int moves) {
    const float *in0 = in[0], *in1 = in[1];
    float *out0 = out[0], *out1 = out[1];
    const unsigned first = filter->state.first, end = first + filter->state.count;
    const size_t late = 2 * pairs - 1;
    Pair pair[PAIRS];
    for (unsigned p = 0; p < pairs; p++)
        pair[p] = take_pair(filter, first + 2 * p, end);
    size_t i = 0;
    for (; i < late; i++)
        step_some(pair, pairs, i < n ? (Simd){in0[i], in1[i]} : simd_all(0.0f), i, n, moves);
    for (; i < n + late; i++) {
        if (i < n)
            step_pairs(pair, pairs, (Simd){in0[i], in1[i]}, moves);
        else
            step_some(pair, pairs, simd_all(0.0f), i, n, moves);
        out0[i - late] = pair[pairs - 1].out[2];
        out1[i - late] = pair[pairs - 1].out[3];
    }
    for (unsigned p = 0; p < pairs; p++)
        put_pair(filter, &pair[p], first + 2 * p, end, moves);
}

static INLINE void run_pairs(EdgeFilter *filter, const float *const *in, float *const *out,
                             size_t n, const int moves) {
    switch (filter->state.count) {
    case 1:
    case 2:
        run(filter, in, out, n, 1, moves);
        return;
    case 3:
    case 4:
        run(filter, in, out, n, 2, moves);
        return;
    default:
        run(filter, in, out, n, 3, moves);
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
    if (filter->state.moves == 0)
        run_pairs(filter, from, to, n, 0);
    else if (filter->state.moves == EDGE_CORNERS)
        run_pairs(filter, from, to, n, EDGE_CORNERS);
    else
        run_pairs(filter, from, to, n, EDGE_COEFFICIENTS);
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
        if (filter->state.moves > 0 && filter->state.at == 0)
            memcpy(filter->state.now, filter->state.next, sizeof filter->state.now);
    }
}
