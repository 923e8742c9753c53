/* SPDX-License-Identifier: ISC */
/* The thumps of /p/ and /b/, taken down by the rumble filter at its defaults.
 *
 * Bursts of air are laid in at the start of every third word from 3 s on: noise of 20 to 120 Hz, 30
 * to 120 ms, up in 5 ms and down over the rest as a raised cosine, its RMS 0 to 20 dB over that of
 * the words below 300 Hz. Runs with and without bursts, `thumps` as it is and 0; so what the
 * high-pass alone does is not counted.
 *
 * Taken down: level over a burst and 20 ms, from 20 Hz to 120 Hz or 0.8 of the lowest note of the
 * take (100 Hz where that is not known), 0 over default; caught: by 3 dB and more. Voice changed:
 * level of 20 ms within words, from 0.15 s after a burst on, default over 0. False: runs of
 * difference between the two on the clean take, 0.1 s apart, of sung takes and of three men who
 * sing from 80 Hz to 130 Hz; recordings have thumps of their own, which nobody labelled. */
#include "quality/quality.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const double FROM_S = 3.0, TAIL_S = 0.02, GUARD_S = 0.15, PIECE_S = 0.02;
static const double LOW_HZ = 20.0, BURST_HZ = 120.0, VOICE_HZ = 300.0;
static const double PI = 3.14159265358979323846;

typedef struct {
    size_t start, end;
} Burst;

typedef struct {
    Samples caught, down, changed; /* 0 or 100; dB; dB */
    double falses, minutes;
} Tally;

enum { CLEAN_OFF, CLEAN_ON, BURSTS_OFF, BURSTS_ON, RUNS };

typedef struct {
    const Voice *voice;
    Burst *bursts;
    size_t n_bursts;
    float *take;      /* with bursts */
    float *out[RUNS]; /* [n] */
} Judged;

/* RMS below 300 Hz of all words. */
static double words_rms(const Voice *voice) {
    Energy energy = {NULL, 0};
    double sum = 0.0;
    size_t n = 0;
    if (!energy_of(voice->audio, voice->n, voice->rate_hz, LOW_HZ, VOICE_HZ, &energy))
        return 0.0;
    for (size_t i = 0; i < voice->n_labels; i++)
        if (voice->labels[i].kind == SINGER_WORD) {
            sum += energy_between(&energy, voice->labels[i].start, voice->labels[i].end);
            n += voice->labels[i].end - voice->labels[i].start;
        }
    energy_free(&energy);
    return n > 0 ? sqrt(sum / (double)n) : 0.0;
}

static void lay_burst(float *to, size_t n, double rate_hz, double rms, Random *random) {
    float *burst = calloc(n + 1, sizeof *burst);
    size_t rise = (size_t)(0.005 * rate_hz);
    if (!burst)
        return;
    signals_band_noise(burst, n, rate_hz, LOW_HZ, BURST_HZ, 1.0, random);
    for (size_t i = 0; i < n; i++) {
        double up = fmin(1.0, (double)i / (double)rise);
        double down = 0.5 + 0.5 * cos(PI * (double)i / (double)n);
        burst[i] *= (float)(up * down);
    }
    signals_scale(burst, n, rms / signals_rms(burst, n));
    signals_add(to, burst, n);
    free(burst);
}

static void lay_bursts(Judged *j, unsigned long long seed) {
    const Voice *voice = j->voice;
    Random random = random_seeded(seed);
    double rms = words_rms(voice);
    size_t words = 0;
    memcpy(j->take, voice->audio, voice->n * sizeof *j->take);
    for (size_t i = 0; i < voice->n_labels; i++) {
        const SingerLabel *label = &voice->labels[i];
        size_t n = (size_t)(random_range(&random, 0.03, 0.12) * voice->rate_hz);
        double level = rms * pow(10.0, random_range(&random, 0.0, 20.0) / 20.0);
        if (label->kind != SINGER_WORD || words++ % 3 != 0 ||
            (double)label->start < FROM_S * voice->rate_hz || label->start + n > voice->n)
            continue;
        lay_burst(j->take + label->start, n, voice->rate_hz, level, &random);
        j->bursts[j->n_bursts++] = (Burst){label->start, label->start + n};
    }
}

