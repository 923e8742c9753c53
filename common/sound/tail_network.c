/* SPDX-License-Identifier: ISC */
#include "sound/tail_network.h"

#include "basic/maths.h"
#include "basic/one_pole.h"
#include "basic/simd.h"

#include <math.h>
#include <string.h>

static const float NOTHING = 1e-12f;

enum { GUARD = 4 }; /* frames that interpolation reads beside its place */

/* Signs of the four bent functions of x1 x2 x3 x4, the bits of the line's number:
 * x1 x2 + x3 x4, x1 x3 + x2 x4 + x1, x1 x4 + x2 x3 + x2, x1 x2 + x3 x4 + x3 + x4. The first two,
 * the sides, differ by a balanced function, and so do the others, the inputs. */
static unsigned bit(unsigned line, unsigned x) {
    return line >> (x - 1) & 1u;
}

static float sign_out(unsigned side, unsigned i) {
    unsigned f = side == 0 ? (bit(i, 1) & bit(i, 2)) ^ (bit(i, 3) & bit(i, 4))
                           : (bit(i, 1) & bit(i, 3)) ^ (bit(i, 2) & bit(i, 4)) ^ bit(i, 1);
    return f ? -1.0f : 1.0f;
}

static float sign_in(unsigned side, unsigned i) {
    unsigned f = side == 0
                     ? (bit(i, 1) & bit(i, 4)) ^ (bit(i, 2) & bit(i, 3)) ^ bit(i, 2)
                     : (bit(i, 1) & bit(i, 2)) ^ (bit(i, 3) & bit(i, 4)) ^ bit(i, 3) ^ bit(i, 4);
    return f ? -1.0f : 1.0f;
}

static bool share_divisor(size_t a, size_t b) {
    while (b != 0) {
        size_t rest = a % b;
        a = b;
        b = rest;
    }
    return a > 1;
}

/* The next length from `wanted` on without a common divisor with those before. */
static size_t coprime(const TailNetwork *tail, size_t lines, size_t wanted) {
    for (size_t d = wanted | 1;; d += 2) {
        bool alone = true;
        for (size_t i = 0; i < lines && alone; i++)
            alone = !share_divisor(d, tail->line[i].delay);
        if (alone)
            return d;
    }
}

/* Line numbers are spread over the lengths, so that no bit of the number goes with long or
 * short. */
static const unsigned ORDER[TAIL_LINES] = {0, 7, 9, 14, 5, 2, 12, 11, 3, 4, 10, 13, 6, 1, 15, 8};

bool tail_network_prepare(TailNetwork *tail, double rate_hz, unsigned channels, Arena *arena) {
    bool fits = true;
    size_t delay[TAIL_LINES], most = (size_t)ceil(1e-3 * TAIL_MOTION_MS * rate_hz) + GUARD;
    tail->rate_hz = rate_hz;
    tail->channels = channels;
    tail->follow = 1.0 - one_pole_coefficient(TAIL_SMOOTH_MS, rate_hz / TAIL_STEP);
    for (size_t i = 0; i < TAIL_LINES; i++) {
        double ms = TAIL_SHORTEST_MS * pow(TAIL_LONGEST_MS / TAIL_SHORTEST_MS, (double)i / 15.0);
        delay[i] = tail->line[i].delay = coprime(tail, i, (size_t)(1e-3 * ms * rate_hz));
    }
    for (size_t i = 0; i < TAIL_LINES; i++) {
        size_t length = 1;
        tail->line[i].delay = delay[ORDER[i]];
        while (length < tail->line[i].delay + most + TAIL_STEP)
            length *= 2;
        tail->line[i].mask = length - 1;
        tail->line[i].ring = arena_take(arena, length, sizeof(float));
        fits &= tail->line[i].ring != NULL;
        /* Golden sections: no two beat. */
        double part = 0.618033988749895 * (double)(i + 1);
        tail->line[i].hz = 0.2 * pow(6.5, part - floor(part));
        double turn = 2.0 * PI * tail->line[i].hz * TAIL_STEP / rate_hz;
        tail->line[i].turn = (Turned){cos(turn), sin(turn)};
        tail->line[i].begin = turned_by(2.0 * part - floor(2.0 * part));
    }
    tail->params = (TailParams){.decay_s = 0.0}; /* of an earlier life */
    tail_network_set(tail, &(TailParams){.decay_s = 1.0, .damping_hz = 6000.0});
    tail_network_reset(tail);
    return fits;
}

