/* SPDX-License-Identifier: ISC */
#include "siskin/edit/comp.h"

#include "measure/clipping.h"
#include "siskin/edit/align.h"
#include "siskin/measure/statistics.h"
#include "siskin/text.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const double CHANGE_POINTS = 0.3;

typedef struct {
    const CompTake *takes;
    size_t n;
    Comp *result;
    size_t reference;           /* the take that sings most */
    TimeMap map[COMP_TAKES];    /* from each take to the reference */
    double *centre[COMP_TAKES]; /* of each hop: cents of a steady note over 440 Hz; NAN: none */
    double tuning;              /* cents, 0..100; NAN: they keep to no semitones */
} Judge;

double comp_points(CompFault fault, double value) {
    static const double unit[COMP_FAULTS] = {8.0, 10.0, 0.2, 15.0, 3.0, 1.0, 5.0, 2.0};
    static const double spared[COMP_FAULTS] = {0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 1.5};
    return isnan(value) ? 0.0 : fmax(0.0, value - spared[fault]) / unit[fault];
}

/* ---- sections ---- */

static int by_start(const void *a, const void *b) {
    const HearingSpan *x = a, *y = b;
    return x->start < y->start ? -1 : x->start > y->start;
}

/* Phrases of all takes, joined where they overlap or hardly rest. */
static void find_sections(Judge *j) {
    HearingSpan *all = NULL;
    size_t n = 0, least = (size_t)(0.06 * j->takes[0].hearing->rate_hz);
    for (size_t t = 0; t < j->n; t++) {
        HearingSpan *span;
        size_t count = hearing_phrases(j->takes[t].hearing, &span);
        for (size_t i = 0; i < count; i++)
            *(HearingSpan *)text_grow(&all, &n, sizeof *all) = span[i];
        free(span);
    }
    if (n)
        qsort(all, n, sizeof *all, by_start);
    Comp *c = j->result;
    for (size_t i = 0; i < n; i++) {
        CompSection *last = c->n ? &c->sections[c->n - 1] : NULL;
        if (last && all[i].start < last->end + least) {
            last->end = all[i].end > last->end ? all[i].end : last->end;
            continue;
        }
        CompSection *section = text_grow(&c->sections, &c->n, sizeof *section);
        section->start = all[i].start;
        section->end = all[i].end;
    }
    free(all);
}

/* ---- pitch ---- */

/* The mean over 200 ms where all of it is sung and it is no glide: moves less than 60 cents. */
static double *centre_line(const Hearing *h) {
    const size_t half = 20;
    double *line = text_take(h->n, sizeof *line);
    for (size_t k = 0; k < h->n; k++) {
        double sum = 0.0, before = 0.0, after = 0.0;
        size_t voiced = 0;
        for (size_t i = 0; k >= half && k + half < h->n && i < 2 * half; i++) {
            double hz = (double)h->pitch_hz[k - half + i];
            if (hz <= 0.0)
                break;
            double cents = 1200.0 * log2(hz / 440.0);
            sum += cents;
            *(i < half ? &before : &after) += cents;
            voiced++;
        }
        bool steady = voiced == 2 * half && fabs(after - before) / (double)half < 60.0;
        line[k] = steady ? sum / (double)(2 * half) : (double)NAN;
    }
    return line;
}

static double nearest_semitone(double cents, double tuning) {
    return remainder(cents - tuning, 100.0);
}

/* Circular mean, a semitone being a turn. */
static double tuning_of(const Judge *j) {
    const double least_kept = 0.2;
    double re = 0.0, im = 0.0, n = 0.0;
    for (size_t t = 0; t < j->n; t++)
        for (size_t k = 0; k < j->takes[t].hearing->n; k++) {
            if (isnan(j->centre[t][k]))
                continue;
            re += cos(2.0 * M_PI * j->centre[t][k] / 100.0);
            im += sin(2.0 * M_PI * j->centre[t][k] / 100.0);
            n += 1.0;
        }
    return n > 0.0 && hypot(re, im) >= least_kept * n ? 100.0 * atan2(im, re) / (2.0 * M_PI)
                                                      : (double)NAN;
}

