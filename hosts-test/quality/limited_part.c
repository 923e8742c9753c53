/* SPDX-License-Identifier: ISC */
/* The breath ducker on what has no treble, at its defaults: lossy files and telephones.
 *
 * The voices of `breath`, with their breaths, once with nothing above 7.5 kHz and once from 300 to
 * 3400 Hz, at their own rates; and five minutes of a reader who takes no breath (material_reader):
 * G.722 at 16 kHz, and the same at 8 kHz, 300 to 3400 Hz, in mu-law of 8 bits (ITU-T G.711).
 *
 * Bitten: places within words that lose over 6 dB, of 20 ms every 10 ms, that lie within 40 dB of
 * the word's loudest and 10 dB over the floor; neighbours count once. Given for ten minutes.
 *
 * Caught: breaths that lose over half of `depth`, of those that come after the first word and have
 * more power than what else sounds meanwhile, and lie 3 dB over the floor.
 *
 * Sounds: of a sung take each labelled sound of a word, of a recording each sibilant and each 100
 * ms of a word that lie as high as said above. */
#include "quality/quality.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const char bundle[] = "breath-ducker";
static const double DEPTH_DB = 12.0, READER_S = 300.0;
static const double pi = 3.14159265358979323846;

typedef struct {
    double low_hz, high_hz; /* low_hz 0: none */
} Band;

static const Band LOSSY = {0.0, 7500.0}, TELEPHONE = {300.0, 3400.0};

typedef struct {
    double seconds, bitten;
    Samples caught, sounds; /* 0 or 100 each */
} Tally;

typedef struct {
    const Voice *voice;
    Energy in, out, breath;
    double floor_db;
} Judged;

/* ---- the material ---- */

/* Low-pass without phase, -6 dB at `hz`: a sinc under a Hann window of 8 ms, whose sides fall
 * within 250 Hz. In place; `scratch` holds n frames. */
static void low_pass(float *audio, float *scratch, size_t n, double rate_hz, double hz) {
    enum { MOST = 1024 };
    double tap[MOST + 1];
    size_t half = (size_t)(0.004 * rate_hz);
    half = half < MOST ? half : MOST;
    for (size_t k = 0; k <= half; k++) {
        double x = 2.0 * hz / rate_hz, t = (double)k;
        double sinc = k == 0 ? x : sin(pi * x * t) / (pi * t);
        tap[k] = sinc * (0.5 + 0.5 * cos(pi * t / (double)(half + 1)));
    }
    memcpy(scratch, audio, n * sizeof *audio);
    for (size_t i = 0; i < n; i++) {
        double sum = tap[0] * (double)scratch[i];
        for (size_t k = 1; k <= half; k++)
            sum += tap[k] * ((i >= k ? (double)scratch[i - k] : 0.0) +
                             (i + k < n ? (double)scratch[i + k] : 0.0));
        audio[i] = (float)sum;
    }
}

static bool limit(float *audio, size_t n, double rate_hz, const Band *band) {
    float *scratch = malloc((n + 1) * sizeof *scratch);
    if (!scratch)
        return false;
    if (2.0 * band->high_hz < 0.98 * rate_hz)
        low_pass(audio, scratch, n, rate_hz, band->high_hz);
    if (band->low_hz > 0.0)
        signals_band_filter(audio, audio, n, rate_hz, band->low_hz, 1e9);
    free(scratch);
    return true;
}

/* To mu-law of 8 bits and back, by its formula. */
static float mu_law(float x) {
    double magnitude = log1p(255.0 * fmin(fabs((double)x), 1.0)) / log(256.0);
    double kept = (expm1(round(127.0 * magnitude) / 127.0 * log(256.0))) / 255.0;
    return (float)copysign(kept, (double)x);
}

/* A reader at 16 kHz becomes one at 8 kHz; its labels are made anew. */
static bool to_telephone(Voice *voice) {
    if (!limit(voice->audio, voice->n, voice->rate_hz, &TELEPHONE))
        return false;
    voice->n /= 2;
    voice->rate_hz /= 2.0;
    for (size_t i = 0; i < voice->n; i++)
        voice->audio[i] = mu_law(voice->audio[2 * i]);
    voice->n_labels = 0;
    return material_label(voice);
}

/* ---- the measures ---- */

