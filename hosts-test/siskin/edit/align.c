/* SPDX-License-Identifier: ISC */
#include "siskin/edit/align.h"

#include "siskin/edit/warp.h"
#include "siskin/text.h"

#include <math.h>
#include <stdlib.h>

static const double REACH_S = 0.6;   /* of the warp */
static const double REFINE_S = 0.04; /* of an anchor */
static const double AROUND_S = 0.03; /* what is compared on either side of it */
static const double LEAST_SLOPE = 0.5, MOST_SLOPE = 2.0;
static const double MOST_DISTANCE =
    9.2; /* nats: the same words, other singers: 3 to 8; other words: 9.5 and more */

typedef struct {
    const Hearing *lead, *take;
    size_t step; /* frames of the edges, 1 ms */
    float *rise[2], *fall[2];
    double tightness;
    Alignment *result;
} Aligner;

/* ---- phrases ---- */

static bool overlap(const HearingSpan *a, const HearingSpan *b) {
    const double least = 0.3;
    double start = fmax((double)a->start, (double)b->start);
    double end = fmin((double)a->end, (double)b->end);
    double shorter = fmin((double)(a->end - a->start), (double)(b->end - b->start));
    return end - start >= least * shorter;
}

static void add_phrase(Alignment *result, AlignKind kind, const HearingSpan *lead,
                       const HearingSpan *take) {
    AlignPhrase *phrase = text_grow(&result->phrases, &result->n, sizeof *phrase);
    phrase->kind = kind;
    if (lead)
        phrase->lead = *lead;
    if (take)
        phrase->take = *take;
}

/* Whether a phrase goes on into this span: it overlaps what of the other take is in it. */
static bool joins(const AlignPhrase *phrase, const HearingSpan *span, bool of_lead) {
    const HearingSpan *other = of_lead ? &phrase->take : &phrase->lead;
    return phrase->kind == ALIGN_MATCHED && overlap(other, span);
}

/* What overlaps belongs together, also where a rest cut it in one of them alone. */
static void match_phrases(Alignment *result, const HearingSpan *lead, size_t n_lead,
                          const HearingSpan *take, size_t n_take) {
    for (size_t i = 0, j = 0; i < n_lead || j < n_take;) {
        AlignPhrase *last = result->n ? &result->phrases[result->n - 1] : NULL;
        if (i < n_lead && last && joins(last, &lead[i], true))
            last->lead.end = lead[i++].end;
        else if (j < n_take && last && joins(last, &take[j], false))
            last->take.end = take[j++].end;
        else if (i < n_lead && j < n_take && overlap(&lead[i], &take[j]))
            add_phrase(result, ALIGN_MATCHED, &lead[i++], &take[j++]);
        else if (j == n_take || (i < n_lead && lead[i].end < take[j].end))
            add_phrase(result, ALIGN_LACKING, &lead[i++], NULL);
        else
            add_phrase(result, ALIGN_EXTRA, NULL, &take[j++]);
    }
}

/* ---- anchors ---- */

/* Correlation of two stretches of edges around a and b. */
static double alike(const float *x, size_t n_x, const float *y, size_t n_y, long a, long b,
                    long around) {
    double n = 0.0, sx = 0.0, sy = 0.0, xx = 0.0, yy = 0.0, xy = 0.0;
    for (long k = -around; k <= around; k++) {
        double u = a + k >= 0 && a + k < (long)n_x ? (double)x[a + k] : 0.0;
        double v = b + k >= 0 && b + k < (long)n_y ? (double)y[b + k] : 0.0;
        n += 1.0, sx += u, sy += v, xx += u * u, yy += v * v, xy += u * v;
    }
    double both = (xx - sx * sx / n) * (yy - sy * sy / n);
    return both > 1e-9 ? (xy - sx * sy / n) / sqrt(both) : 0.0;
}

/* Moves the take's end of an anchor to where its edges fit best. */
static void refine(const Aligner *a, AlignAnchor *anchor, bool end) {
    const float *x = end ? a->fall[0] : a->rise[0], *y = end ? a->fall[1] : a->rise[1];
    size_t n_x = a->lead->frames / a->step + 1, n_y = a->take->frames / a->step + 1;
    double ms = 1e-3 * a->lead->rate_hz / (double)a->step;
    long reach = lround(1e3 * REFINE_S * ms), around = lround(1e3 * AROUND_S * ms);
    long i = lround(anchor->lead / (double)a->step), j = lround(anchor->take / (double)a->step),
         best = 0;
    double most = -2.0;
    for (long k = -reach; k <= reach; k++) {
        double r = alike(x, n_x, y, n_y, i, j + k, around);
        double away = (double)labs(k) / (double)reach;
        if (r - 0.3 * away * away > most) {
            most = r - 0.3 * away * away;
            anchor->likeness = r;
            best = k;
        }
    }
    anchor->take = (double)((j + best) * (long)a->step);
    anchor->lead = (double)(i * (long)a->step);
}

