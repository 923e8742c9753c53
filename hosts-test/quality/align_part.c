/* SPDX-License-Identifier: ISC */
/* Doubles brought into time with a lead, as siskin align does it, nothing told.
 *
 * Lead and double: one test singer, the same words twice; in the double words begin up to 80 ms
 * early or late, sounds last up to a tenth more or less, vibrato, unrest and noises are others
 * (SingerParams.again). Apart: where the double's labelled words begin, brought through the
 * splices, less where the lead's do. Vowels: mel cepstral distortion (Kubichek, IEEE PacRim 1993:
 * 10 sqrt(2) / ln 10 times the distance of 12 mel cepstra), median of moments in labelled vowels of
 * 0.1 s and more, against the same second performance sung with the lead's times. Bursts: every
 * frame of a labelled burst stands in the output as it does in the double. */
#include "quality/quality.h"
#include "siskin/edit/align.h"
#include "siskin/edit/splice.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { PAIRS = 12 };

typedef struct {
    Samples before, words, starts, bursts, vowels;
} Tally;

typedef struct {
    SingerTake lead, take, truth;
    Hearing of_lead, of_take;
    Alignment alignment;
    Splices splices;
    float *out;
} Pair;

static bool sing(Pair *pair, MaterialSet set, size_t i) {
    uint64_t seed = (set == MATERIAL_TUNE ? 8300 : 8200) + i;
    SingerParams params = singer_params(i % 2 ? SINGER_MAN : SINGER_WOMAN, 48000.0, seed);
    params.phrases = 6;
    params.room_db = -65.0;
    bool fine = singer_take(&params, &pair->lead);
    params.again = seed + 500;
    fine = singer_take(&params, &pair->truth) && fine;
    params.loose_s = 0.08;
    return singer_take(&params, &pair->take) && fine;
}

static bool align(Pair *pair) {
    size_t n = pair->lead.n;
    pair->out = malloc((n + 1) * sizeof *pair->out);
    bool fine = pair->out && hearing_of(&pair->of_lead, pair->lead.mix, n, 48000.0) &&
                hearing_of(&pair->of_take, pair->take.mix, pair->take.n, 48000.0) &&
                align_find(&pair->alignment, &pair->of_lead, pair->lead.mix, &pair->of_take,
                           pair->take.mix, 1.0);
    if (!fine)
        return false;
    splices_plan(&pair->splices, &pair->alignment.map, &pair->of_take, pair->take.mix);
    splices_render(&pair->splices, pair->take.mix, pair->take.n, pair->out, n);
    return true;
}

static bool is_start(SingerKind kind) {
    return kind <= SINGER_P && kind != SINGER_CLOSURE;
}

static bool is_burst(SingerKind kind) {
    return kind == SINGER_T || kind == SINGER_K || kind == SINGER_P;
}

/* The k-th label of a kind: both takes have the same score. */
static const SingerLabel *same_of(const SingerTake *take, SingerKind kind, size_t k) {
    for (size_t i = 0; i < take->n_labels; i++)
        if (take->labels[i].kind == kind && k-- == 0)
            return &take->labels[i];
    return NULL;
}

static void judge_burst(const Pair *pair, const SingerLabel *l, Tally *tally) {
    const size_t burst = 480; /* 10 ms */
    double at = splices_at(&pair->splices, (double)l->start);
    size_t wrong = 0;
    for (size_t i = 0; i < burst && at >= 0.0; i++)
        wrong += (size_t)at + i < pair->lead.n && l->start + i < pair->take.n &&
                 pair->out[(size_t)at + i] != pair->take.mix[l->start + i];
    samples_add(&tally->bursts, (double)wrong);
}

static void judge_starts(const Quality *quality, const Pair *pair, Tally *tally) {
    size_t count[SINGER_KINDS] = {0};
    for (size_t i = 0; i < pair->take.n_labels; i++) {
        const SingerLabel *l = &pair->take.labels[i];
        const SingerLabel *truth = same_of(&pair->lead, l->kind, count[l->kind]++);
        if (!truth || (l->kind != SINGER_WORD && !is_start(l->kind)))
            continue;
        double before = ((double)l->start - (double)truth->start) / 48.0;
        double after = (splices_at(&pair->splices, (double)l->start) - (double)truth->start) / 48.0;
        if (l->kind == SINGER_WORD) {
            samples_add(&tally->before, fabs(before));
            samples_add(&tally->words, fabs(after));
        } else
            samples_add(&tally->starts, fabs(after));
        if (is_burst(l->kind))
            judge_burst(pair, l, tally);
        if (fabs(after) > 15.0)
            quality_note(quality, 2, "    %-8s at %7.3f s (lead %7.3f): %+6.1f ms, was %+6.1f",
                         singer_kind_name(l->kind), (double)l->start / 48000.0,
                         (double)truth->start / 48000.0, after, before);
    }
}