static double lost_db(const Judged *j, size_t start, size_t end) {
    return energy_db(&j->in, start, end) - energy_db(&j->out, start, end);
}

/* The 10th percentile of 20 ms outside breaths. */
static double find_floor_db(const Judged *j) {
    Samples levels = {NULL, 0, 0};
    size_t hop = (size_t)(0.02 * j->voice->rate_hz);
    for (size_t at = 0; at + hop <= j->voice->n; at += hop)
        if (!j->voice->breaths || energy_between(&j->breath, at, at + hop) == 0.0)
            samples_add(&levels, energy_db(&j->in, at, at + hop));
    double db = samples_quantile(&levels, 0.1);
    samples_free(&levels);
    return db;
}

static double loudest_db(const Judged *j, const SingerLabel *word, size_t length) {
    double loudest = ENERGY_FLOOR_DB;
    for (size_t at = word->start; at + length <= word->end; at += length / 2)
        loudest = fmax(loudest, energy_db(&j->in, at, at + length));
    return loudest;
}

static bool counts(const Judged *j, size_t start, size_t end, double loudest) {
    double db = energy_db(&j->in, start, end);
    bool breath = j->voice->breaths &&
                  energy_between(&j->breath, start, end) > 0.5 * energy_between(&j->in, start, end);
    return !breath && db > loudest - 40.0 && db > j->floor_db + 10.0;
}

static void judge_word(const Quality *quality, const Judged *j, const SingerLabel *word,
                       Tally *tally) {
    double rate_hz = j->voice->rate_hz;
    size_t place = (size_t)(0.02 * rate_hz), sound = (size_t)(0.1 * rate_hz);
    double loudest = loudest_db(j, word, place);
    bool before = false;
    for (size_t at = word->start; at + place <= word->end; at += place / 2) {
        bool bitten = counts(j, at, at + place, loudest) && lost_db(j, at, at + place) > 6.0;
        tally->bitten += bitten && !before;
        if (bitten && !before)
            quality_note(quality, 2, "    %8.3f s bitten, word %.3f..%.3f (%5.1f dBFS)",
                         (double)at / rate_hz, (double)word->start / rate_hz,
                         (double)word->end / rate_hz, energy_db(&j->in, at, at + place));
        before = bitten;
    }
    for (size_t at = word->start; j->voice->recorded && at + sound <= word->end; at += sound)
        if (counts(j, at, at + sound, loudest))
            samples_add(&tally->sounds, lost_db(j, at, at + sound) > 1.0 ? 100.0 : 0.0);
}

static void judge_breath(const Quality *quality, const Judged *j, const SingerLabel *breath,
                         Tally *tally) {
    double db = energy_db(&j->breath, breath->start, breath->end);
    double power = energy_between(&j->breath, breath->start, breath->end);
    if (db < j->floor_db + 3.0 || power < 0.5 * energy_between(&j->in, breath->start, breath->end))
        return;
    double lost = lost_db(j, breath->start, breath->end);
    samples_add(&tally->caught, lost > 0.5 * DEPTH_DB ? 100.0 : 0.0);
    if (lost <= 0.5 * DEPTH_DB)
        quality_note(quality, 2, "    %8.3f..%.3f s breath missed (%5.1f dBFS, floor %.1f)",
                     (double)breath->start / j->voice->rate_hz,
                     (double)breath->end / j->voice->rate_hz, db, j->floor_db);
}

static bool is_sound(SingerKind kind) {
    return kind <= SINGER_P && kind != SINGER_CLOSURE;
}

static void judge_labels(const Quality *quality, const Judged *j, Tally *tally) {
    bool sung = false;
    for (size_t i = 0; i < j->voice->n_labels; i++) {
        const SingerLabel *l = &j->voice->labels[i];
        sung |= l->kind == SINGER_WORD;
        if (l->kind == SINGER_WORD)
            judge_word(quality, j, l, tally);
        else if (l->kind == SINGER_BREATH && sung && j->voice->breaths)
            judge_breath(quality, j, l, tally);
        else if (is_sound(l->kind) && counts(j, l->start, l->end, -60.0))
            samples_add(&tally->sounds, lost_db(j, l->start, l->end) > 1.0 ? 100.0 : 0.0);
    }
    tally->seconds += (double)j->voice->n / j->voice->rate_hz;
}

