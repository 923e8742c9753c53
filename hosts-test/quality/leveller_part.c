/* SPDX-License-Identifier: ISC */
/* The phrase leveller.
 *
 * The take: phrases (with the breath before each) brought to loudnesses drawn evenly from +-6 dB
 * around -22 LUFS, by a gain that changes in the first third of the gap before; takes with fewer
 * than six phrases of 1.5 s or more are left out (shorter ones are words); three draws for each
 * take. Loudness of a phrase: gated as in ITU-R BS.1770-4, blocks of 400 ms that overlap by 75 %,
 * those within 10 dB of the mean of all. Spread: standard deviation of these, without the first
 * phrase, before which nothing is known. It is judged at range 12 dB, strength 100 %, target -22 dB
 * (around an average that has yet to settle, it would be the average's spread as well), at the
 * default pace and at half of it; given is the share by which the spread falls.
 *
 * Crest: peak over RMS of each stretch of 300 ms every 150 ms within words (the length of a word),
 * of those within 20 dB of the take's loudest; change from input to output, what 95 % of them stay
 * under, both at the defaults and at range 12 dB, strength 100 %.
 *
 * Gain: output over input in frames of 10 ms. Slope: its largest change within 100 ms, in dB/s;
 * 12 by design, and 1.2 more, since a frame in which the voice swells or dies away is weighed by
 * its end or its start, 0.06 dB off at either end of the 100 ms. In breaths: its change from the
 * first to the last frame of each, 95th percentile. In gaps, in parts without breath over 0.25 s
 * before the next phrase: its largest change, 95th percentile. */
#include "quality/phrases.h"
#include "quality/quality.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const char bundle[] = "phrase-leveller";
static const double SPREAD_DB = 6.0, MIDDLE_DB = -22.0;
/* The defaults, all the way, and all the way at twice the speed. */
enum { DEFAULT, FAR, FAST, RUNS };
static const QualitySetting settings[] = {{"range", 12.0f},
                                          {"strength", 100.0f},
                                          {"hold_average", 0.0f},
                                          {"target", -22.0f},
                                          {"pace", 150.0f}};
static const size_t n_settings[RUNS] = {[DEFAULT] = 0, [FAR] = 4, [FAST] = 5};

typedef struct {
    Samples fall[RUNS];  /* of the spread, % */
    Samples crest[RUNS]; /* dB */
    Samples slope, in_breath, in_gap;
} Tally;

typedef struct {
    double *value;
    size_t n, hop;
} Frames;

/* ---- the take ---- */

/* From `from_db` to `to_db` in the first third of start..middle, then to_db up to `end`. */
static void change_gain(float *audio, size_t start, size_t middle, size_t end, double from_db,
                        double to_db) {
    size_t third = (middle - start) / 3;
    for (size_t i = start; i < end; i++) {
        double part = i - start < third ? (double)(i - start) / (double)third : 1.0;
        audio[i] =
            (float)((double)audio[i] * pow(10.0, (from_db + part * (to_db - from_db)) / 20.0));
    }
}

static void make_uneven(const Voice *voice, const Energy *energy, unsigned long long seed,
                        float *audio) {
    Random random = random_seeded(seed);
    size_t from = 0;
    double last_db = 0.0;
    for (size_t i = 0; i < voice->n_labels; i++) {
        const SingerLabel *l = &voice->labels[i];
        if (l->kind != SINGER_PHRASE)
            continue;
        double gain_db = MIDDLE_DB + random_range(&random, -SPREAD_DB, SPREAD_DB) -
                         phrases_loudness(voice, energy, l);
        change_gain(audio, from, l->start, l->end, from == 0 ? gain_db : last_db, gain_db);
        last_db = gain_db;
        from = l->end;
    }
    change_gain(audio, from, from, voice->n, last_db, last_db);
}

/* ---- measures ---- */

static double deviation(const Voice *voice, const Energy *energy) {
    size_t seen = 0;
    double n = 0.0, sum = 0.0, squares = 0.0;
    for (size_t i = 0; i < voice->n_labels; i++) {
        const SingerLabel *l = &voice->labels[i];
        if (!phrases_counts(voice, l) || seen++ < 1)
            continue;
        double db = phrases_loudness(voice, energy, l);
        n += 1.0;
        sum += db;
        squares += db * db;
    }
    return sqrt(fmax(squares / n - sum / n * (sum / n), 0.0));
}

