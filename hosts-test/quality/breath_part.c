/* SPDX-License-Identifier: ISC */
/* The breath ducker, at its defaults but for `depth`.
 *
 * Frames of 5 ms. A frame is a breath where a breath is labelled and its level over 20 ms, from
 * 120 Hz up, is at least that of everything else there (of breaths labelled by hand: 3 dB over the
 * recording's floor, the 10th percentile outside them); elsewhere it is none, except that within 25
 * ms of a label (the fade, and the edges of the label) outside words it does not count, nor where a
 * labelled breath lies under the room, nor in the gaps of recordings that may hold more breaths
 * than are labelled, nor before the first word: what a breath is depends on the singer's own level.
 * A frame is ducked when its level falls by at least half of `depth` in dB. Precision: ducked
 * breath frames over all ducked frames that count. Recall: over all breath frames.
 *
 * Attenuation: energy of a breath's breath frames before and after, dB, minus `depth`, at depths of
 * 6, 12 and 24 dB; of breaths at least 80 % of which are ducked. Given is the median at the depth
 * where it is farthest from 0.
 *
 * Word lost: level before over level after in 50 ms stretches every 25 ms of each word, of those
 * within 40 dB of the word's loudest and 10 dB over the floor; given is the largest of all. */
#include "quality/quality.h"

#include <math.h>
#include <stdlib.h>

static const char bundle[] = "breath-ducker";
static const double depths_db[] = {12.0, 6.0, 24.0}; /* the default first */
enum { DEPTHS = 3 };

typedef struct {
    double hit, false_alarm, missed; /* frames */
    Samples attenuation[DEPTHS], lost;
} Tally;

typedef struct {
    const Voice *voice;
    size_t hop, frames;
    Energy in, out, breath, rest;
    double floor_db;      /* 10th percentile outside breaths, from 120 Hz up */
    unsigned char *truth; /* one of Truth for each frame */
} Judged;

typedef enum { NO_BREATH, BREATH, DOES_NOT_COUNT } Truth;

static void mark(Judged *j, size_t start, size_t end, Truth truth) {
    for (size_t f = start / j->hop; f < j->frames && f * j->hop < end; f++)
        j->truth[f] = (unsigned char)truth;
}

/* The 20 ms around a frame. */
static size_t around(const Judged *j, size_t f, size_t *to) {
    size_t at = f * j->hop;
    *to = at + 5 * j->hop / 2;
    return at > 3 * j->hop / 2 ? at - 3 * j->hop / 2 : 0;
}

static double find_floor_db(const Judged *j) {
    Samples levels = {NULL, 0, 0};
    for (size_t f = 0; f < j->frames; f++) {
        size_t to, from = around(j, f, &to);
        if (energy_between(&j->breath, from, to) == 0.0)
            samples_add(&levels, energy_db(&j->rest, from, to));
    }
    double db = samples_quantile(&levels, 0.1);
    samples_free(&levels);
    return db;
}

static void mark_breath(Judged *j, const SingerLabel *label, double least_db) {
    for (size_t f = label->start / j->hop; f < j->frames && f * j->hop < label->end; f++) {
        size_t to, from = around(j, f, &to);
        bool audible = energy_between(&j->breath, from, to) >= energy_between(&j->rest, from, to);
        audible = audible && energy_db(&j->breath, from, to) >= least_db;
        j->truth[f] = audible ? BREATH : DOES_NOT_COUNT;
    }
}

static void find_truth(Judged *j) {
    const Voice *voice = j->voice;
    size_t margin = (size_t)(0.025 * voice->rate_hz);
    double least_db = voice->gaps_unknown ? j->floor_db + 3.0 : ENERGY_FLOOR_DB;
    mark(j, 0, voice->n, voice->gaps_unknown ? DOES_NOT_COUNT : NO_BREATH);
    for (size_t i = 0; i < voice->n_labels; i++) {
        const SingerLabel *l = &voice->labels[i];
        if (l->kind == SINGER_BREATH)
            mark(j, l->start > margin ? l->start - margin : 0, l->end + margin, DOES_NOT_COUNT);
    }
    for (size_t i = 0; i < voice->n_labels; i++)
        if (voice->labels[i].kind == SINGER_WORD)
            mark(j, voice->labels[i].start, voice->labels[i].end, NO_BREATH);
    for (size_t i = 0; i < voice->n_labels; i++)
        if (voice->labels[i].kind == SINGER_BREATH)
            mark_breath(j, &voice->labels[i], least_db);
    for (size_t i = 0; i < voice->n_labels; i++)
        if (voice->labels[i].kind == SINGER_WORD) {
            mark(j, 0, voice->labels[i].start, DOES_NOT_COUNT);
            break;
        }
}