void tail_network_reset(TailNetwork *tail) {
    for (size_t i = 0; i < TAIL_LINES && tail->line[i].ring; i++)
        memset(tail->line[i].ring, 0, (tail->line[i].mask + 1) * sizeof *tail->line[i].ring);
    memset(&tail->state, 0, sizeof tail->state);
    tail->state.fresh = true;
}

/* Of a one-pole b / (1 - p / z) with the gain g at 0: |H|^2 = g^2 / (1 + K sin^2(w/2)),
 * K = 4 p / (1 - p)^2. The K that loses `db` at the angle w. */
static double steepness(double db, double sine) {
    return (pow(10.0, 0.1 * db) - 1.0) / (sine * sine);
}

static double pole_of(double k) {
    /* k p^2 - (2 k + 4) p + k = 0, the root under 1 */
    return k < 1e-9 ? 0.25 * k : 1.0 + 2.0 / k - sqrt((1.0 + 2.0 / k) * (1.0 + 2.0 / k) - 1.0);
}

static double sine_of(const TailNetwork *tail, double hz) {
    return sin(PI * fmin(hz / tail->rate_hz, 0.5));
}

/* What line i loses in a pass at 0 Hz, dB. */
static double loss_db(const TailNetwork *tail, size_t i) {
    return 60.0 * (double)tail->line[i].delay / (tail->rate_hz * tail->params.decay_s);
}

void tail_network_set(TailNetwork *tail, const TailParams *params) {
    const TailParams *was = &tail->params;
    if (was->decay_s == params->decay_s && was->damping_hz == params->damping_hz &&
        was->motion == params->motion)
        return;
    tail->params = *params;
    /* Above half the rate nothing can be halved: what the law asks for is lost at 0.45 of it. */
    double at_hz = fmin(params->damping_hz, 0.45 * tail->rate_hz), kept = 0.0;
    double ratio = at_hz / params->damping_hz;
    for (size_t i = 0; i < TAIL_LINES; i++) {
        double lost = loss_db(tail, i);
        double pole = pole_of(steepness(lost * ratio * ratio, sine_of(tail, at_hz)));
        tail->goal[TAIL_GAIN + i] = pow(10.0, -0.05 * lost) * (1.0 - pole);
        tail->goal[TAIL_POLE + i] = pole;
        kept += pow(10.0, -0.1 * lost) / TAIL_LINES;
    }
    /* Of what leaves the lines, a 16th of the energy is heard: in all kept / (1 - kept) / 16. */
    double level = sqrt(TAIL_LINES * (1.0 - kept) / kept);
    tail->goal[TAIL_LEVEL] = level * sqrt(1.0 / tail->channels);
    tail->state.settled = false;
    tail->motion_frames = 1e-3 * TAIL_MOTION_MS * tail->rate_hz * params->motion;
}

/* The share of the energy that a round through the lines leaves, if it is to grow by `rate` nepers
 * a frame while it waits in them. */
static double left_of_round(const TailNetwork *tail, double sine, double rate) {
    double left = 0.0;
    for (size_t i = 0; i < TAIL_LINES; i++) {
        double p = tail->goal[TAIL_POLE + i], k = 4.0 * p / ((1.0 - p) * (1.0 - p));
        left += pow(10.0, -0.1 * loss_db(tail, i)) / (1.0 + k * sine * sine) *
                exp(rate * (double)tail->line[i].delay) / TAIL_LINES;
    }
    return left;
}

double tail_network_decay_s(const TailNetwork *tail, double hz) {
    const double sine = sine_of(tail, hz);
    double low = 0.0, high = 1.0 / (double)tail->line[0].delay;
    while (left_of_round(tail, sine, high) < 1.0)
        high *= 2.0;
    for (int k = 0; k < 60; k++) {
        double middle = 0.5 * (low + high);
        *(left_of_round(tail, sine, middle) < 1.0 ? &low : &high) = middle;
    }
    return 6.0 * log(10.0) / (low * tail->rate_hz);
}

/* The values for the step that begins, straight to those for the next. */
static void move_values(TailNetwork *tail, double follow) {
    bool there = true;
    for (size_t k = 0; k < TAIL_VALUES; k++) {
        double now = tail->state.value[k], way = tail->goal[k] - now;
        double next = fabs(way) > 1e-7 * fabs(tail->goal[k]) ? now + follow * way : tail->goal[k];
        there &= now == next;
        tail->state.now[k] = (float)now;
        tail->state.step[k] = (float)((next - now) / TAIL_STEP);
        tail->state.value[k] = next;
    }
    tail->state.settled = there;
}