static double crest_db(const float *audio, size_t n) {
    return signals_peak_db(audio, n) - signals_rms_db(audio, n);
}

static void judge_crest(const Voice *voice, const float *in, const float *out, Samples *crest) {
    size_t length = (size_t)(0.3 * voice->rate_hz);
    double loudest = ENERGY_FLOOR_DB;
    for (int pass = 0; pass < 2; pass++)
        for (size_t i = 0; i < voice->n_labels; i++) {
            const SingerLabel *l = &voice->labels[i];
            for (size_t at = l->start; l->kind == SINGER_WORD && at + length <= l->end;
                 at += length / 2) {
                double db = signals_rms_db(in + at, length);
                if (pass == 0)
                    loudest = fmax(loudest, db);
                else if (db > loudest - 20.0)
                    samples_add(crest,
                                fabs(crest_db(out + at, length) - crest_db(in + at, length)));
            }
        }
}

static bool gain_of(const Voice *voice, const float *in, const float *out, Frames *gain) {
    gain->hop = (size_t)(0.01 * voice->rate_hz);
    gain->n = voice->n / gain->hop;
    gain->value = malloc((gain->n + 1) * sizeof *gain->value);
    for (size_t f = 0; gain->value && f < gain->n; f++)
        gain->value[f] = signals_rms_db(out + f * gain->hop, gain->hop) -
                         signals_rms_db(in + f * gain->hop, gain->hop);
    return gain->value != NULL;
}

static double range_of(const Frames *gain, size_t start, size_t end) {
    double least = 1e9, most = -1e9;
    for (size_t f = (start + gain->hop - 1) / gain->hop; (f + 1) * gain->hop <= end; f++) {
        least = fmin(least, gain->value[f]);
        most = fmax(most, gain->value[f]);
    }
    return most > least ? most - least : 0.0;
}

/* Up to the first breath in it, or until 0.25 s before its end. */
static size_t end_of_quiet(const Voice *voice, const SingerLabel *gap) {
    size_t ahead = (size_t)(0.25 * voice->rate_hz);
    size_t end = gap->end > gap->start + ahead ? gap->end - ahead : gap->start;
    for (size_t i = 0; i < voice->n_labels; i++) {
        const SingerLabel *l = &voice->labels[i];
        if (l->kind == SINGER_BREATH && l->start >= gap->start && l->start < end)
            end = l->start;
    }
    return end;
}

static void judge_gain(const Voice *voice, const Frames *gain, Tally *tally) {
    double slope = 0.0;
    for (size_t f = 0; f + 10 < gain->n; f++)
        slope = fmax(slope, fabs(gain->value[f + 10] - gain->value[f]) / 0.1);
    samples_add(&tally->slope, slope);
    for (size_t i = 0; i < voice->n_labels; i++) {
        const SingerLabel *l = &voice->labels[i];
        if (l->kind == SINGER_BREATH)
            samples_add(&tally->in_breath, range_of(gain, l->start, l->end));
        else if (l->kind == SINGER_GAP)
            samples_add(&tally->in_gap, range_of(gain, l->start, end_of_quiet(voice, l)));
    }
}

/* ---- the runs ---- */

static bool judge_run(Quality *quality, const Voice *voice, int which, const float *in, float *out,
                      Tally *tally) {
    QualityRun run = {.plugin = bundle,
                      .settings = settings,
                      .n_settings = n_settings[which],
                      .rate_hz = voice->rate_hz,
                      .in = in,
                      .out = out,
                      .n = voice->n};
    Energy before = {NULL, 0}, after = {NULL, 0};
    bool ok = quality_render(quality, &run) && phrases_energy(voice, in, &before) &&
              phrases_energy(voice, out, &after);
    if (ok) {
        double from = deviation(voice, &before), to = deviation(voice, &after);
        samples_add(&tally->fall[which], 100.0 * (1.0 - to / from));
        quality_note(quality, 1, "  %-22s %-7s %3zu phrases, spread %5.2f -> %5.2f dB", voice->name,
                     which == DEFAULT ? "default"
                     : which == FAR   ? "far"
                                      : "fast",
                     phrases_of(voice), from, to);
        judge_crest(voice, in, out, &tally->crest[which]);
    }
    energy_free(&before);
    energy_free(&after);
    return ok;
}

