/* SPDX-License-Identifier: ISC */
/* The de-esser, at its defaults.
 *
 * Level of a sibilant: RMS over its label in 4.5..12 kHz (at most 0.45 of the rate), dB. Left
 * over: that level after the de-esser over that of the take as it was before its sibilants were
 * raised by 10 dB; 0 is perfect, 10 is nothing done. Spread: interquartile range / 1.349. Of
 * sung takes, /s/ counts; /sh/ and /z/ are shown with -v. Of recordings, every labelled sibilant
 * of 40 ms and more. Reduction as sung: level before over level after, of the take as it was.
 *
 * Outside sibilants: energy of output minus input over that of the input, of the hot take, where no
 * sibilant is labelled within 20 ms before or 80 ms after (the default release, and the edges of
 * the labels); the mean of this ratio over the voices, in dB. Plosives and /f/ are outside.
 *
 * Of the take as sung, the same places by 20 ms, no more than 40 dB under the loudest: how many
 * lose over 1 dB of all they have. Starts of vowels after a plosive are among them.
 *
 * Level dependence: the hot take scaled by -40, -20 and +12 dB, the output scaled back; largest
 * difference in level from the unscaled output over 10 ms frames within 60 dB of the loudest. */
#include "quality/quality.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const char bundle[] = "de-esser";
static const double hot_db = 10.0;

typedef struct {
    Samples left, left_sh, left_z, as_sung, outside; /* outside: ratios of energy */
    Samples bitten;                                  /* 0 or 100 for each 20 ms */
    Samples scaled;                                  /* dB, one for each scale */
} Tally;

typedef struct {
    const Voice *voice;
    double top_hz;
    float *hot, *out, *other;
} Bench;

static bool is_sibilant(const SingerLabel *label) {
    return label->kind == SINGER_S || label->kind == SINGER_SH || label->kind == SINGER_Z;
}

static bool run(Quality *quality, const Voice *voice, const float *in, float *out) {
    QualityRun r = {.plugin = bundle, .rate_hz = voice->rate_hz, .in = in, .n = voice->n};
    r.out = out;
    return quality_render(quality, &r);
}

static bool band_of(const Bench *b, const float *audio, Energy *energy) {
    return energy_of(audio, b->voice->n, b->voice->rate_hz, 4500.0, b->top_hz, energy);
}

static void judge_sibilants(Quality *quality, const Bench *b, bool hot, Tally *tally) {
    Energy before = {NULL, 0}, after = {NULL, 0};
    const Voice *voice = b->voice;
    bool ok = band_of(b, voice->audio, &before) && band_of(b, b->out, &after);
    quality->broken |= !ok;
    for (size_t i = 0; ok && i < voice->n_labels; i++) {
        const SingerLabel *l = &voice->labels[i];
        if (!is_sibilant(l))
            continue;
        double left = energy_db(&after, l->start, l->end) - energy_db(&before, l->start, l->end);
        if (!hot && l->kind == SINGER_S)
            samples_add(&tally->as_sung, -left);
        if (hot)
            samples_add(l->kind == SINGER_S    ? &tally->left
                        : l->kind == SINGER_SH ? &tally->left_sh
                                               : &tally->left_z,
                        left);
        quality_note(quality, 2, "    %8.3f s %3.0f ms %-3s %s %6.2f dB",
                     (double)l->start / voice->rate_hz,
                     1000.0 * (double)(l->end - l->start) / voice->rate_hz,
                     singer_kind_name(l->kind), hot ? "hot, left over" : "as sung, change", left);
    }
    energy_free(&before);
    energy_free(&after);
}

/* Blanks the frames that are sibilants or close to one. */
static void keep_outside(const Voice *voice, float *audio) {
    size_t before = (size_t)(0.02 * voice->rate_hz), after = (size_t)(0.08 * voice->rate_hz);
    for (size_t k = 0; k < voice->n_labels; k++) {
        const SingerLabel *l = &voice->labels[k];
        size_t from = l->start > before ? l->start - before : 0;
        for (size_t i = from; is_sibilant(l) && i < l->end + after && i < voice->n; i++)
            audio[i] = 0.0f;
    }
}

