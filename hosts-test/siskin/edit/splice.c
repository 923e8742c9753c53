/* SPDX-License-Identifier: ISC */
#include "siskin/edit/splice.h"

#include "siskin/text.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* ---- pieces of a take, by what may be done to them ---- */

typedef enum { REST, VOICED, NOISE, COPIED } Kind;

typedef struct {
    Kind kind;
    int64_t start, end;
} Piece;

typedef struct {
    Splices *splices;
    const TimeMap *map;
    const Hearing *h;
    const float *mid;
    Piece *pieces;
    size_t n_pieces;
    int64_t offset; /* now */
} Planner;

/* A burst, or any attack as sudden: out of a rest, 10 dB and more within 10 ms. */
static bool is_burst(const Hearing *h, size_t k) {
    const float rise_db = 10.0f;
    return k >= 2 && !hearing_quiet(h, k) && hearing_quiet(h, k - 2) &&
           h->level_db[k] - h->level_db[k - 2] >= rise_db;
}

size_t splice_bursts(const Hearing *h, HearingSpan **span) {
    size_t n = 0, around = (size_t)(0.02 * h->rate_hz);
    *span = NULL;
    for (size_t k = 0; k < h->n; k++) {
        if (!is_burst(h, k))
            continue;
        /* It may have begun in the hop before, and lasts 20 ms at most. */
        size_t start = (k - 1) * h->hop, end = (k + 4) * h->hop + around;
        start = start > around ? start - around : 0;
        if (n > 0 && (*span)[n - 1].end >= start)
            (*span)[n - 1].end = end;
        else
            *(HearingSpan *)text_grow(span, &n, sizeof **span) = (HearingSpan){start, end};
    }
    return n;
}

static Kind kind_of(const Hearing *h, size_t k) {
    if (hearing_quiet(h, k))
        return REST;
    if (h->kind[k] == SCENE_BREATH)
        return COPIED;
    return h->pitch_hz[k] > 0.0f ? VOICED : NOISE;
}

static void add_piece(Planner *p, Kind kind, int64_t start, int64_t end) {
    Piece *last = p->n_pieces ? &p->pieces[p->n_pieces - 1] : NULL;
    if (last && last->kind == kind && last->end == start)
        last->end = end;
    else if (end > start)
        *(Piece *)text_grow(&p->pieces, &p->n_pieces, sizeof *p->pieces) =
            (Piece){kind, start, end};
}

static void find_pieces(Planner *p) {
    HearingSpan *burst;
    size_t n = splice_bursts(p->h, &burst), next = 0;
    for (size_t k = 0; k < p->h->n; k++) {
        int64_t start = (int64_t)(k * p->h->hop), end = start + (int64_t)p->h->hop;
        while (next < n && (int64_t)burst[next].end <= start)
            next++;
        bool copied = next < n && (int64_t)burst[next].start < end;
        add_piece(p, copied ? COPIED : kind_of(p->h, k), start, end);
    }
    free(burst);
}

/* ---- planning ---- */

static float sample(const Planner *p, int64_t at) {
    return at >= 0 && at < (int64_t)p->h->frames ? p->mid[at] : 0.0f;
}

static double likeness(const Planner *p, int64_t a, int64_t b, int64_t n) {
    double ab = 0.0, aa = 1e-12, bb = 1e-12;
    for (int64_t i = 0; i < n; i++) {
        double x = (double)sample(p, a + i), y = (double)sample(p, b + i);
        ab += x * y;
        aa += x * x;
        bb += y * y;
    }
    return ab / sqrt(aa * bb);
}

/* From frame `at` of the take on to at + jump, over `fade` frames. */
static void add_splice(Planner *p, int64_t at, int64_t jump, int64_t fade) {
    double r = likeness(p, at, at + jump, fade);
    *(Splice *)text_grow(&p->splices->list, &p->splices->n, sizeof(Splice)) =
        (Splice){.at = at - p->offset,
                 .before = p->offset,
                 .after = p->offset + jump,
                 .fade = (size_t)fade,
                 .likeness = fmin(fmax(r, 0.0), 1.0)};
    p->offset += jump;
}