static bool judge(Quality *quality, const Voice *voice, const float *in, float *out, Tally *tally) {
    Frames gain = {NULL, 0, 1};
    bool ok = judge_run(quality, voice, DEFAULT, in, out, tally) &&
              judge_run(quality, voice, FAST, in, out, tally) &&
              judge_run(quality, voice, FAR, in, out, tally) && gain_of(voice, in, out, &gain);
    if (ok)
        judge_gain(voice, &gain, tally);
    free(gain.value);
    return ok;
}

static void judge_voice(Quality *quality, const Voice *voice, unsigned long long seed,
                        Tally *tally) {
    float *in = malloc((voice->n + 1) * sizeof *in), *out = malloc((voice->n + 1) * sizeof *out);
    Energy energy = {NULL, 0};
    bool ok = in && out && phrases_energy(voice, voice->audio, &energy);
    if (ok) {
        memcpy(in, voice->audio, voice->n * sizeof *in);
        make_uneven(voice, &energy, seed, in);
        ok = judge(quality, voice, in, out, tally);
    }
    quality->broken |= !ok;
    energy_free(&energy);
    free(in);
    free(out);
}

static Figure quantile(Samples *sung, Samples *recorded, double p) {
    return (Figure){samples_quantile(sung, p), samples_quantile(recorded, p)};
}

static Figure mean(const Samples *sung, const Samples *recorded) {
    return (Figure){samples_mean(sung), samples_mean(recorded)};
}

static void report(Quality *quality, Tally *s, Tally *r) {
    quality_row(quality, "phrases +-6 dB, pace 300 ms: spread falls by, mean", "%",
                mean(&s->fall[FAR], &r->fall[FAR]), QUALITY_AT_LEAST, 60.0);
    quality_row(quality, "phrases +-6 dB, pace 150 ms: spread falls by, mean", "%",
                mean(&s->fall[FAST], &r->fall[FAST]), QUALITY_AT_LEAST, 60.0);
    quality_row(quality, "leveller: change of crest, 95th percentile", "dB",
                quantile(&s->crest[DEFAULT], &r->crest[DEFAULT], 0.95), QUALITY_AT_MOST, 0.5);
    quality_row(quality, "leveller: the same, +-12 dB, pace 300 ms", "dB",
                quantile(&s->crest[FAR], &r->crest[FAR], 0.95), QUALITY_AT_MOST, 0.5);
    quality_row(quality, "leveller: the same, +-12 dB, pace 150 ms", "dB",
                quantile(&s->crest[FAST], &r->crest[FAST], 0.95), QUALITY_AT_MOST, 0.5);
    quality_row(quality, "leveller: steepest gain, pace 300 ms", "/s",
                quantile(&s->slope, &r->slope, 1.0), QUALITY_AT_MOST, 13.2);
    quality_row(quality, "leveller: gain moves within breaths, 95th percentile", "dB",
                quantile(&s->in_breath, &r->in_breath, 0.95), QUALITY_AT_MOST, 0.5);
    quality_row(quality, "leveller: gain moves within gaps, 95th percentile", "dB",
                quantile(&s->in_gap, &r->in_gap, 0.95), QUALITY_AT_MOST, 0.5);
}

static void tally_free(Tally *tally) {
    for (int k = 0; k < RUNS; k++) {
        samples_free(&tally->fall[k]);
        samples_free(&tally->crest[k]);
    }
    samples_free(&tally->slope);
    samples_free(&tally->in_breath);
    samples_free(&tally->in_gap);
}

static void rows(Quality *quality) {
    enum { DRAWS = 3 };
    Tally tally[2];
    memset(tally, 0, sizeof tally);
    for (size_t i = 0; i < quality->material->count; i++) {
        const Voice *voice = &quality->material->voices[i];
        Voice made;
        if (!material_breaths(quality->material, voice, 6000ull + i, &made))
            continue;
        for (unsigned draw = 0; draw < DRAWS && phrases_of(&made) >= 6; draw++)
            judge_voice(quality, &made, 6100ull + DRAWS * i + draw, &tally[voice->recorded]);
        voice_free(&made);
    }
    report(quality, &tally[0], &tally[1]);
    tally_free(&tally[0]);
    tally_free(&tally[1]);
}

extern const QualityPart quality_leveller;
const QualityPart quality_leveller = {
    .name = "leveller", .bundle = "phrase-leveller", .run = rows, .voices = true};