static double timbre_apart(const Hearing *h, size_t a, size_t b) {
    double sum = 0.0;
    for (size_t c = 0; c < HEARING_CEPSTRA; c++) {
        double d = (double)h->cepstrum[a][c] - (double)h->cepstrum[b][c];
        sum += d * d;
    }
    return sqrt(sum);
}

/* Whether what sets in goes on: a click of the mouth is over after 15 ms, and what sounds then is
 * what sounded before. */
static bool goes_on(const Hearing *h, size_t k) {
    const double least_nats = 2.0;
    const float least_db = 6.0f;
    if (k < 4 || k + 8 >= h->n)
        return true;
    if (hearing_quiet(h, k - 2))
        return !hearing_quiet(h, k + 6) || !hearing_quiet(h, k + 8);
    return timbre_apart(h, k - 4, k + 5) >= least_nats ||
           fabsf(h->level_db[k + 5] - h->level_db[k - 4]) >= least_db;
}

static bool is_onset(const Hearing *h, size_t k) {
    const float least_db = 3.0f;
    const size_t apart = 6;
    if (h->onset[k] < least_db || !goes_on(h, k))
        return false;
    for (size_t d = 1; d <= apart; d++)
        if ((k >= d && h->onset[k - d] > h->onset[k]) ||
            (k + d < h->n && h->onset[k + d] >= h->onset[k]))
            return false;
    return true;
}

/* How far the timbre moves within 30 ms, nats. */
static double change_at(const Hearing *h, size_t k) {
    const size_t half = 3;
    if (k < half || k + half >= h->n || hearing_quiet(h, k - half) || hearing_quiet(h, k + half))
        return 0.0;
    return timbre_apart(h, k - half, k + half);
}

/* From one vowel into another nothing sets in: the warp alone tells. */
static bool is_change(const Hearing *h, size_t k) {
    const double least_nats = 2.5;
    const size_t apart = 8;
    const size_t beside = 6; /* hops: further than a click reaches */
    double change = change_at(h, k);
    if (change < least_nats || k < beside || k + beside >= h->n ||
        timbre_apart(h, k - beside, k + beside) < least_nats)
        return false;
    for (size_t d = 1; d <= apart; d++)
        if ((k >= d && (change_at(h, k - d) > change || is_onset(h, k - d))) ||
            (k + d < h->n && (change_at(h, k + d) >= change || is_onset(h, k + d))))
            return false;
    return true;
}

/* Adds it unless the stretch from the last one would get too short or too long. Of two that do not
 * go together the one that is less alike goes. */
static void add_anchor(Aligner *a, AlignPhrase *phrase, const AlignAnchor *anchor) {
    Alignment *r = a->result;
    while (phrase->n > 0) {
        const AlignAnchor *last = &r->anchors[r->n_anchors - 1];
        double of_lead = anchor->lead - last->lead, of_take = anchor->take - last->take;
        if (of_take > 0.0 && of_lead >= LEAST_SLOPE * of_take && of_lead <= MOST_SLOPE * of_take)
            break;
        if (last->likeness >= anchor->likeness)
            return;
        r->n_anchors--;
        phrase->n--;
    }
    if (phrase->n == 0)
        phrase->first = r->n_anchors;
    *(AlignAnchor *)text_grow(&r->anchors, &r->n_anchors, sizeof *anchor) = *anchor;
    phrase->n++;
}

static WarpPart part_of(const Hearing *h, const HearingSpan *span) {
    const size_t around = 20; /* hops of rest on either side */
    size_t first = span->start / h->hop, last = span->end / h->hop + 1 + around;
    return (WarpPart){first > around ? first - around : 0, last < h->n ? last : h->n};
}

static void find_anchors(Aligner *a, AlignPhrase *phrase) {
    const double least_alike = 0.5;
    WarpPart lead = part_of(a->lead, &phrase->lead), take = part_of(a->take, &phrase->take);
    float *at = text_take(lead.last - lead.first, sizeof *at);
    phrase->distance = warp(a->lead, lead, a->take, take, REACH_S, at);
    if (!(phrase->distance <= MOST_DISTANCE))
        phrase->kind = ALIGN_OTHER;
    double hop = (double)a->lead->hop;
    size_t end = phrase->lead.end / a->lead->hop;
    for (size_t k = lead.first; phrase->kind == ALIGN_MATCHED && k < lead.last; k++) {
        bool sets_in = k == end || is_onset(a->lead, k);
        if (k > end || (!sets_in && !is_change(a->lead, k)))
            continue;
        AlignAnchor anchor = {.lead = ((double)k + 0.5) * hop,
                              .take = ((double)at[k - lead.first] + 0.5) * hop,
                              .likeness = least_alike};
        if (sets_in)
            refine(a, &anchor, k == end);
        if (anchor.likeness >= least_alike)
            add_anchor(a, phrase, &anchor);
    }
    free(at);
}

