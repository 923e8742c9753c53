/* SPDX-License-Identifier: ISC */
#include "siskin/advise/harm.h"

#include "siskin/text.h"

#include <math.h>
#include <stdlib.h>

static const double NEAR_S = 0.02; /* a sibilant's ends are told to so much */
static const double BITE_DB = -6.0, BITE_S = 0.03;
static const double UNDER_PHRASE_DB = 25.0; /* what is softer dies away, and is no vowel */
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

/* Hops first..last - 1 of a phrase. */
static void find_gains(const Measures *m, const Envelope *take, const Envelope *render,
                       size_t first, size_t last, size_t reach, Gains *gains) {
    double loudest = 0.0;
    for (size_t i = first; i < last; i++)
        loudest = fmax(loudest, (double)take->voice[i]);
    double least = loudest * pow(10.0, -UNDER_PHRASE_DB / 10.0);
    gains->n = 0;
    for (size_t i = first; i < last; i++) {
        double in = power_around(take, i, reach), out = power_around(render, i, reach);
        double at_s = ((double)i + 0.5) * take->hop_s;
        bool counts = in > least && voiced_at(m, at_s) && !in_sibilant(m, at_s);
        gains->gain_db[i - first] = counts ? 10.0 * log10((out + 1e-15) / in) : (double)NAN;
        if (counts)
            gains->sorted[gains->n++] = gains->gain_db[i - first];
    }
    qsort(gains->sorted, gains->n, sizeof *gains->sorted, ascending);
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
        size_t first = envelope_hop(take, measures->phrases[k].start_s);
        size_t last = envelope_hop(take, measures->phrases[k].end_s);
        last = last < hops ? last : hops;
        if (first >= last)
            continue;
        find_gains(measures, take, render, first, last, reach, &gains);
        if (gains.n < 20) /* 0.1 s of vowels */
            continue;
        count_bites(&harm, &gains, first, last, take->hop_s);
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
