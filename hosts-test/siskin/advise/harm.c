/* SPDX-License-Identifier: ISC */
#include "siskin/advise/harm.h"

#include "siskin/text.h"

#include <math.h>
#include <stdlib.h>

static const double NEAR_S = 0.02; /* a sibilant's ends are told to so much */
static const double BITE_DB = -6.0, BITE_S = 0.03;
static const double UNDER_PHRASE_DB = 25.0; /* what is softer dies away, and is no vowel */
/* What joins a vowel without a softer moment, and is so loud, is of the word: breaths lie some 15
 * to 40 dB under the voice. Words begin or end at most so far outside what a pitch tells of a
 * phrase. */
static const double JOINED_DB = 15.0, JOINED_S = 0.5;
/* A peak that rises is taken back by the fader, and is no reason to leave out a step. */
static const double MOST_PEAK_DB = 0.1;
static const double MOST_WANDER_DB = 3.0;

typedef struct {
    double *gain_db; /* of the hops that count, NAN elsewhere */
    double *sorted;
    size_t n;
} Gains;

static int ascending(const void *a, const void *b) {
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

static double quantile(const Gains *gains, double p) {
    return gains->sorted[(size_t)lround(p * (double)(gains->n - 1))];
}

static bool voiced_at(const Measures *m, double at_s) {
    size_t step = (size_t)(at_s / MEASURE_PITCH_STEP_S + 0.5);
    return step < m->n_pitch && m->pitch_hz[step] > 0.0f;
}

/* Voiced ones have a pitch; how loud they are is the de-esser's business. */
static bool in_sibilant(const Measures *m, double at_s) {
    for (size_t i = 0; i < m->n_sibilants && m->sibilants[i].start_s - NEAR_S <= at_s; i++)
        if (at_s < m->sibilants[i].end_s + NEAR_S)
            return true;
    return false;
}

/* The mean over `reach` hops to either side, as far as there are any. */
static double power_around(const Envelope *envelope, size_t hop, size_t reach) {
    size_t first = hop > reach ? hop - reach : 0;
    size_t end = hop + reach < envelope->n ? hop + reach + 1 : envelope->n;
    double sum = 0.0;
    for (size_t i = first; i < end; i++)
        sum += (double)envelope->voice[i];
    return sum / (double)(end - first);
}

/* Hops first..last - 1: a phrase, and what may join it. */
typedef struct {
    const Measures *measures;
    const MeasurePhrase *phrase;
    const Envelope *take, *render;
    size_t first, last, reach;
} Span;

static double gain_of(const Span *span, size_t hop) {
    double in = power_around(span->take, hop, span->reach);
    return 10.0 * log10((power_around(span->render, hop, span->reach) + 1e-15) / (in + 1e-15));
}

/* The gains of the vowels. Returns their mean power. */
static double find_vowels(const Span *span, Gains *gains) {
    double loudest = 0.0, sum = 0.0;
    for (size_t i = span->first; i < span->last; i++)
        loudest = fmax(loudest, (double)span->take->voice[i]);
    double least = loudest * pow(10.0, -UNDER_PHRASE_DB / 10.0);
    gains->n = 0;
    for (size_t i = span->first; i < span->last; i++) {
        double in = power_around(span->take, i, span->reach);
        double at_s = ((double)i + 0.5) * span->take->hop_s;
        bool counts = in > least && at_s > span->phrase->start_s && at_s < span->phrase->end_s &&
                      voiced_at(span->measures, at_s) && !in_sibilant(span->measures, at_s);
        gains->gain_db[i - span->first] = counts ? gain_of(span, i) : (double)NAN;
        if (!counts)
            continue;
        gains->sorted[gains->n++] = gains->gain_db[i - span->first];
        sum += in;
    }
    qsort(gains->sorted, gains->n, sizeof *gains->sorted, ascending);
    return gains->n > 0 ? sum / (double)gains->n : 0.0;
}

/* Beside a hop that counts, so does the one at `hop` if it is loud and no sibilant. */
static void join_hop(const Span *span, size_t hop, double least, Gains *gains) {
    double at_s = ((double)hop + 0.5) * span->take->hop_s;
    if (isnan(gains->gain_db[hop - span->first]) && power_around(span->take, hop, 1) > least &&
        !in_sibilant(span->measures, at_s))
        gains->gain_db[hop - span->first] = gain_of(span, hop);
}

/* The gains of what joins the vowels: consonants, and what of a vowel has no pitch yet. */
static void find_joined(const Span *span, double vowel_power, Gains *gains) {
    double least = vowel_power * pow(10.0, -JOINED_DB / 10.0);
    const double *gain_db = gains->gain_db;
    for (size_t i = span->first + 1; i < span->last; i++)
        if (!isnan(gain_db[i - 1 - span->first]))
            join_hop(span, i, least, gains);
    for (size_t i = span->last; i-- > span->first + 1;)
        if (!isnan(gain_db[i - span->first]))
            join_hop(span, i - 1, least, gains);
}

static void count_bites(Harm *harm, const Gains *gains, size_t first, size_t last, double hop_s) {
    double floor_db = quantile(gains, 0.5) + BITE_DB;
    size_t least = (size_t)lround(BITE_S / hop_s);
    for (size_t i = 0, run = 0; i < last - first; i++) {
        run = gains->gain_db[i] < floor_db ? run + 1 : 0; /* NAN ends a run */
        if (run != least)
            continue;
        if (harm->bitten++ == 0)
            harm->bitten_s = (double)(first + i + 1 - run) * hop_s;
    }
}

/* As far as to the phrases beside it. */
static Span span_of(const Measures *m, size_t k, const Envelope *take, const Envelope *render) {
    double first_s = m->phrases[k].start_s - JOINED_S, last_s = m->phrases[k].end_s + JOINED_S;
    if (k > 0)
        first_s = fmax(first_s, m->phrases[k - 1].end_s);
    if (k + 1 < m->n_phrases)
        last_s = fmin(last_s, m->phrases[k + 1].start_s);
    size_t last = envelope_hop(take, last_s);
    return (Span){.measures = m,
                  .phrase = &m->phrases[k],
                  .take = take,
                  .render = render,
                  .first = envelope_hop(take, fmax(0.0, first_s)),
                  .last = last < render->n ? last : render->n};
}

Harm harm_of(const Measures *measures, const Envelope *take, const Envelope *render, bool moved) {
    size_t reach = moved ? (size_t)lround(0.5 * HARM_LONG_S / take->hop_s) : 0;
    size_t hops = take->n < render->n ? take->n : render->n;
    Gains gains = {text_take(hops + 1, sizeof(double)), text_take(hops + 1, sizeof(double)), 0};
    double *wander = text_take(measures->n_phrases + 1, sizeof *wander);
    size_t n = 0;
    Harm harm = {.wander_db = (double)NAN,
                 .wander_most_db = (double)NAN,
                 .peak_db =
                     envelope_peak_db(render, 0, render->n) - envelope_peak_db(take, 0, take->n)};
    for (size_t k = 0; k < measures->n_phrases; k++) {
        Span span = span_of(measures, k, take, render);
        span.reach = reach;
        if (span.first >= span.last)
            continue;
        double vowel_power = find_vowels(&span, &gains);
        if (gains.n < 20) /* 0.1 s of vowels */
            continue;
        find_joined(&span, vowel_power, &gains);
        count_bites(&harm, &gains, span.first, span.last, take->hop_s);
        wander[n++] = quantile(&gains, 0.95) - quantile(&gains, 0.05);
    }
    qsort(wander, n, sizeof *wander, ascending);
    if (n > 0) {
        harm.wander_db = wander[(n - 1) / 2];
        harm.wander_most_db = wander[(size_t)lround(0.95 * (double)(n - 1))];
    }
    free(wander);
    free(gains.gain_db);
    free(gains.sorted);
    return harm;
}

double harm_size(const Harm *harm) {
    double size = (double)harm->bitten;
    if (harm->wander_db > MOST_WANDER_DB)
        size += harm->wander_db - MOST_WANDER_DB;
    return size;
}

char *harm_text(const Harm *harm) {
    char text[256] = "", time[32];
    if (harm->bitten)
        text_add(text, sizeof text, "words lose over %g dB at %zu place%s, first at %s", -BITE_DB,
                 harm->bitten, harm->bitten > 1 ? "s" : "", text_time(time, harm->bitten_s));
    if (harm->wander_db > MOST_WANDER_DB)
        text_add(text, sizeof text, "%sthe gain moves by %.1f dB within a phrase",
                 *text ? "; " : "", harm->wander_db);
    if (harm->peak_db > MOST_PEAK_DB)
        text_add(text, sizeof text, "%speaks are %.1f dB higher", *text ? "; " : "", harm->peak_db);
    return text_copy(text);
}