static bool open_judged(const Voice *voice, unsigned long long seed, Judged *j) {
    *j = (Judged){.voice = voice};
    j->bursts = calloc(voice->n_labels + 1, sizeof *j->bursts);
    j->take = calloc(voice->n + 1, sizeof *j->take);
    bool fine = j->bursts && j->take;
    for (int k = 0; k < RUNS; k++)
        fine = (j->out[k] = calloc(voice->n + 1, sizeof(float))) && fine;
    if (fine)
        lay_bursts(j, seed);
    return fine;
}

static void close_judged(Judged *j) {
    for (int k = 0; k < RUNS; k++)
        free(j->out[k]);
    free(j->take);
    free(j->bursts);
}

static bool run(Quality *quality, const Judged *j, int which) {
    static const QualitySetting off = {"thumps", 0.0f};
    const bool clean = which == CLEAN_OFF || which == CLEAN_ON;
    const QualityRun r = {.plugin = "rumble-filter",
                          .settings = &off,
                          .n_settings = which == CLEAN_OFF || which == BURSTS_OFF,
                          .rate_hz = j->voice->rate_hz,
                          .in = clean ? j->voice->audio : j->take,
                          .out = j->out[which],
                          .n = j->voice->n};
    return quality_render(quality, &r);
}

/* The top of what can only be burst. */
static double burst_top_hz(const Voice *voice) {
    double lowest_hz = BURST_HZ / 0.8;
    for (size_t i = 0; i < voice->n_labels; i++)
        if (voice->labels[i].kind == SINGER_VOICED)
            lowest_hz = fmin(lowest_hz, voice->labels[i].value);
    return voice->recorded ? 100.0 : 0.8 * lowest_hz;
}

static void judge_bursts(Quality *quality, const Judged *j, Tally *tally) {
    const Voice *voice = j->voice;
    size_t tail = (size_t)(TAIL_S * voice->rate_hz);
    double top_hz = burst_top_hz(voice);
    Energy off = {NULL, 0}, on = {NULL, 0};
    if (!energy_of(j->out[BURSTS_OFF], voice->n, voice->rate_hz, LOW_HZ, top_hz, &off) ||
        !energy_of(j->out[BURSTS_ON], voice->n, voice->rate_hz, LOW_HZ, top_hz, &on))
        quality->broken = true;
    for (size_t i = 0; i < j->n_bursts && !quality->broken; i++) {
        size_t at = j->bursts[i].start, end = j->bursts[i].end + tail;
        end = end > voice->n ? voice->n : end;
        double before = energy_db(&off, at, end), down = before - energy_db(&on, at, end);
        samples_add(&tally->down, down);
        samples_add(&tally->caught, down >= 3.0 ? 100.0 : 0.0);
        quality_note(quality, 2, "    %-18s %8.3f s, %3.0f ms: %5.1f dB, down by %4.1f",
                     voice->name, (double)at / voice->rate_hz,
                     1e3 * (double)(end - tail - at) / voice->rate_hz, before, down);
    }
    energy_free(&off);
    energy_free(&on);
}

/* Whether a burst sounds at `at`, or did so shortly before. */
static bool near_burst(const Judged *j, size_t at, size_t guard) {
    for (size_t i = 0; i < j->n_bursts; i++)
        if (at + guard >= j->bursts[i].start && at < j->bursts[i].end + guard)
            return true;
    return false;
}

static void judge_voice_changed(const Judged *j, Samples *changed) {
    size_t piece = (size_t)(PIECE_S * j->voice->rate_hz);
    size_t guard = (size_t)(GUARD_S * j->voice->rate_hz);
    for (size_t i = 0; i < j->voice->n_labels; i++) {
        const SingerLabel *label = &j->voice->labels[i];
        if (label->kind != SINGER_WORD)
            continue;
        for (size_t at = label->start; at + piece <= label->end; at += piece)
            if (!near_burst(j, at, guard))
                samples_add(changed, fabs(signals_rms_db(j->out[BURSTS_OFF] + at, piece) -
                                          signals_rms_db(j->out[BURSTS_ON] + at, piece)));
    }
}