/* The jump within least..most at which both sides are most alike; lengths that differ from `wish`
 * cost a little, so that the nearest of equal ones is taken. */
static int64_t best_jump(const Planner *p, int64_t at, int64_t least, int64_t most, int64_t wish,
                         int64_t window, double *best) {
    int64_t jump = wish;
    *best = -2.0;
    for (int64_t k = least; k <= most; k++) {
        double r = likeness(p, at, at + k, window);
        double away = fabs((double)(k - wish)) / (double)(most - least + 1);
        if (r - 0.05 * away > *best) {
            *best = r - 0.05 * away;
            jump = k;
        }
    }
    return jump;
}

static int64_t frames_of(const Planner *p, double seconds) {
    return (int64_t)llround(seconds * p->h->rate_hz);
}

/* What the offset should be at a frame of the take. */
static double wished(const Planner *p, double at) {
    return at - time_map_at(p->map, at);
}

/* In a rest: one splice, in its middle; more of them where so much is missing that the rest is to
 * be repeated. */
static void splice_rest(Planner *p, const Piece *piece, const Piece *next) {
    double at =
        next && next->kind == COPIED ? 0.5 * (double)(next->start + next->end) : (double)piece->end;
    int64_t left = llround(wished(p, at)) - p->offset;
    int64_t start = piece->start > 0 ? piece->start : 0;
    int64_t fade = frames_of(p, 0.01), length = piece->end - start;
    fade = fade < length / 3 ? fade : length / 3;
    int64_t least = frames_of(p, 0.0005), room = length - fade;
    if (fade < frames_of(p, 0.002))
        return;
    int64_t from = start; /* the earliest that the next splice may begin */
    while (llabs(left) >= least) {
        int64_t jump = left < -room                      ? -room
                       : left > piece->end - fade - from ? piece->end - fade - from
                                                         : left;
        if (jump > 0 && jump < least)
            return;
        int64_t first = jump < 0 && from < start - jump ? start - jump : from;
        int64_t last = jump > 0 ? piece->end - fade - jump : piece->end - fade;
        if (last < first)
            return;
        int64_t place = jump == left ? (first + last) / 2 : last;
        add_splice(p, place, jump, fade);
        left -= jump;
        from = place + jump + fade;
    }
}

/* What a splice at `at` may be: least..most frames, their best and how long both sides are looked
 * at. false: none is called for yet. */
typedef struct {
    int64_t least, most, wish, window;
    double alike;
} Wanted;

static bool wanted_voiced(const Planner *p, int64_t at, double late, Wanted *w) {
    const double shortest_s = 0.004;
    double hz = (double)p->h->pitch_hz[hearing_hop(p->h, (double)at)];
    double period = p->h->rate_hz / (hz > 0.0 ? hz : 150.0);
    double length = period * ceil(shortest_s * p->h->rate_hz / period);
    if (fabs(late) < 0.5 * length)
        return false;
    int64_t slack = (int64_t)(0.12 * period), wish = llround(late > 0.0 ? length : -length);
    *w = (Wanted){.least = wish - slack,
                  .most = wish + slack,
                  .wish = wish,
                  .window = llround(length),
                  .alike = 0.7};
    return true;
}

static bool wanted_noise(const Planner *p, double late, Wanted *w) {
    int64_t search = frames_of(p, 0.008), shortest = frames_of(p, 0.003), wish = llround(late);
    if (llabs(wish) < 2 * shortest)
        return false;
    *w = (Wanted){
        .least = wish > 0 ? (wish - search > shortest ? wish - search : shortest) : wish - search,
        .most = wish > 0 ? wish + search : (wish + search < -shortest ? wish + search : -shortest),
        .wish = wish,
        .window = search,
        .alike = -1.0};
    return true;
}