static double pitch_fault(const Judge *j, size_t t, size_t first, size_t last) {
    const double fewest = 20.0; /* hops: 100 ms of steady notes */
    double sum = 0.0, n = 0.0;
    for (size_t k = first; k < last && k < j->takes[t].hearing->n; k++) {
        if (isnan(j->centre[t][k]))
            continue;
        sum += fabs(nearest_semitone(j->centre[t][k], j->tuning));
        n += 1.0;
    }
    return n >= fewest ? sum / n : (double)NAN;
}

/* Hop of a take that is hop k of the reference. */
static size_t hop_of(const Judge *j, size_t t, size_t k) {
    const Hearing *h = j->takes[t].hearing;
    double frame = ((double)k + 0.5) * (double)h->hop;
    return hearing_hop(h, t == j->reference ? frame : time_map_from(&j->map[t], frame));
}

static void note_faults(const Judge *j, CompSection *section, size_t first, size_t last) {
    const double other_cents = 60.0;
    double other[COMP_TAKES] = {0.0}, all[COMP_TAKES] = {0.0};
    for (size_t k = first; k < last; k++) {
        double cents[COMP_TAKES];
        size_t known = 0;
        for (size_t t = 0; t < j->n; t++) {
            cents[t] = j->centre[t][hop_of(j, t, k)];
            known += !isnan(cents[t]);
        }
        double middle = statistics_median(cents, j->n);
        for (size_t t = 0; t < j->n && known >= 3; t++) {
            all[t] += !isnan(cents[t]);
            other[t] += fabs(cents[t] - middle) > other_cents;
        }
    }
    for (size_t t = 0; t < j->n; t++)
        section->score[t].value[COMP_NOTES] =
            all[t] >= 20.0 ? 100.0 * other[t] / all[t] : (double)NAN;
}

/* ---- words ---- */

static bool is_other(const Alignment *alignment, const CompSection *section) {
    for (size_t i = 0; i < alignment->n; i++) {
        const AlignPhrase *phrase = &alignment->phrases[i];
        if (phrase->kind == ALIGN_OTHER && phrase->lead.end > section->start &&
            phrase->lead.start < section->end)
            return true;
    }
    return false;
}

/* Where most takes are not like the reference, it is the one that sings other words. */
static void word_faults(const Judge *j, CompSection *section, const Alignment *alignments) {
    size_t others = 0, sing = 0;
    for (size_t t = 0; t < j->n; t++) {
        sing += isfinite(section->score[t].points);
        others += t != j->reference && is_other(&alignments[t], section);
    }
    bool reference = 2 * others > sing;
    for (size_t t = 0; t < j->n; t++) {
        bool other =
            t == j->reference ? reference : !reference && is_other(&alignments[t], section);
        section->score[t].value[COMP_WORDS] = sing >= 3 && other ? 1.0 : 0.0;
    }
}

/* ---- timing ---- */

/* How late a take is at a frame of the reference, frames. */
static double late_at(const Judge *j, size_t t, double frame) {
    return t == j->reference ? 0.0 : time_map_from(&j->map[t], frame) - frame;
}

static void timing_faults(const Judge *j, CompSection *section, const Alignment *alignments) {
    const double ms = 1e3 / j->takes[0].hearing->rate_hz;
    double sum[COMP_TAKES] = {0.0}, n = 0.0;
    size_t sing = 0;
    for (size_t t = 0; t < j->n; t++)
        sing += isfinite(section->score[t].points);
    /* At the anchors of all takes; those of the reference are among each of them. */
    for (size_t of = 0; of < j->n; of++)
        for (size_t i = 0; i < alignments[of].n_anchors; i++) {
            double at = alignments[of].anchors[i].lead, late[COMP_TAKES];
            if (at < (double)section->start || at >= (double)section->end)
                continue;
            for (size_t t = 0; t < j->n; t++)
                late[t] = isfinite(section->score[t].points) ? late_at(j, t, at) : (double)NAN;
            double middle = statistics_median(late, j->n);
            for (size_t t = 0; t < j->n; t++)
                sum[t] += ms * fabs(late[t] - middle);
            n += 1.0;
        }
    for (size_t t = 0; t < j->n; t++)
        section->score[t].value[COMP_TIMING] = n > 0.0 && sing >= 3 ? sum[t] / n : (double)NAN;
}

/* ---- level, noise, clicks, clipping ---- */