static double lowered_db(const Judged *j, size_t start, size_t end) {
    return energy_db(&j->in, start, end) - energy_db(&j->out, start, end);
}

static void count_frames(const Judged *j, double depth_db, Tally *tally) {
    for (size_t f = 0; f < j->frames; f++) {
        bool ducked = lowered_db(j, f * j->hop, (f + 1) * j->hop) >= 0.5 * depth_db;
        tally->hit += ducked && j->truth[f] == BREATH;
        tally->missed += !ducked && j->truth[f] == BREATH;
        tally->false_alarm += ducked && j->truth[f] == NO_BREATH;
    }
}

static void judge_attenuation(const Quality *quality, const Judged *j, const SingerLabel *label,
                              double depth_db, bool detailed, Samples *attenuation) {
    double before = 0.0, after = 0.0;
    size_t breath = 0, ducked = 0;
    for (size_t f = label->start / j->hop; f < j->frames && f * j->hop < label->end; f++) {
        if (j->truth[f] != BREATH)
            continue;
        size_t at = f * j->hop;
        before += energy_between(&j->in, at, at + j->hop);
        after += energy_between(&j->out, at, at + j->hop);
        breath++;
        ducked += lowered_db(j, at, at + j->hop) >= 0.5 * depth_db;
    }
    if (detailed)
        quality_note(quality, 2, "    %8.3f..%.3f s breath of %zu frames (%5.1f dBFS): %zu ducked",
                     (double)label->start / j->voice->rate_hz,
                     (double)label->end / j->voice->rate_hz, breath,
                     energy_db(&j->breath, label->start, label->end), ducked);
    if (breath > 0 && (double)ducked >= 0.8 * (double)breath)
        samples_add(attenuation, 10.0 * log10(before / after) - depth_db);
}

static void judge_word(const Quality *quality, const Judged *j, const SingerLabel *word,
                       Samples *lost) {
    double rate_hz = j->voice->rate_hz, worst = 0.0, loudest = ENERGY_FLOOR_DB;
    size_t length = (size_t)(0.05 * rate_hz), where = word->start;
    for (size_t at = word->start; at + length <= word->end; at += length / 2)
        loudest = fmax(loudest, energy_db(&j->in, at, at + length));
    for (size_t at = word->start; at + length <= word->end; at += length / 2) {
        double loss = lowered_db(j, at, at + length);
        if (loss > worst && energy_db(&j->in, at, at + length) > loudest - 40.0 &&
            energy_db(&j->rest, at, at + length) > j->floor_db + 10.0) {
            worst = loss;
            where = at;
        }
    }
    samples_add(lost, worst);
    if (worst > 0.3)
        quality_note(quality, 2, "    %8.3f..%.3f s word loses %5.2f dB at %.3f s",
                     (double)word->start / rate_hz, (double)word->end / rate_hz, worst,
                     (double)where / rate_hz);
}

static void judge_frames(const Quality *quality, const Judged *j, Tally *tally) {
    double from_s = -1.0;
    for (size_t f = 0; f <= j->frames && quality->verbose > 1; f++) {
        bool wrong = f < j->frames && j->truth[f] == NO_BREATH &&
                     lowered_db(j, f * j->hop, (f + 1) * j->hop) >= 0.5 * depths_db[0];
        double s = (double)(f * j->hop) / j->voice->rate_hz;
        if (wrong && from_s < 0.0)
            from_s = s;
        else if (!wrong && from_s >= 0.0) {
            quality_note(quality, 2, "    %8.3f..%.3f s ducked, no breath", from_s, s);
            from_s = -1.0;
        }
    }
    count_frames(j, depths_db[0], tally);
    for (size_t i = 0; i < j->voice->n_labels; i++)
        if (j->voice->labels[i].kind == SINGER_WORD)
            judge_word(quality, j, &j->voice->labels[i], &tally->lost);
}

static bool prepare(Judged *j, const Voice *voice, float *scratch) {
    double rate_hz = voice->rate_hz;
    *j = (Judged){.voice = voice, .hop = (size_t)(0.005 * rate_hz)};
    j->frames = voice->n / j->hop;
    j->truth = malloc(j->frames + 1);
    for (size_t i = 0; i < voice->n; i++)
        scratch[i] = voice->audio[i] - voice->breaths[i];
    bool ok = j->truth && energy_of(voice->audio, voice->n, rate_hz, 0.0, 1e9, &j->in) &&
              energy_of(voice->breaths, voice->n, rate_hz, 120.0, 1e9, &j->breath) &&
              energy_of(scratch, voice->n, rate_hz, 120.0, 1e9, &j->rest);
    if (ok) {
        j->floor_db = find_floor_db(j);
        find_truth(j);
    }
    return ok;
}