/* Along a piece that sounds. Where nothing alike is found the next place is tried, until the take
 * is so late or early that it must be. */
static void splice_sound(Planner *p, const Piece *piece) {
    const double must_s = 0.015;
    int64_t step = frames_of(p, 0.001);
    for (int64_t at = piece->start; at < piece->end; at += step) {
        double late = wished(p, (double)at) - (double)p->offset, alike;
        Wanted w;
        if (!(piece->kind == VOICED ? wanted_voiced(p, at, late, &w) : wanted_noise(p, late, &w)))
            continue;
        if (at + w.window + (w.most > 0 ? w.most : 0) > piece->end ||
            at + (w.least < 0 ? w.least : 0) < piece->start)
            continue;
        int64_t jump = best_jump(p, at, w.least, w.most, w.wish, w.window, &alike);
        if (alike < w.alike && fabs(late) < must_s * p->h->rate_hz)
            continue;
        add_splice(p, at, jump, w.window);
        at += jump + w.window - step;
    }
}

void splices_plan(Splices *splices, const TimeMap *map, const Hearing *hearing, const float *mid) {
    Planner p = {.splices = splices, .map = map, .h = hearing, .mid = mid};
    *splices = (Splices){0};
    find_pieces(&p);
    splices->first = p.offset = map->n ? llround(map->points[0].from - map->points[0].to) : 0;
    for (size_t i = 0; i < p.n_pieces; i++) {
        const Piece *piece = &p.pieces[i], *next = i + 1 < p.n_pieces ? piece + 1 : NULL;
        if (piece->kind == REST)
            splice_rest(&p, piece, next);
        else if (piece->kind != COPIED)
            splice_sound(&p, piece);
    }
    free(p.pieces);
}

void splices_free(Splices *splices) {
    free(splices->list);
    *splices = (Splices){0};
}

/* ---- doing it ---- */

static void copy(const float *in, size_t n, int64_t offset, float *out, int64_t from, int64_t to) {
    for (int64_t t = from > 0 ? from : 0; t < to; t++) {
        int64_t at = t + offset;
        out[t] = at >= 0 && at < (int64_t)n ? in[at] : 0.0f;
    }
}

static void cross(const Splice *s, const float *in, size_t n, float *out, size_t n_out) {
    for (size_t i = 0; i < s->fade; i++) {
        int64_t t = s->at + (int64_t)i, x = t + s->before, y = t + s->after;
        if (t < 0 || t >= (int64_t)n_out)
            continue;
        double b = 0.5 - 0.5 * cos(M_PI * ((double)i + 0.5) / (double)s->fade), a = 1.0 - b;
        double unit = 1.0 / sqrt(a * a + b * b + 2.0 * s->likeness * a * b);
        double before = x >= 0 && x < (int64_t)n ? (double)in[x] : 0.0;
        double after = y >= 0 && y < (int64_t)n ? (double)in[y] : 0.0;
        out[t] = (float)(unit * (a * before + b * after));
    }
}

void splices_render(const Splices *splices, const float *in, size_t n, float *out, size_t n_out) {
    int64_t done = 0, end = (int64_t)n_out, offset = splices->first;
    for (size_t i = 0; i < splices->n; i++) {
        const Splice *s = &splices->list[i];
        copy(in, n, offset, out, done < end ? done : end, s->at < end ? s->at : end);
        cross(s, in, n, out, n_out);
        done = s->at + (int64_t)s->fade;
        offset = s->after;
    }
    copy(in, n, offset, out, done < end ? done : end, end);
}

double splices_at(const Splices *splices, double frame) {
    int64_t offset = splices->first;
    double best = frame - (double)offset;
    for (size_t i = 0; i < splices->n; i++) {
        const Splice *s = &splices->list[i];
        double middle = (double)s->at + 0.5 * (double)s->fade; /* of the output */
        if (frame - (double)s->before < middle)
            return frame - (double)s->before;
        best = fmax(middle, frame - (double)s->after);
    }
    return best;
}