static bool judge_vowels(const Pair *pair, Tally *tally) {
    const double db = 10.0 * sqrt(2.0) / log(10.0) * 0.5; /* of amplitude, from nats of power */
    Hearing out, truth;
    bool fine = hearing_of(&out, pair->out, pair->lead.n, 48000.0) &&
                hearing_of(&truth, pair->truth.mix, pair->truth.n, 48000.0);
    for (size_t i = 0; fine && i < pair->truth.n_labels; i++) {
        const SingerLabel *l = &pair->truth.labels[i];
        if (l->kind != SINGER_VOICED || l->end - l->start < 4800)
            continue;
        for (size_t k = l->start / truth.hop + 5; k + 5 < l->end / truth.hop && k < out.n; k++) {
            double sum = 0.0;
            for (size_t c = 0; c < HEARING_CEPSTRA; c++) {
                double d = (double)out.cepstrum[k][c] - (double)truth.cepstrum[k][c];
                sum += d * d;
            }
            samples_add(&tally->vowels, db * sqrt(sum));
        }
    }
    hearing_free(&out);
    hearing_free(&truth);
    return fine;
}

static void leave(Pair *pair) {
    singer_free(&pair->lead);
    singer_free(&pair->take);
    singer_free(&pair->truth);
    hearing_free(&pair->of_lead);
    hearing_free(&pair->of_take);
    align_free(&pair->alignment);
    splices_free(&pair->splices);
    free(pair->out);
}

static void note_phrases(const Quality *quality, const Pair *pair) {
    for (size_t i = 0; i < pair->alignment.n; i++) {
        const AlignPhrase *p = &pair->alignment.phrases[i];
        quality_note(
            quality, 2,
            "    phrase %7.3f .. %7.3f, double %7.3f .. %7.3f: kind %d, %zu anchors, distance %.2f",
            (double)p->lead.start / 48000.0, (double)p->lead.end / 48000.0,
            (double)p->take.start / 48000.0, (double)p->take.end / 48000.0, p->kind, p->n,
            p->distance);
    }
}

static double within(const Samples *samples, double most) {
    double n = 0.0;
    for (size_t i = 0; i < samples->n; i++)
        n += samples->value[i] <= most;
    return samples->n ? 100.0 * n / (double)samples->n : (double)NAN;
}

static Figure sung(double value) {
    return (Figure){value, (double)NAN};
}

static void print_rows(Quality *quality, Tally *t) {
    quality_row(quality, "align, words up to 80 ms off: apart after, median", "ms",
                sung(samples_quantile(&t->words, 0.5)), QUALITY_AT_MOST, 12.0);
    quality_row(quality, "align: the same, 90 %", "ms", sung(samples_quantile(&t->words, 0.9)),
                QUALITY_AT_MOST, 30.0);
    quality_row(quality, "align: the same, largest", "ms", sung(samples_quantile(&t->words, 1.0)),
                QUALITY_AT_MOST, 40.0);
    quality_row(quality, "align: sounds that start within 10 ms", "%",
                sung(within(&t->starts, 10.0)), QUALITY_AT_LEAST, 92.0);
    quality_row(quality, "align: sounds that start within 20 ms", "%",
                sung(within(&t->starts, 20.0)), QUALITY_AT_LEAST, 97.0);
    quality_row(quality, "align: stretched vowels, distortion, median", "dB",
                sung(samples_quantile(&t->vowels, 0.5)), QUALITY_AT_MOST, 2.5);
    quality_row(quality, "align: frames of bursts that changed", "",
                sung(samples_quantile(&t->bursts, 1.0)), QUALITY_AT_MOST, 0.0);
}

static void rows(Quality *quality) {
    Tally tally;
    memset(&tally, 0, sizeof tally);
    for (size_t i = 0; i < PAIRS; i++) {
        Pair pair;
        memset(&pair, 0, sizeof pair);
        bool fine = sing(&pair, quality->set, i) && align(&pair);
        if (fine) {
            Tally one;
            memset(&one, 0, sizeof one);
            note_phrases(quality, &pair);
            judge_starts(quality, &pair, &one);
            fine = judge_vowels(&pair, &one);
            quality_note(quality, 1,
                         "  pair %zu: words %.1f -> %.1f ms, 90 %% %.1f, most %.1f; starts within "
                         "10 ms %.1f %%, 20 ms %.1f %%; vowels %.2f dB; splices %zu",
                         i, samples_quantile(&one.before, 0.5), samples_quantile(&one.words, 0.5),
                         samples_quantile(&one.words, 0.9), samples_quantile(&one.words, 1.0),
                         within(&one.starts, 10.0), within(&one.starts, 20.0),
                         samples_quantile(&one.vowels, 0.5), pair.splices.n);
            samples_pour(&one.before, &tally.before);
            samples_pour(&one.words, &tally.words);
            samples_pour(&one.starts, &tally.starts);
            samples_pour(&one.bursts, &tally.bursts);
            samples_pour(&one.vowels, &tally.vowels);
        }
        quality->broken |= !fine;
        leave(&pair);
    }
    print_rows(quality, &tally);
    samples_free(&tally.before);
    samples_free(&tally.words);
    samples_free(&tally.starts);
    samples_free(&tally.bursts);
    samples_free(&tally.vowels);
}

extern const QualityPart quality_align;
const QualityPart quality_align = {.name = "align", .bundle = NULL, .run = rows, .voices = false};