static void judge_voice(Quality *quality, const Voice *voice, Tally *tally) {
    Judged j = {.voice = voice};
    float *out = malloc((voice->n + 1) * sizeof *out);
    QualitySetting depth = {"depth", (float)DEPTH_DB};
    QualityRun run = {.plugin = bundle,
                      .settings = &depth,
                      .n_settings = 1,
                      .rate_hz = voice->rate_hz,
                      .in = voice->audio,
                      .out = out,
                      .n = voice->n};
    bool ok = out && quality_render(quality, &run) &&
              energy_of(voice->audio, voice->n, voice->rate_hz, 120.0, 1e9, &j.in) &&
              energy_of(out, voice->n, voice->rate_hz, 120.0, 1e9, &j.out) &&
              (!voice->breaths ||
               energy_of(voice->breaths, voice->n, voice->rate_hz, 120.0, 1e9, &j.breath));
    quality_note(quality, 2, "  %s at %g Hz", voice->name, voice->rate_hz);
    if (ok) {
        j.floor_db = find_floor_db(&j);
        judge_labels(quality, &j, tally);
    }
    quality->broken |= !ok;
    energy_free(&j.in);
    energy_free(&j.out);
    energy_free(&j.breath);
    free(out);
}

/* ---- the rows ---- */

static void report(Quality *quality, const char *what, Tally tally[2]) {
    char line[96];
    Figure bitten = {600.0 * tally[0].bitten / tally[0].seconds,
                     600.0 * tally[1].bitten / tally[1].seconds};
    snprintf(line, sizeof line, "%s: places in words bitten, in 10 min", what);
    quality_row(quality, line, "", bitten, QUALITY_AT_MOST, 0.0);
    if (tally[0].caught.n + tally[1].caught.n > 0) {
        Figure caught = {samples_mean(&tally[0].caught), samples_mean(&tally[1].caught)};
        snprintf(line, sizeof line, "%s: breaths caught", what);
        quality_row(quality, line, "%", caught, QUALITY_AT_LEAST, 95.0);
    }
    Figure sounds = {samples_mean(&tally[0].sounds), samples_mean(&tally[1].sounds)};
    snprintf(line, sizeof line, "%s: sounds that lose over 1 dB", what);
    quality_row(quality, line, "%", sounds, QUALITY_AT_MOST, 0.2);
    for (int k = 0; k < 2; k++) {
        samples_free(&tally[k].caught);
        samples_free(&tally[k].sounds);
    }
}

static void judge_band(Quality *quality, const char *what, const Band *band) {
    Tally tally[2] = {{.seconds = 0.0}, {.seconds = 0.0}};
    for (size_t i = 0; i < quality->material->count; i++) {
        const Voice *voice = &quality->material->voices[i];
        Voice made;
        if (!material_breaths(quality->material, voice, 5000ull + i, &made))
            continue;
        bool recorded = voice->recorded;
        made.recorded = recorded;
        if (limit(made.audio, made.n, made.rate_hz, band) &&
            limit(made.breaths, made.n, made.rate_hz, band))
            judge_voice(quality, &made, &tally[recorded]);
        made.recorded = true; /* it owns its labels, whoever sang */
        voice_free(&made);
    }
    report(quality, what, tally);
}

static void judge_reader(Quality *quality) {
    Voice reader;
    if (!material_reader(quality->set, READER_S, &reader))
        return;
    Tally wide[2] = {{.seconds = 0.0}, {.seconds = 0.0}}, narrow[2];
    memcpy(narrow, wide, sizeof narrow);
    judge_voice(quality, &reader, &wide[1]);
    report(quality, "reader at 16 kHz", wide);
    if (to_telephone(&reader))
        judge_voice(quality, &reader, &narrow[1]);
    report(quality, "reader at 8 kHz", narrow);
    voice_free(&reader);
}

static void rows(Quality *quality) {
    judge_band(quality, "breaths up to 7.5 kHz", &LOSSY);
    judge_band(quality, "breaths by telephone", &TELEPHONE);
    judge_reader(quality);
}

extern const QualityPart quality_limited;
const QualityPart quality_limited = {
    .name = "limited", .bundle = "breath-ducker", .run = rows, .voices = true};