/* Turns every line's sine by a step. */
static void move_lines(TailNetwork *tail, double follow) {
    double way = tail->motion_frames - tail->state.motion_frames;
    tail->state.motion_frames += fabs(way) > 1e-6 ? follow * way : way;
    for (size_t i = 0; i < TAIL_LINES; i++) {
        const Turned z = tail->state.place[i], w = tail->line[i].turn;
        const Turned next = {z.re * w.re - z.im * w.im, z.re * w.im + z.im * w.re};
        double from = tail->state.shift_next[i], to = tail->state.motion_frames * next.im;
        tail->state.shift[i] = (float)from;
        tail->state.shift_step[i] = (float)((to - from) / TAIL_STEP);
        tail->state.shift_next[i] = to;
        tail->state.place[i] = next;
    }
}

static void begin_step(TailNetwork *tail) {
    if (tail->state.fresh) {
        memcpy(tail->state.value, tail->goal, sizeof tail->goal);
        tail->state.motion_frames = tail->motion_frames;
        for (size_t i = 0; i < TAIL_LINES; i++) {
            tail->state.place[i] = tail->line[i].begin;
            tail->state.shift_next[i] = tail->motion_frames * tail->line[i].begin.im;
        }
        tail->state.fresh = false;
    }
    if (!tail->state.settled)
        move_values(tail, tail->follow);
    move_lines(tail, tail->follow);
}

/* n frames of a ring from `start` on: where they are, or, if its end divides them, a copy. */
static const float *peek(const float *ring, size_t mask, size_t start, float *copy, size_t n) {
    size_t at = start & mask, first = mask + 1 - at;
    if (n <= first)
        return ring + at;
    memcpy(copy, ring + at, first * sizeof *copy);
    memcpy(copy + first, ring, (n - first) * sizeof *copy);
    return copy;
}

/* n frames of line i, `at` frames into the step. Its four points are chosen for the middle of the
 * step, so that the place between them runs over their ends by as little as can be. */
static void read_line(const TailNetwork *tail, size_t i, size_t at, float *out, size_t n) {
    const float shift = tail->state.shift[i], step = tail->state.shift_step[i];
    const float whole = floorf(-(shift + 0.5f * TAIL_STEP * step));
    size_t start = tail->state.write - tail->line[i].delay + (size_t)(long)whole - 1;
    float copy[TAIL_STEP + GUARD];
    const float *x = peek(tail->line[i].ring, tail->line[i].mask, start, copy, n + 3);
    for (size_t t = 0; t < n; t++) {
        float f = -(shift + (float)(int)(at + t) * step) - whole;
        float f1 = f + 1.0f, f2 = f - 1.0f, f3 = f - 2.0f;
        float outer = f * f2 * (1.0f / 6.0f), inner = f1 * f3 * 0.5f;
        out[t] = (outer * (f1 * x[t + 3] - f3 * x[t])) + inner * (f2 * x[t + 1] - f * x[t + 2]);
    }
}

/* The losses of four lines, side by side. moving: their values run. */
static inline void lose(TailNetwork *tail, size_t first, size_t at, float (*y)[TAIL_STEP], size_t n,
                        bool moving) {
    const Simd gain = simd_load(tail->state.now + TAIL_GAIN + first);
    const Simd pole = simd_load(tail->state.now + TAIL_POLE + first);
    const Simd gain_step = simd_load(tail->state.step + TAIL_GAIN + first);
    const Simd pole_step = simd_load(tail->state.step + TAIL_POLE + first);
    const Simd least = simd_all(NOTHING), zero = simd_all(0.0f);
    Simd low = simd_load(tail->state.low + first), g = gain, p = pole;
    float *a = y[first], *b = y[first + 1], *c = y[first + 2], *d = y[first + 3];
    for (size_t t = 0; t < n; t++) {
        if (moving) {
            Simd frames = simd_all((float)(int)(at + t));
            g = gain + frames * gain_step;
            p = pole + frames * pole_step;
        }
        low = g * (Simd){a[t], b[t], c[t], d[t]} + p * low;
        low = simd_choose((low > least) | (low < -least), low, zero);
        a[t] = low[0], b[t] = low[1], c[t] = low[2], d[t] = low[3];
    }
    memcpy(tail->state.low + first, &low, sizeof low);
}