/* Mean level of the hops that are sung, dB; NAN for less than 50 ms of them. */
static double sung_db(const Hearing *h, size_t first, size_t last) {
    double sum = 0.0, n = 0.0;
    for (size_t k = first; k < last && k < h->n; k++) {
        if (h->kind[k] != SCENE_VOICED || hearing_quiet(h, k))
            continue;
        sum += pow(10.0, 0.1 * (double)h->level_db[k]);
        n += 1.0;
    }
    return n >= 10.0 ? 10.0 * log10(sum / n) : (double)NAN;
}

/* What a tenth of the hops stay under, dB, whatever they were taken for. */
static double softest_db(const Hearing *h, size_t first, size_t last) {
    last = last < h->n ? last : h->n;
    double *level = text_take(last - first + 1, sizeof *level);
    for (size_t k = first; k < last; k++)
        level[k - first] = (double)h->level_db[k];
    double db = statistics_quantile(level, last - first, 0.1);
    free(level);
    return db;
}

static double tops_of(const CompTake *take, const CompSection *section) {
    Clipping tops;
    size_t end = section->end < take->hearing->frames ? section->end : take->hearing->frames;
    clipping_prepare(&tops, take->hearing->rate_hz, 1);
    if (end > section->start) {
        const float *in = take->mid + section->start;
        clipping_process(&tops, &in, end - section->start);
    }
    return (double)clipping_reading(&tops).tops;
}

static double clicks_of(const CompTake *take, const CompSection *section) {
    const double around_s = 0.1;
    double n = 0.0, rate_hz = take->hearing->rate_hz;
    for (size_t i = 0; i < take->n_clicks; i++)
        n += take->click_s[i] >= (double)section->start / rate_hz - around_s &&
             take->click_s[i] < (double)section->end / rate_hz + around_s;
    return n;
}

/* Against the others, so that what all takes have is no fault of one. */
static void level_faults(const Judge *j, CompSection *section, size_t first, size_t last) {
    const size_t around = 60; /* hops: 0.3 s of the rests beside it */
    double level[COMP_TAKES] = {0.0}, noise[COMP_TAKES] = {0.0}, least = INFINITY;
    for (size_t t = 0; t < j->n; t++) {
        const Hearing *h = j->takes[t].hearing;
        size_t from = first > around ? first - around : 0;
        level[t] = sung_db(h, first, last);
        noise[t] = from < h->n ? softest_db(h, from, last + around) - level[t] : (double)NAN;
        if (noise[t] < least)
            least = noise[t];
    }
    /* What lies further than 60 dB under a voice is not heard. */
    least = fmax(least, -60.0);
    double middle = statistics_median(level, j->n);
    for (size_t t = 0; t < j->n; t++) {
        section->score[t].value[COMP_LEVEL] = fabs(level[t] - middle);
        section->score[t].value[COMP_NOISE] =
            isnan(noise[t]) ? (double)NAN : fmax(0.0, noise[t] - least);
    }
}

/* ---- the choice ---- */

/* A take that sings less than half of what the others do has lost the rest. */
static void find_lacking(const Judge *j, CompSection *section, size_t first, size_t last) {
    const double fewest = 16.0; /* hops */
    double sung[COMP_TAKES], most = 0.0;
    for (size_t t = 0; t < j->n; t++) {
        const Hearing *h = j->takes[t].hearing;
        sung[t] = 0.0;
        for (size_t k = first; k < last && k < h->n; k++)
            sung[t] += h->kind[k] == SCENE_VOICED && !hearing_quiet(h, k);
        most = fmax(most, sung[t]);
    }
    for (size_t t = 0; t < j->n; t++)
        section->score[t].points = sung[t] >= fmax(0.5 * most, fewest) ? 0.0 : INFINITY;
}

static void score_section(const Judge *j, CompSection *section, const Alignment *alignments) {
    size_t hop = j->takes[0].hearing->hop, first = section->start / hop, last = section->end / hop;
    find_lacking(j, section, first, last);
    level_faults(j, section, first, last);
    note_faults(j, section, first, last);
    word_faults(j, section, alignments);
    timing_faults(j, section, alignments);
    for (size_t t = 0; t < j->n; t++) {
        CompScore *score = &section->score[t];
        score->value[COMP_PITCH] = pitch_fault(j, t, first, last);
        score->value[COMP_CLICKS] = clicks_of(&j->takes[t], section);
        score->value[COMP_CLIPPING] = tops_of(&j->takes[t], section);
        for (CompFault fault = COMP_PITCH; fault < COMP_FAULTS; fault++)
            score->points += comp_points(fault, score->value[fault]);
    }
}