static void judge_outside(const Bench *b, Tally *tally) {
    const Voice *voice = b->voice;
    for (size_t i = 0; i < voice->n; i++)
        b->other[i] = b->out[i] - b->hot[i];
    keep_outside(voice, b->other);
    double change = signals_rms(b->other, voice->n);
    memcpy(b->other, b->hot, voice->n * sizeof *b->other);
    keep_outside(voice, b->other);
    double own = signals_rms(b->other, voice->n);
    if (own > 0.0)
        samples_add(&tally->outside, change * change / (own * own));
}

/* Of the take as sung: 20 ms of a word where no sibilant is near. */
static void judge_words(const Quality *quality, const Bench *b, Tally *tally) {
    const Voice *voice = b->voice;
    size_t hop = (size_t)(0.02 * voice->rate_hz);
    memcpy(b->other, voice->audio, voice->n * sizeof *b->other);
    keep_outside(voice, b->other);
    double loudest = ENERGY_FLOOR_DB;
    for (size_t at = 0; at + hop <= voice->n; at += hop)
        loudest = fmax(loudest, signals_rms_db(voice->audio + at, hop));
    for (size_t at = 0; at + hop <= voice->n; at += hop) {
        double level = signals_rms_db(b->other + at, hop);
        double lost = signals_rms_db(voice->audio + at, hop) - signals_rms_db(b->out + at, hop);
        if (level < loudest - 40.0)
            continue;
        samples_add(&tally->bitten, lost > 1.0 ? 100.0 : 0.0);
        if (lost > 1.0)
            quality_note(quality, 2, "    %8.3f s outside sibilants at %5.1f dB loses %5.2f dB",
                         (double)at / voice->rate_hz, level - loudest, lost);
    }
}

static double worst_difference(const Bench *b, const float *a, const float *c) {
    size_t hop = (size_t)(0.01 * b->voice->rate_hz);
    double loudest = ENERGY_FLOOR_DB, worst = 0.0;
    for (size_t at = 0; at + hop <= b->voice->n; at += hop)
        loudest = fmax(loudest, signals_rms_db(a + at, hop));
    for (size_t at = 0; at + hop <= b->voice->n; at += hop) {
        double level = signals_rms_db(a + at, hop);
        if (level > loudest - 60.0)
            worst = fmax(worst, fabs(signals_rms_db(c + at, hop) - level));
    }
    return worst;
}

static void judge_scales(Quality *quality, const Bench *b, Tally *tally) {
    static const double scales_db[] = {-40.0, -20.0, 12.0};
    const Voice *voice = b->voice;
    float *scaled = malloc((voice->n + 1) * sizeof *scaled);
    for (int k = 0; k < 3 && scaled; k++) {
        double gain = pow(10.0, scales_db[k] / 20.0);
        memcpy(scaled, b->hot, voice->n * sizeof *scaled);
        signals_scale(scaled, voice->n, gain);
        if (!run(quality, voice, scaled, b->other))
            break;
        signals_scale(b->other, voice->n, 1.0 / gain);
        samples_add(&tally->scaled, worst_difference(b, b->out, b->other));
    }
    free(scaled);
}

static void judge_voice(Quality *quality, const Voice *voice, Tally *tally) {
    float *memory = malloc(3 * (voice->n + 1) * sizeof *memory);
    if (!memory || !material_hot(voice, hot_db, memory)) {
        quality->broken = true;
        free(memory);
        return;
    }
    Bench b = {voice, fmin(12000.0, 0.45 * voice->rate_hz), memory, memory + voice->n,
               memory + 2 * voice->n};
    if (run(quality, voice, voice->audio, b.out)) {
        judge_sibilants(quality, &b, false, tally);
        judge_words(quality, &b, tally);
    }
    if (run(quality, voice, b.hot, b.out)) {
        judge_sibilants(quality, &b, true, tally);
        judge_outside(&b, tally);
        judge_scales(quality, &b, tally);
    }
    free(memory);
}