/* y := 4 A y: butterflies of four lines for two bits of the line's number, twice. */
static void mix(float (*y)[TAIL_STEP], size_t n) {
    for (size_t apart = 1; apart < TAIL_LINES; apart *= 4)
        for (size_t k = 0; k < TAIL_LINES / 4; k++) {
            size_t first = k % apart + k / apart * 4 * apart;
            float *a = y[first], *b = y[first + apart];
            float *c = y[first + 2 * apart], *d = y[first + 3 * apart];
            for (size_t t = 0; t < n; t++) {
                float ab = a[t] + b[t], a_b = a[t] - b[t], cd = c[t] + d[t], c_d = c[t] - d[t];
                a[t] = ab + cd;
                b[t] = a_b + c_d;
                c[t] = ab - cd;
                d[t] = a_b - c_d;
            }
        }
}

static void listen(const TailNetwork *tail, unsigned side, size_t at, float (*y)[TAIL_STEP],
                   float *out, size_t n) {
    const float level = 0.25f * tail->state.now[TAIL_LEVEL];
    const float step = 0.25f * tail->state.step[TAIL_LEVEL];
    float sum[TAIL_STEP] = {0.0f};
    for (unsigned i = 0; i < TAIL_LINES; i++) {
        const float sign = sign_out(side, i);
        for (size_t t = 0; t < n; t++)
            sum[t] += sign * y[i][t];
    }
    for (size_t t = 0; t < n; t++)
        out[t] = (level + (float)(int)(at + t) * step) * sum[t];
}

static void write_line(TailNetwork *tail, size_t i, const float *mixed, const float *const *in,
                       size_t n) {
    float copy[TAIL_STEP];
    const float left = 0.25f * sign_in(0, (unsigned)i), right = 0.25f * sign_in(1, (unsigned)i);
    size_t mask = tail->line[i].mask, at = tail->state.write & mask, first = mask + 1 - at;
    float *ring = tail->line[i].ring, *s = n <= first ? ring + at : copy;
    if (tail->channels == 2)
        for (size_t t = 0; t < n; t++)
            s[t] = 0.25f * mixed[t] + (left * in[0][t] + right * in[1][t]);
    else
        for (size_t t = 0; t < n; t++)
            s[t] = 0.25f * mixed[t] + left * in[0][t];
    if (n > first) {
        memcpy(ring + at, s, first * sizeof *s);
        memcpy(ring, s + first, (n - first) * sizeof *s);
    }
}

/* n frames within a step. */
static void stretch(TailNetwork *tail, const float *const *in, float *const *out, size_t n) {
    float y[TAIL_LINES][TAIL_STEP], heard[TAIL_CHANNELS][TAIL_STEP];
    const size_t at = tail->state.at;
    for (size_t i = 0; i < TAIL_LINES; i++)
        read_line(tail, i, at, y[i], n);
    for (size_t i = 0; i < TAIL_LINES; i += SIMD_WIDTH)
        tail->state.settled ? lose(tail, i, at, y, n, false) : lose(tail, i, at, y, n, true);
    for (unsigned c = 0; c < tail->channels; c++)
        listen(tail, c, at, y, heard[c], n);
    mix(y, n);
    for (size_t i = 0; i < TAIL_LINES; i++)
        write_line(tail, i, y[i], in, n);
    for (unsigned c = 0; c < tail->channels; c++)
        memcpy(out[c], heard[c], n * sizeof(float));
    tail->state.write += n;
}

/* Asks for what the next n frames will read and write, of all lines at once: between two blocks of
 * the host the caches forget, and to wait for one line after another takes longer than all the
 * rest. */
static void fetch(const TailNetwork *tail, size_t n) {
    enum { LINE = 16 }; /* floats that come together */
    for (size_t i = 0; i < TAIL_LINES; i++) {
        const float *ring = tail->line[i].ring;
        const size_t mask = tail->line[i].mask, write = tail->state.write;
        const size_t read = write - tail->line[i].delay - (size_t)tail->state.motion_frames;
        for (size_t t = 0; t < n + LINE; t += LINE) {
            __builtin_prefetch(ring + ((read + t) & mask));
            __builtin_prefetch(ring + ((write + t) & mask), 1);
        }
    }
}

void tail_network_process(TailNetwork *tail, const float *const *in, float *const *out, size_t n) {
    fetch(tail, n);
    for (size_t i = 0; i < n;) {
        if (tail->state.at == 0)
            begin_step(tail);
        size_t m = TAIL_STEP - tail->state.at;
        m = m < n - i ? m : n - i;
        const float *from[TAIL_CHANNELS] = {in[0] + i, in[tail->channels - 1] + i};
        float *to[TAIL_CHANNELS] = {out[0] + i, out[tail->channels - 1] + i};
        stretch(tail, from, to, m);
        tail->state.at = (tail->state.at + m) % TAIL_STEP;
        i += m;
    }
}