/* ---- the map ---- */

/* The longest rest between two frames; false: none of 30 ms. */
static bool longest_rest(const Hearing *h, double from, double to, size_t *first, size_t *last) {
    size_t best = 0, run = 0;
    *last = 0;
    for (size_t k = hearing_hop(h, from) + 1; k < hearing_hop(h, to); k++) {
        run = hearing_quiet(h, k) ? run + 1 : 0;
        if (run > best) {
            best = run;
            *last = k + 1;
        }
    }
    *first = best ? *last - best : 0;
    return (double)best * h->hop_s >= 0.03;
}

/* In the longest rest between two frames the shift goes from one to the other. */
static void change_in_rest(TimeMap *map, const Hearing *take, double from, double from_shift,
                           double to, double to_shift) {
    size_t first, last;
    if (!longest_rest(take, from, to, &first, &last))
        return;
    double start = (double)(first * take->hop), end = (double)(last * take->hop);
    time_map_add(map, start, start + from_shift);
    time_map_add(map, end, end + to_shift);
}

static double shift_of(const Aligner *a, const AlignAnchor *anchor) {
    double apart = anchor->lead - anchor->take;
    return fabs(apart) < 1e-3 * ALIGN_NEAR_MS * a->take->rate_hz ? 0.0 : a->tightness * apart;
}

/* Before the first rest and after the last nothing moves; without a rest there the edge of the take
 * moves along. */
static void make_map(Aligner *a) {
    Alignment *r = a->result;
    double last_at = 0.0, last_shift = 0.0;
    for (size_t i = 0; i < r->n; i++) {
        const AlignPhrase *phrase = &r->phrases[i];
        if (phrase->kind == ALIGN_LACKING || (phrase->kind == ALIGN_MATCHED && phrase->n == 0))
            continue;
        bool moves = phrase->kind == ALIGN_MATCHED;
        const AlignAnchor *first = moves ? &r->anchors[phrase->first] : NULL;
        const AlignAnchor *last = moves ? first + phrase->n - 1 : NULL;
        double start = (double)phrase->take.start, end = (double)phrase->take.end;
        change_in_rest(&r->map, a->take, last_at, last_shift, start,
                       moves ? shift_of(a, first) : 0.0);
        for (const AlignAnchor *anchor = first; moves && anchor <= last; anchor++)
            time_map_add(&r->map, anchor->take, anchor->take + shift_of(a, anchor));
        if (!moves) {
            time_map_add(&r->map, start, start);
            time_map_add(&r->map, end, end);
        }
        last_at = moves ? fmax(end, last->take) : end;
        last_shift = moves ? shift_of(a, last) : 0.0;
    }
    change_in_rest(&r->map, a->take, last_at, last_shift, (double)a->take->frames, 0.0);
}

/* ---- the whole ---- */

static bool find_edges(Aligner *a, const Hearing *h, const float *audio, int which) {
    const double reach_db = 50.0;
    size_t n = h->frames / a->step + 1;
    a->rise[which] = text_take(n, sizeof(float));
    a->fall[which] = text_take(n, sizeof(float));
    return hearing_edges(audio, h->frames, h->rate_hz, a->step, h->voice_db - reach_db,
                         a->rise[which], a->fall[which]);
}

bool align_find(Alignment *alignment, const Hearing *lead, const float *lead_audio,
                const Hearing *take, const float *take_audio, double tightness) {
    Aligner a = {.lead = lead, .take = take, .tightness = tightness, .result = alignment};
    a.step = (size_t)fmax(1.0, round(1e-3 * lead->rate_hz));
    *alignment = (Alignment){0};
    HearingSpan *of_lead, *of_take;
    size_t n_lead = hearing_phrases(lead, &of_lead), n_take = hearing_phrases(take, &of_take);
    match_phrases(alignment, of_lead, n_lead, of_take, n_take);
    bool fine = find_edges(&a, lead, lead_audio, 0) && find_edges(&a, take, take_audio, 1);
    for (size_t i = 0; fine && i < alignment->n; i++)
        if (alignment->phrases[i].kind == ALIGN_MATCHED)
            find_anchors(&a, &alignment->phrases[i]);
    make_map(&a);
    for (int i = 0; i < 2; i++) {
        free(a.rise[i]);
        free(a.fall[i]);
    }
    free(of_lead);
    free(of_take);
    return fine;
}

void align_free(Alignment *alignment) {
    free(alignment->phrases);
    free(alignment->anchors);
    time_map_free(&alignment->map);
    *alignment = (Alignment){0};
}
