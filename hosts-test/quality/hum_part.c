/* SPDX-License-Identifier: ISC */
/* The hum notch at its defaults.
 *
 * The take: one second of the voice's own kind of room, the voice, and hum under both: ten
 * harmonics of 50 or 60 Hz, up to 0.2 Hz off and wandering by 0.02 Hz within a minute as mains do
 * (from memory), each 2 dB under the one before, 30 dB under the words in all. Judged from 4 s on,
 * when takes have had a gap.
 * Gaps: what of the hum is left, 0.3 s off the words: power of the output less the voice over that
 * of the hum. Words: the same, of every word, so what the voice loses at the harmonics counts as
 * hum; the median word. Without hum: takes that come out other than they were. */
#include "quality/quality.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const char bundle[] = "hum-notch";
static const double PI = 3.14159265358979323846;
static const double UNDER_DB = 30.0, FROM_S = 4.0;

enum { HARMONICS = 10 };

typedef struct {
    Samples gaps, words, changed; /* dB; dB; 0 or 100 */
} Tally;

typedef struct {
    const Voice *voice;
    size_t lead, n;
    float *clean, *hum, *take, *out;
} Judged;

static double words_rms(const Voice *voice) {
    double energy = 0.0;
    size_t n = 0;
    for (size_t i = 0; i < voice->n_labels; i++) {
        const SingerLabel *l = &voice->labels[i];
        double rms = signals_rms(voice->audio + l->start, l->end - l->start);
        if (l->kind == SINGER_WORD) {
            energy += rms * rms * (double)(l->end - l->start);
            n += l->end - l->start;
        }
    }
    return n > 0 ? sqrt(energy / (double)n) : 0.0;
}

static void make_hum(Judged *j, unsigned long long seed) {
    Random random = random_seeded(seed);
    double base_hz = (random_below(&random, 2) ? 60.0 : 50.0) + random_range(&random, -0.2, 0.2);
    double rate_hz = j->voice->rate_hz, phase = 0.0, start[HARMONICS];
    for (int k = 0; k < HARMONICS; k++)
        start[k] = random_range(&random, 0.0, 2.0 * PI);
    for (size_t i = 0; i < j->n; i++) {
        double sum = 0.0, t = (double)i / rate_hz;
        phase += 2.0 * PI * (base_hz + 0.02 * sin(2.0 * PI * t / 60.0)) / rate_hz;
        for (int k = 0; k < HARMONICS; k++)
            sum += pow(10.0, -0.1 * k) * sin((k + 1) * phase + start[k]);
        j->hum[i] = (float)sum;
    }
    double rms = words_rms(j->voice) * pow(10.0, -UNDER_DB / 20.0);
    signals_scale(j->hum, j->n, rms / signals_rms(j->hum, j->n));
}

static bool open_take(const Voice *voice, unsigned long long seed, Judged *j) {
    *j = (Judged){.voice = voice, .lead = (size_t)voice->rate_hz};
    j->n = voice->n + j->lead;
    float **arrays[] = {&j->clean, &j->hum, &j->take, &j->out};
    for (int i = 0; i < 4; i++)
        if (!(*arrays[i] = calloc(j->n + 1, sizeof(float))))
            return false;
    Random random = random_seeded(seed + 1);
    signals_noise(j->clean, j->n, 1e-4, &random);
    signals_add(j->clean + j->lead, voice->audio, voice->n);
    make_hum(j, seed);
    return true;
}

static bool notch(Quality *quality, const Judged *j, const float *in) {
    const QualityRun run = {
        .plugin = bundle, .rate_hz = j->voice->rate_hz, .in = in, .out = j->out, .n = j->n};
    return quality_render(quality, &run);
}

/* Of start..end of the take, dB. */
static double left_db(const Judged *j, size_t start, size_t end) {
    return signals_difference_db(j->out + start, j->clean + start, end - start) -
           signals_rms_db(j->hum + start, end - start);
}