/* Runs in which the two outputs differ. */
static double runs_apart(const float *a, const float *b, size_t n, double rate_hz) {
    size_t last = 0, apart = (size_t)(0.1 * rate_hz);
    double runs = 0.0;
    for (size_t i = 0; i < n; i++)
        if (a[i] != b[i]) {
            runs += last == 0 || i > last + apart;
            last = i + 1;
        }
    return runs;
}

static void judge_voice(Quality *quality, const Voice *voice, unsigned long long seed,
                        Tally *tally) {
    Judged j;
    bool fine = open_judged(voice, seed, &j);
    for (int k = 0; fine && k < RUNS; k++)
        fine = run(quality, &j, k);
    if (fine) {
        size_t before = tally->down.n;
        double falses = runs_apart(j.out[CLEAN_ON], j.out[CLEAN_OFF], voice->n, voice->rate_hz);
        double sum = 0.0;
        judge_bursts(quality, &j, tally);
        judge_voice_changed(&j, &tally->changed);
        tally->falses += falses;
        tally->minutes += (double)voice->n / voice->rate_hz / 60.0;
        for (size_t i = before; i < tally->down.n; i++)
            sum += tally->down.value[i] / (double)(tally->down.n - before);
        quality_note(quality, 1, "  %-22s %2zu bursts, down by %4.1f dB (mean); %2.0f without",
                     voice->name, j.n_bursts, sum, falses);
    } else {
        quality->broken = true;
    }
    close_judged(&j);
}

/* Men who sing low, and never thump. */
static void judge_deep_men(Quality *quality, Tally *tally) {
    for (unsigned k = 0; k < 3; k++) {
        SingerParams params =
            singer_params(SINGER_MAN, 48000.0, (quality->set == MATERIAL_HELD ? 9100 : 190) + k);
        params.note_hz = (SingerRange){80.0, 130.0};
        params.phrases = 6;
        Voice voice = {.name = "deep man", .rate_hz = 48000.0};
        if (!singer_take(&params, &voice.take)) {
            quality->broken = true;
            return;
        }
        voice.n = voice.take.n;
        voice.audio = voice.take.mix;
        voice.labels = voice.take.labels;
        voice.n_labels = voice.take.n_labels;
        judge_voice(quality, &voice, 500 + k, tally);
        singer_free(&voice.take);
    }
}

static void report(Quality *quality, Tally *s, Tally *r, Tally *deep) {
    const double none = (double)NAN;
    quality_row(quality, "thumps laid into words: caught", "%",
                (Figure){samples_mean(&s->caught), samples_mean(&r->caught)}, QUALITY_AT_LEAST,
                90.0);
    quality_row(quality, "thumps: taken down, median", "dB",
                (Figure){samples_quantile(&s->down, 0.5), samples_quantile(&r->down, 0.5)},
                QUALITY_AT_LEAST, 6.0);
    quality_row(quality, "thumps under men who sing from 80 Hz: caught", "%",
                (Figure){samples_mean(&deep->caught), none}, QUALITY_AT_LEAST, 90.0);
    quality_row(quality, "thumps: words elsewhere changed, 99.9 %", "dB",
                (Figure){fmax(samples_quantile(&s->changed, 0.999),
                              samples_quantile(&deep->changed, 0.999)),
                         none},
                QUALITY_AT_MOST, 0.2);
    quality_row(quality, "thumps found in a minute of singing without", "",
                (Figure){(s->falses + deep->falses) / (s->minutes + deep->minutes), none},
                QUALITY_AT_MOST, 0.5);
}

static void rows(Quality *quality) {
    Tally tally[3] = {{.falses = 0.0}, {.falses = 0.0}, {.falses = 0.0}};
    for (size_t i = 0; i < quality->material->count; i++) {
        const Voice *voice = &quality->material->voices[i];
        judge_voice(quality, voice, 300 + i, &tally[voice->recorded]);
    }
    judge_deep_men(quality, &tally[2]);
    report(quality, &tally[0], &tally[1], &tally[2]);
    for (int k = 0; k < 3; k++) {
        samples_free(&tally[k].caught);
        samples_free(&tally[k].down);
        samples_free(&tally[k].changed);
    }
}

extern const QualityPart quality_thumps;
const QualityPart quality_thumps = {
    .name = "thumps", .bundle = "rumble-filter", .run = rows, .voices = true};