static void judge_voice(Quality *quality, const Voice *voice, Tally *tally) {
    float *out = malloc((voice->n + 1) * sizeof *out);
    Judged j = {.hop = 1};
    bool ok = out && prepare(&j, voice, out);
    for (size_t d = 0; d < DEPTHS && ok; d++) {
        QualitySetting setting = {"depth", (float)depths_db[d]};
        QualityRun run = {.plugin = bundle,
                          .settings = &setting,
                          .n_settings = 1,
                          .rate_hz = voice->rate_hz,
                          .in = voice->audio,
                          .out = out,
                          .n = voice->n};
        ok = quality_render(quality, &run) &&
             energy_of(out, voice->n, voice->rate_hz, 0.0, 1e9, &j.out);
        for (size_t i = 0; ok && i < voice->n_labels; i++)
            if (voice->labels[i].kind == SINGER_BREATH)
                judge_attenuation(quality, &j, &voice->labels[i], depths_db[d], d == 0,
                                  &tally->attenuation[d]);
        if (ok && d == 0)
            judge_frames(quality, &j, tally);
        energy_free(&j.out);
    }
    quality->broken |= !ok;
    energy_free(&j.in);
    energy_free(&j.breath);
    energy_free(&j.rest);
    free(j.truth);
    free(out);
}

static double precision(const Tally *t) {
    return t->hit + t->false_alarm > 0.0 ? t->hit / (t->hit + t->false_alarm) : (double)NAN;
}

static double recall(const Tally *t) {
    return t->hit + t->missed > 0.0 ? t->hit / (t->hit + t->missed) : (double)NAN;
}

/* The median error of the attenuation at the depth where it is largest. */
static double worst_attenuation(Tally *t) {
    double worst = (double)NAN;
    for (size_t d = 0; d < DEPTHS; d++) {
        double median = samples_quantile(&t->attenuation[d], 0.5);
        if (isnan(worst) || fabs(median) > fabs(worst))
            worst = median;
    }
    return worst;
}

static void pour(Tally *from, Tally *to) {
    to->hit += from->hit;
    to->false_alarm += from->false_alarm;
    to->missed += from->missed;
    samples_pour(&from->lost, &to->lost);
    for (size_t d = 0; d < DEPTHS; d++)
        samples_pour(&from->attenuation[d], &to->attenuation[d]);
}

static void rows(Quality *quality) {
    Tally tally[2] = {{.hit = 0.0}, {.hit = 0.0}};
    for (size_t i = 0; i < quality->material->count; i++) {
        const Voice *voice = &quality->material->voices[i];
        Voice made;
        if (!material_breaths(quality->material, voice, 5000ull + i, &made))
            continue;
        Tally one = {.hit = 0.0};
        judge_voice(quality, &made, &one);
        quality_note(quality, 1,
                     "  %-22s %5.0f breath frames: precision %5.3f recall %5.3f | off depth %5.2f "
                     "dB | words lose up to %5.2f dB (%zu words)",
                     voice->name, one.hit + one.missed, precision(&one), recall(&one),
                     worst_attenuation(&one), samples_quantile(&one.lost, 1.0), one.lost.n);
        pour(&one, &tally[voice->recorded]);
        voice_free(&made);
    }
    Tally *s = &tally[0], *r = &tally[1];
    quality_row(quality, "breaths, 5 ms frames: precision", "",
                (Figure){precision(s), precision(r)}, QUALITY_AT_LEAST, 0.97);
    quality_row(quality, "breaths, 5 ms frames: recall", "", (Figure){recall(s), recall(r)},
                QUALITY_AT_LEAST, 0.96);
    quality_row(quality, "breaths: attenuation over depth, median", "dB",
                (Figure){worst_attenuation(s), worst_attenuation(r)}, QUALITY_WITHIN, 1.5);
    quality_row(quality, "breaths: word lost anywhere, worst", "dB",
                (Figure){samples_quantile(&s->lost, 1.0), samples_quantile(&r->lost, 1.0)},
                QUALITY_AT_MOST, 0.3);
    for (size_t k = 0; k < 2; k++) {
        samples_free(&tally[k].lost);
        for (size_t d = 0; d < DEPTHS; d++)
            samples_free(&tally[k].attenuation[d]);
    }
}

extern const QualityPart quality_breath;
const QualityPart quality_breath = {
    .name = "breath", .bundle = "breath-ducker", .run = rows, .voices = true};