static void judge_labels(const Judged *j, Samples *gaps, Samples *words) {
    size_t from = (size_t)(FROM_S * j->voice->rate_hz);
    size_t guard = (size_t)(0.3 * j->voice->rate_hz);
    for (size_t i = 0; i < j->voice->n_labels; i++) {
        const SingerLabel *l = &j->voice->labels[i];
        size_t start = j->lead + l->start, end = j->lead + l->end;
        if (start < from)
            continue;
        if (l->kind == SINGER_WORD)
            samples_add(words, left_db(j, start, end));
        if (l->kind == SINGER_GAP && end > start + 2 * guard)
            samples_add(gaps, left_db(j, start + guard, end - guard));
    }
}

/* Recordings in whose gaps 50 Hz stands 22 dB over the spectrum beside it (mean of 0.5 s
 * periodograms of their quiet runs, read with scipy): what is taken out of them is hum. */
static bool hums_itself(const Voice *voice) {
    return strcmp(voice->name, "syllables-hu") == 0 || strcmp(voice->name, "syllables-nl") == 0;
}

static void judge_voice(Quality *quality, const Voice *voice, unsigned long long seed,
                        Tally *tally) {
    Samples gaps = {NULL, 0, 0}, words = {NULL, 0, 0};
    Judged j;
    bool ok = open_take(voice, seed, &j);
    for (size_t i = 0; ok && i < j.n; i++)
        j.take[i] = j.clean[i] + j.hum[i];
    if (ok && notch(quality, &j, j.take)) {
        judge_labels(&j, &gaps, &words);
        quality_note(quality, 1, "  %-16s hum left in gaps %5.1f dB, in words %5.1f dB (median)",
                     voice->name, samples_quantile(&gaps, 0.5), samples_quantile(&words, 0.5));
        samples_pour(&gaps, &tally->gaps);
        samples_pour(&words, &tally->words);
    }
    if (ok && notch(quality, &j, j.clean)) {
        bool same = signals_same_bits(j.out, j.clean, j.n);
        if (!hums_itself(voice))
            samples_add(&tally->changed, same ? 0.0 : 100.0);
        if (!same)
            quality_note(quality, 1, "  %-16s without hum: changes by %.1f dBFS", voice->name,
                         signals_difference_db(j.out, j.clean, j.n));
    }
    samples_free(&gaps);
    samples_free(&words);
    free(j.clean);
    free(j.hum);
    free(j.take);
    free(j.out);
}

static void report(Quality *quality, Tally *s, Tally *r) {
    quality_row(quality, "hum: left in gaps, median", "dB",
                (Figure){samples_quantile(&s->gaps, 0.5), samples_quantile(&r->gaps, 0.5)},
                QUALITY_AT_MOST, -15.0);
    quality_row(quality, "hum: left in words, and voice lost, median", "dB",
                (Figure){samples_quantile(&s->words, 0.5), samples_quantile(&r->words, 0.5)},
                QUALITY_AT_MOST, -10.0);
    quality_row(quality, "hum: takes without it that change", "%",
                (Figure){samples_mean(&s->changed), samples_mean(&r->changed)}, QUALITY_AT_MOST,
                0.0);
}

static void rows(Quality *quality) {
    Tally tally[2];
    memset(tally, 0, sizeof tally);
    for (size_t i = 0; i < quality->material->count; i++) {
        const Voice *voice = &quality->material->voices[i];
        judge_voice(quality, voice, 8600ull + 10 * i, &tally[voice->recorded]);
    }
    report(quality, &tally[0], &tally[1]);
    for (int i = 0; i < 2; i++) {
        samples_free(&tally[i].gaps);
        samples_free(&tally[i].words);
        samples_free(&tally[i].changed);
    }
}

extern const QualityPart quality_hum;
const QualityPart quality_hum = {.name = "hum", .bundle = "hum-notch", .run = rows, .voices = true};