bool comp_cut(const Hearing *a, const Hearing *b, size_t from, size_t to, size_t *cut) {
    size_t least = (size_t)ceil(0.06 / a->hop_s), run = 0, best = 0;
    size_t first = (from + a->hop - 1) / a->hop, end = to / a->hop;
    for (size_t k = first; k < end; k++) {
        bool rests = (k >= a->n || hearing_quiet(a, k)) && (k >= b->n || hearing_quiet(b, k));
        run = rests ? run + 1 : 0;
        if (run > best) {
            best = run;
            *cut = (k + 1) * a->hop - run * a->hop / 2;
        } else if (best >= least && run == 0)
            break;
    }
    return best >= least;
}

static double change_cost(const Judge *j, size_t section, size_t from, size_t to) {
    const CompSection *s = &j->result->sections[section];
    size_t cut;
    if (from == to)
        return 0.0;
    return comp_cut(j->takes[from].hearing, j->takes[to].hearing, s->end, s[1].start, &cut)
               ? CHANGE_POINTS
               : INFINITY;
}

/* The cheapest way through all sections. One that no take sings well is sung by any. */
static void choose(Judge *j) {
    const double lacking = 1000.0;
    Comp *c = j->result;
    double(*cost)[COMP_TAKES] = text_take(c->n + 1, sizeof *cost);
    size_t(*from)[COMP_TAKES] = text_take(c->n + 1, sizeof *from);
    for (size_t s = 0; s < c->n; s++)
        for (size_t t = 0; t < j->n; t++) {
            double best = s ? INFINITY : 0.0;
            for (size_t before = 0; s && before < j->n; before++) {
                double sum = cost[s - 1][before] + change_cost(j, s - 1, before, t);
                if (sum < best) {
                    best = sum;
                    from[s][t] = before;
                }
            }
            cost[s][t] = best + fmin(c->sections[s].score[t].points, lacking);
        }
    size_t take = 0;
    for (size_t t = 1; c->n && t < j->n; t++)
        if (cost[c->n - 1][t] < cost[c->n - 1][take])
            take = t;
    for (size_t s = c->n; s-- > 0;) {
        c->sections[s].take = take;
        take = from[s][take];
    }
    free(cost);
    free(from);
}

/* ---- the whole ---- */

static size_t sings_most(const Judge *j) {
    size_t best = 0, most = 0;
    for (size_t t = 0; t < j->n; t++) {
        size_t sung = 0;
        for (size_t k = 0; k < j->takes[t].hearing->n; k++)
            sung += j->takes[t].hearing->kind[k] == SCENE_VOICED;
        if (sung > most) {
            most = sung;
            best = t;
        }
    }
    return best;
}

bool comp_choose(Comp *comp, const CompTake *takes, size_t n) {
    Judge *j = text_take(1, sizeof *j);
    Alignment *alignments = text_take(n, sizeof *alignments);
    *comp = (Comp){0};
    j->takes = takes;
    j->n = n;
    j->result = comp;
    j->reference = sings_most(j);
    find_sections(j);
    const CompTake *r = &takes[j->reference];
    bool fine = true;
    for (size_t t = 0; t < n && fine; t++) {
        j->centre[t] = centre_line(takes[t].hearing);
        if (t != j->reference)
            fine =
                align_find(&alignments[t], r->hearing, r->mid, takes[t].hearing, takes[t].mid, 1.0);
        j->map[t] = alignments[t].map;
    }
    j->tuning = fine ? tuning_of(j) : 0.0;
    for (size_t s = 0; fine && s < comp->n; s++)
        score_section(j, &comp->sections[s], alignments);
    if (fine)
        choose(j);
    for (size_t t = 0; t < n; t++) {
        align_free(&alignments[t]);
        free(j->centre[t]);
    }
    free(alignments);
    free(j);
    return fine;
}

void comp_free(Comp *comp) {
    free(comp->sections);
    *comp = (Comp){0};
}
