/* SPDX-License-Identifier: ISC */
#include "siskin/edit/join.h"

#include "siskin/edit/comp.h"
#include "siskin/measure/statistics.h"
#include "siskin/text.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const double FADE_S = 0.015;
static const double EDGE_S = 0.05; /* a phrase may end this much before its piece does */

/* ---- rooms ---- */

enum { LEAST_REST = 10 }; /* hops */

/* The next rest from hop *k on: *k is moved to its end, its length is returned; 0: there is no
 * other. Its first and last 10 ms, where sounds die away or rise, are no part of it. */
static size_t next_rest(const Hearing *h, size_t *k) {
    const size_t edge = 2;
    size_t run = 0;
    for (; *k < h->n; ++*k) {
        bool rests = hearing_quiet(h, *k) && h->kind[*k] == SCENE_ROOM;
        if (!rests && run >= LEAST_REST + 2 * edge)
            break;
        run = rests ? run + 1 : 0;
    }
    return run >= LEAST_REST + 2 * edge ? run - 2 * edge : 0;
}

double join_room_db(const Hearing *h) {
    double *level = text_take(h->n + 1, sizeof *level);
    size_t run, n = 0;
    for (size_t k = 0; (run = next_rest(h, &k)) > 0; k++)
        for (size_t i = k - 2 - run; i < k - 2; i++)
            level[n++] = (double)h->level_db[i];
    double db = statistics_median(level, n);
    free(level);
    return db;
}

/* Room tone of a take, its rests end to end, 10 ms crossed at equal power. */
typedef struct {
    float *channel[2];
    size_t n;
} Bed;

static void append(Bed *bed, const JoinTake *take, unsigned channels, size_t start, size_t n) {
    size_t fade = (size_t)(0.01 * take->hearing->rate_hz);
    fade = bed->n < fade ? bed->n : fade;
    for (unsigned c = 0; c < channels; c++) {
        float *to = bed->channel[c] + bed->n - fade;
        for (size_t i = 0; i < n; i++) {
            double part = fade && i < fade ? ((double)i + 0.5) / (double)fade : 1.0;
            double x = start + i < take->n ? (double)take->channel[c][start + i] : 0.0;
            double old = part < 1.0 ? (double)to[i] * cos(0.5 * M_PI * part) : 0.0;
            to[i] = (float)(old + x * sin(0.5 * M_PI * part));
        }
    }
    bed->n += n - fade;
}

static Bed make_bed(const JoinTake *take, unsigned channels) {
    Bed bed = {.n = 0};
    for (unsigned c = 0; c < channels; c++)
        bed.channel[c] = text_take(take->n + take->hearing->hop + 1, sizeof(float));
    size_t run;
    for (size_t k = 0; (run = next_rest(take->hearing, &k)) > 0; k++)
        append(&bed, take, channels, (k - 2 - run) * take->hearing->hop, run * take->hearing->hop);
    return bed;
}

static void free_bed(Bed *bed) {
    free(bed->channel[0]);
    free(bed->channel[1]);
}

/* ---- joining ---- */

typedef struct {
    const JoinTake *takes;
    size_t n_takes;
    unsigned channels;
    float *const *out;
    size_t n_out;
    Bed bed;
    double fill[COMP_TAKES]; /* gain of the bed under each take */
} Joiner;

/* Adds a piece, from..to, with half a fade on either side where `open` says that it is crossed. */
static void add_piece(const Joiner *j, size_t take, size_t from, size_t to, bool in, bool out) {
    const JoinTake *t = &j->takes[take];
    size_t half = (size_t)(0.5 * FADE_S * t->hearing->rate_hz);
    size_t first = in && from > half ? from - half : from, last = out ? to + half : to;
    for (size_t i = first; i < last && i < j->n_out; i++) {
        double rise = in ? fmin(1.0, ((double)(i - first) + 0.5) / (2.0 * (double)half)) : 1.0;
        double fall = out ? fmin(1.0, ((double)(last - i) - 0.5) / (2.0 * (double)half)) : 1.0;
        bool whole = rise >= 1.0 && fall >= 1.0;
        double gain = whole ? 1.0 : sin(0.5 * M_PI * rise) * sin(0.5 * M_PI * fall);
        for (unsigned c = 0; c < j->channels; c++) {
            float x = i < t->n ? t->channel[c][i] : 0.0f;
            if (j->fill[take] > 0.0)
                x += (float)(j->fill[take] * (double)j->bed.channel[c][i % j->bed.n]);
            j->out[c][i] += whole ? x : (float)(gain * (double)x);
        }
    }
}

/* The loudest room in use; how much of it the others need. */
static void plan_fill(Joiner *j, const JoinPiece *pieces, size_t n) {
    double room_db[COMP_TAKES], most = -INFINITY;
    size_t loudest = 0;
    for (size_t t = 0; t < j->n_takes; t++)
        room_db[t] = (double)NAN;
    for (size_t i = 0; i < n; i++) {
        size_t take = pieces[i].take;
        room_db[take] = join_room_db(j->takes[take].hearing);
        if (room_db[take] > most) {
            most = room_db[take];
            loudest = take;
        }
    }
    j->bed = make_bed(&j->takes[loudest], j->channels);
    for (size_t t = 0; t < j->n_takes; t++) {
        double under_db = most - room_db[t]; /* NAN: not in use, or never rests */
        if (j->bed.n > 0 && under_db > 0.1 && under_db <= JOIN_MOST_APART_DB)
            j->fill[t] = sqrt(1.0 - pow(10.0, -0.1 * under_db));
    }
}

static bool find_cut(const Joiner *j, const JoinPiece *a, const JoinPiece *b, size_t *cut,
                     HostError *error) {
    double rate_hz = j->takes[0].hearing->rate_hz;
    size_t edge = (size_t)(EDGE_S * rate_hz), from = a->end > edge ? a->end - edge : 0;
    if (comp_cut(j->takes[a->take].hearing, j->takes[b->take].hearing, from, b->start + edge, cut))
        return true;
    return host_fail(
        error,
        "takes %zu and %zu share no rest of 60 ms between %.3f and %.3f s: they cannot "
        "be joined there",
        a->take + 1, b->take + 1, (double)a->end / rate_hz, (double)b->start / rate_hz);
}

bool join_takes(const JoinTake *takes, size_t n_takes, const JoinPiece *pieces, size_t n_pieces,
                unsigned channels, float *const *out, size_t n_out, HostError *error) {
    Joiner j = {takes, n_takes, channels, out, n_out, {{NULL}, 0}, {0.0}};
    bool fine = true;
    plan_fill(&j, pieces, n_pieces);
    size_t from = 0, first = 0;
    for (size_t i = 0; i < n_pieces && fine; i++) {
        bool last = i + 1 == n_pieces;
        if (!last && pieces[i + 1].take == pieces[i].take)
            continue;
        size_t cut = n_out;
        fine = last || find_cut(&j, &pieces[i], &pieces[i + 1], &cut, error);
        if (fine)
            add_piece(&j, pieces[i].take, from, cut, first > 0, !last);
        from = cut;
        first = i + 1;
    }
    free_bed(&j.bed);
    return fine;
}