static double outside_db(const Tally *tally) {
    double mean = samples_mean(&tally->outside);
    return mean > 1e-20 ? 10.0 * log10(mean) : isnan(mean) ? mean : -200.0;
}

static void pour(Tally *from, Tally *to) {
    samples_pour(&from->left, &to->left);
    samples_pour(&from->left_sh, &to->left_sh);
    samples_pour(&from->left_z, &to->left_z);
    samples_pour(&from->as_sung, &to->as_sung);
    samples_pour(&from->outside, &to->outside);
    samples_pour(&from->bitten, &to->bitten);
    samples_pour(&from->scaled, &to->scaled);
}

static void tally_free(Tally *tally) {
    samples_free(&tally->left);
    samples_free(&tally->left_sh);
    samples_free(&tally->left_z);
    samples_free(&tally->as_sung);
    samples_free(&tally->outside);
    samples_free(&tally->bitten);
    samples_free(&tally->scaled);
}

static void print_rows(Quality *quality, Tally *s, Tally *r) {
    quality_row(quality, "/s/ made 10 dB too hot: left over, median", "dB",
                (Figure){samples_quantile(&s->left, 0.5), samples_quantile(&r->left, 0.5)},
                QUALITY_WITHIN, 2.0);
    quality_row(quality, "/s/ made 10 dB too hot: spread", "dB",
                (Figure){samples_spread(&s->left), samples_spread(&r->left)}, QUALITY_AT_MOST, 2.5);
    quality_row(quality, "/s/ as sung: reduction, median", "dB",
                (Figure){samples_quantile(&s->as_sung, 0.5), samples_quantile(&r->as_sung, 0.5)},
                QUALITY_AT_MOST, 2.0);
    quality_row(quality, "outside sibilants: change", "dB", (Figure){outside_db(s), outside_db(r)},
                QUALITY_AT_MOST, -45.0);
    quality_row(quality, "outside sibilants: places of 20 ms that lose over 1 dB", "%",
                (Figure){samples_mean(&s->bitten), samples_mean(&r->bitten)}, QUALITY_AT_MOST, 0.1);
    quality_row(quality, "de-esser level dependence, -40..+12 dB: worst", "dB",
                (Figure){samples_quantile(&s->scaled, 1.0), samples_quantile(&r->scaled, 1.0)},
                QUALITY_AT_MOST, 0.1);
}

static void rows(Quality *quality) {
    Tally tally[2] = {{.left = {NULL, 0, 0}}, {.left = {NULL, 0, 0}}};
    for (size_t i = 0; i < quality->material->count; i++) {
        const Voice *voice = &quality->material->voices[i];
        Tally one = {.left = {NULL, 0, 0}};
        judge_voice(quality, voice, &one);
        quality_note(quality, 1,
                     "  %-22s %3zu /s/: left %5.2f (spread %4.2f) sh %5.2f z %5.2f | as sung %5.2f "
                     "dB | outside %6.1f dB | scaled %7.4f dB",
                     voice->name, one.left.n, samples_quantile(&one.left, 0.5),
                     samples_spread(&one.left), samples_quantile(&one.left_sh, 0.5),
                     samples_quantile(&one.left_z, 0.5), samples_quantile(&one.as_sung, 0.5),
                     outside_db(&one), samples_quantile(&one.scaled, 1.0));
        pour(&one, &tally[voice->recorded]);
    }
    print_rows(quality, &tally[0], &tally[1]);
    tally_free(&tally[0]);
    tally_free(&tally[1]);
}

extern const QualityPart quality_deesser;
const QualityPart quality_deesser = {
    .name = "deesser", .bundle = "de-esser", .run = rows, .voices = true};
