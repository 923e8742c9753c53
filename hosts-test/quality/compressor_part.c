/* SPDX-License-Identifier: ISC */
/* The smooth compressor, at its defaults.
 *
 * Spread: standard deviation of the momentary loudness (ITU-R BS.1770-4: 400 ms, overlapping by
 * 75 %; those over 10 LU under the mean are left out) within phrases of 1.5 s or more; shorter ones
 * are words, whose 400 ms differ by how much of them sounds. Given is the share by which it falls.
 * Loudness: of the mean power of the same blocks, output less input, with the make-up of the preset
 * for a ridden lead.
 *
 * Rendered: the same with the take played ahead, then 60 s of silence, as `siskin render` does it,
 * which plays no more than 30 s of singing (render/room.h); here it is the whole take.
 *
 * Gain: output over input in frames of 5 ms, in dB; in silence as it was last. Pumping: its part
 * between 2 and 16 Hz, the rate of words and syllables (Butterworth, 4th order each side), RMS
 * within phrases. In gaps: how far the gain has risen 0.3 s after the end of a phrase over its mean
 * in the last second of it, as a share of the reduction there. By the memory's law a reduction r
 * that lasted leaves 0.6 r exp(-0.3 / 0.96) = 0.44 r then.
 *
 * Level dependence: the same take 20 dB quieter and 12 dB louder; largest difference of the gain in
 * any stretch of 100 ms within phrases. Entered in the middle: playback that begins 0, 10 and 50 ms
 * before each word; words that lose over 6 dB in their first 200 ms. */
#include "quality/phrases.h"
#include "quality/quality.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const char bundle[] = "smooth-compressor";
static const double BLOCK_S = 0.4, GATE_DB = 10.0, FRAME_S = 0.005, REST_S = 60.0;
static const QualitySetting MADE_UP[] = {{"makeup", 4.3f}};

typedef struct {
    Samples fall;   /* of the spread, % */
    Samples known;  /* the same, with the voice known ahead */
    Samples madeup; /* dB */
    Samples pumping, reduction, rise, apart;
    Samples bitten; /* 1 or 0 for each entry */
} Tally;

static bool is_phrase(const SingerLabel *label) {
    return label->kind == SINGER_PHRASE;
}

/* ---- loudness ---- */

typedef struct {
    double mean_db, deviation_db; /* of the levels; 0 when there are none */
    double loudness_db;           /* of the mean power */
} Blocks;

/* Of the blocks that have more than `gate` of power in `in`, so that the same are compared. */
static Blocks blocks_of(const Voice *voice, const Energy *in, const Energy *energy, double gate) {
    const size_t block = (size_t)(BLOCK_S * voice->rate_hz);
    double count = 0.0, sum = 0.0, squares = 0.0, power = 0.0;
    for (size_t i = 0; i < voice->n_labels; i++) {
        const SingerLabel *l = &voice->labels[i];
        if (!phrases_counts(voice, l))
            continue;
        for (size_t at = l->start; at + block <= l->end; at += block / 4) {
            if (energy_between(in, at, at + block) <= gate * (double)block)
                continue;
            double now = energy_between(energy, at, at + block) / (double)block;
            double db = 10.0 * log10(now + 1e-20);
            count += 1.0;
            sum += db;
            squares += db * db;
            power += now;
        }
    }
    if (count == 0.0)
        return (Blocks){0.0, 0.0, 0.0};
    double mean = sum / count;
    return (Blocks){mean, sqrt(fmax(squares / count - mean * mean, 0.0)),
                    10.0 * log10(power / count + 1e-20)};
}

static double gate_of(const Voice *voice, const Energy *in) {
    Blocks all = blocks_of(voice, in, in, 1e-7); /* -70 dB */
    return pow(10.0, 0.1 * (all.loudness_db - GATE_DB));
}

static bool judge_loudness(Quality *quality, const Voice *voice, const float *in, const float *out,
                           const float *made_up, Tally *tally) {
    Energy before = {NULL, 0}, after = {NULL, 0}, raised = {NULL, 0};
    bool ok = phrases_energy(voice, in, &before) && phrases_energy(voice, out, &after) &&
              phrases_energy(voice, made_up, &raised);
    if (ok) {
        double gate = gate_of(voice, &before);
        Blocks from = blocks_of(voice, &before, &before, gate);
        Blocks to = blocks_of(voice, &before, &after, gate);
        Blocks up = blocks_of(voice, &before, &raised, gate);
        if (from.deviation_db > 0.0)
            samples_add(&tally->fall, 100.0 * (1.0 - to.deviation_db / from.deviation_db));
        if (from.deviation_db > 0.0)
            samples_add(&tally->madeup, up.loudness_db - from.loudness_db);
        double lost = from.loudness_db - to.loudness_db;
        double peak = signals_peak_db(out, voice->n) - signals_peak_db(in, voice->n);
        quality_note(quality, 1,
                     "  %-22s spread %5.2f -> %5.2f dB; loudness %5.2f, with make-up %5.2f, peak "
                     "%5.2f dB",
                     voice->name, from.deviation_db, to.deviation_db, -lost,
                     up.loudness_db - from.loudness_db, peak);
    }
    energy_free(&before);
    energy_free(&after);
    energy_free(&raised);
    return ok;
}

/* ---- the gain ---- */

typedef struct {
    float *db;
    size_t n, hop;
} Gain;

static bool gain_of(const Voice *voice, const float *in, const float *out, Gain *gain) {
    gain->hop = (size_t)(FRAME_S * voice->rate_hz);
    gain->n = voice->n / gain->hop;
    gain->db = calloc(gain->n + 1, sizeof *gain->db);
    float last = 0.0f;
    for (size_t f = 0; gain->db && f < gain->n; f++) {
        const size_t at = f * gain->hop;
        double before = signals_rms_db(in + at, gain->hop);
        if (before > -100.0)
            last = (float)(signals_rms_db(out + at, gain->hop) - before);
        gain->db[f] = last;
    }
    return gain->db != NULL;
}

static double mean_gain(const Gain *gain, size_t start, size_t end) {
    double sum = 0.0, count = 0.0;
    for (size_t f = start / gain->hop; f < gain->n && (f + 1) * gain->hop <= end; f++) {
        sum += (double)gain->db[f];
        count += 1.0;
    }
    return count > 0.0 ? sum / count : 0.0;
}

/* Where the next phrase begins. */
static size_t next_start(const Voice *voice, size_t label) {
    for (size_t i = label + 1; i < voice->n_labels; i++)
        if (is_phrase(&voice->labels[i]))
            return voice->labels[i].start;
    return voice->n;
}

static void judge_gaps(const Voice *voice, const Gain *gain, Tally *tally) {
    const size_t second = (size_t)voice->rate_hz, after = (size_t)(0.28 * voice->rate_hz);
    for (size_t i = 0; i < voice->n_labels; i++) {
        const SingerLabel *l = &voice->labels[i];
        if (!is_phrase(l) || l->end - l->start < second + second / 2 ||
            l->end + after + second / 25 > next_start(voice, i))
            continue;
        double taken = -mean_gain(gain, l->end - second, l->end);
        double left = -mean_gain(gain, l->end + after, l->end + after + second / 25);
        if (taken > 1.0)
            samples_add(&tally->rise, 100.0 * (taken - left) / taken);
    }
}

static bool judge_gain(Quality *quality, const Voice *voice, const float *in, const float *out,
                       Tally *tally) {
    Gain gain = {NULL, 0, 1};
    bool ok = gain_of(voice, in, out, &gain);
    float *moves = malloc((gain.n + 1) * sizeof *moves);
    ok &= moves != NULL;
    if (ok) {
        double square = 0.0, taken = 0.0, count = 0.0;
        signals_band_filter(gain.db, moves, gain.n, 1.0 / FRAME_S, 2.0, 16.0);
        for (size_t i = 0; i < voice->n_labels; i++) {
            const SingerLabel *l = &voice->labels[i];
            for (size_t f = l->start / gain.hop;
                 is_phrase(l) && f < gain.n && f * gain.hop < l->end; f++) {
                square += (double)moves[f] * (double)moves[f];
                taken -= (double)gain.db[f];
                count += 1.0;
            }
        }
        samples_add(&tally->pumping, sqrt(square / count));
        samples_add(&tally->reduction, taken / count);
        judge_gaps(voice, &gain, tally);
        quality_note(quality, 1, "  %-22s taken %5.2f dB, of it %5.2f dB RMS at 2..16 Hz",
                     voice->name, taken / count, sqrt(square / count));
    }
    free(moves);
    free(gain.db);
    return ok;
}

/* ---- runs ---- */

static bool render(Quality *quality, const Voice *voice, const float *in, float *out, size_t n,
                   bool made_up) {
    QualityRun run = {.plugin = bundle, .rate_hz = voice->rate_hz, .in = in, .n = n};
    run.out = out;
    run.settings = MADE_UP;
    run.n_settings = made_up ? sizeof MADE_UP / sizeof *MADE_UP : 0;
    return quality_render(quality, &run);
}

static bool render_known(Quality *quality, const Voice *voice, float *out) {
    const size_t again = voice->n + (size_t)(REST_S * voice->rate_hz), n = again + voice->n;
    float *in = calloc(2 * n, sizeof *in);
    bool ok = in != NULL;
    if (ok) {
        memcpy(in, voice->audio, voice->n * sizeof *in);
        memcpy(in + again, voice->audio, voice->n * sizeof *in);
        ok = render(quality, voice, in, in + n, n, false);
        memcpy(out, in + n + again, voice->n * sizeof *out);
    }
    free(in);
    return ok;
}

static bool judge_known(Quality *quality, const Voice *voice, float *out, Tally *tally) {
    Energy before = {NULL, 0}, after = {NULL, 0};
    bool ok = render_known(quality, voice, out) && phrases_energy(voice, voice->audio, &before) &&
              phrases_energy(voice, out, &after);
    if (ok) {
        double gate = gate_of(voice, &before);
        Blocks from = blocks_of(voice, &before, &before, gate);
        Blocks to = blocks_of(voice, &before, &after, gate);
        if (from.deviation_db > 0.0)
            samples_add(&tally->known, 100.0 * (1.0 - to.deviation_db / from.deviation_db));
        quality_note(quality, 1, "  %-22s rendered: spread %5.2f -> %5.2f dB", voice->name,
                     from.deviation_db, to.deviation_db);
    }
    energy_free(&before);
    energy_free(&after);
    return ok;
}

/* `quiet` and `loud` are scratch. */
static bool judge_levels(Quality *quality, const Voice *voice, float *scaled, float *quiet,
                         float *loud, Tally *tally) {
    static const float scales[] = {0.1f, 3.98107171f}; /* -20, +12 dB */
    float *const to[] = {quiet, loud};
    for (int i = 0; i < 2; i++) {
        for (size_t t = 0; t < voice->n; t++)
            scaled[t] = scales[i] * voice->audio[t];
        if (!render(quality, voice, scaled, to[i], voice->n, false))
            return false;
    }
    const size_t block = (size_t)(0.1 * voice->rate_hz);
    double most = 0.0;
    for (size_t i = 0; i < voice->n_labels; i++) {
        const SingerLabel *l = &voice->labels[i];
        for (size_t at = l->start; is_phrase(l) && at + block <= l->end; at += block)
            if (signals_rms_db(quiet + at, block) > -80.0)
                most = fmax(most, fabs(signals_rms_db(loud + at, block) -
                                       signals_rms_db(quiet + at, block) - 32.0));
    }
    samples_add(&tally->apart, most);
    quality_note(quality, 1, "  %-22s gain at -20 against +12 dB: %.3f dB apart", voice->name,
                 most);
    return true;
}

static bool judge_entries(Quality *quality, const Voice *voice, float *out, Tally *tally) {
    static const double ahead_s[] = {0.0, 0.01, 0.05};
    const size_t length = (size_t)(0.2 * voice->rate_hz);
    for (size_t i = 0; i < voice->n_labels; i++) {
        const SingerLabel *l = &voice->labels[i];
        for (int a = 0; l->kind == SINGER_WORD && a < 3; a++) {
            size_t ahead = (size_t)(ahead_s[a] * voice->rate_hz);
            if (l->start < ahead || l->start + length > voice->n)
                continue;
            const float *from = voice->audio + l->start - ahead;
            if (!render(quality, voice, from, out, ahead + length, false))
                return false;
            double lost =
                signals_rms_db(from + ahead, length) - signals_rms_db(out + ahead, length);
            samples_add(&tally->bitten, lost > 6.0);
            if (lost > 5.0)
                quality_note(quality, 2, "  %-22s %7.3f s, entered %2.0f ms ahead: loses %.1f dB",
                             voice->name, (double)l->start / voice->rate_hz, 1e3 * ahead_s[a],
                             lost);
        }
    }
    return true;
}

static bool judge(Quality *quality, const Voice *voice, float *const scratch[3], Tally *tally) {
    float *a = scratch[0], *b = scratch[1], *c = scratch[2];
    return render(quality, voice, voice->audio, a, voice->n, false) &&
           render(quality, voice, voice->audio, b, voice->n, true) &&
           judge_loudness(quality, voice, voice->audio, a, b, tally) &&
           judge_gain(quality, voice, voice->audio, a, tally) &&
           judge_known(quality, voice, a, tally) && judge_levels(quality, voice, a, b, c, tally) &&
           judge_entries(quality, voice, a, tally);
}

static void judge_voice(Quality *quality, const Voice *voice, Tally *tally) {
    float *scratch[3];
    bool ok = true;
    for (int i = 0; i < 3; i++)
        ok &= (scratch[i] = malloc((voice->n + 1) * sizeof(float))) != NULL;
    if (!ok || !judge(quality, voice, scratch, tally))
        quality->broken = true;
    for (int i = 0; i < 3; i++)
        free(scratch[i]);
}

static Figure quantile(Samples *sung, Samples *recorded, double p) {
    return (Figure){samples_quantile(sung, p), samples_quantile(recorded, p)};
}

static Figure mean(const Samples *sung, const Samples *recorded) {
    return (Figure){samples_mean(sung), samples_mean(recorded)};
}

static void report(Quality *quality, Tally *s, Tally *r) {
    quality_row(quality, "compressor: spread of 0.4 s loudness falls by, median", "%",
                quantile(&s->fall, &r->fall, 0.5), QUALITY_AT_LEAST, 25.0);
    quality_row(quality, "compressor: the same, rendered", "%", quantile(&s->known, &r->known, 0.5),
                QUALITY_AT_LEAST, 25.0);
    quality_row(quality, "compressor: reduction in phrases, mean", "dB",
                mean(&s->reduction, &r->reduction), QUALITY_AT_MOST, 6.0);
    quality_row(quality, "compressor: gain at 2..16 Hz in phrases, RMS, mean", "dB",
                mean(&s->pumping, &r->pumping), QUALITY_AT_MOST, 1.4);
    quality_row(quality, "compressor: 0.3 s into gaps, noise is up by, median", "%",
                quantile(&s->rise, &r->rise, 0.5), QUALITY_AT_MOST, 56.0);
    quality_row(quality, "compressor: loudness with the preset's make-up, mean", "dB",
                mean(&s->madeup, &r->madeup), QUALITY_WITHIN, 1.0);
    quality_row(quality, "compressor: gain, -20 against +12 dB, worst 100 ms", "dB",
                quantile(&s->apart, &r->apart, 1.0), QUALITY_AT_MOST, 0.5);
    Figure bitten = mean(&s->bitten, &r->bitten);
    quality_row(quality, "compressor: words entered cold that lose over 6 dB", "%",
                (Figure){100.0 * bitten.sung, 100.0 * bitten.recorded}, QUALITY_AT_MOST, 0.0);
}

static void forget(Tally *t) {
    samples_free(&t->fall);
    samples_free(&t->known);
    samples_free(&t->madeup);
    samples_free(&t->pumping);
    samples_free(&t->reduction);
    samples_free(&t->rise);
    samples_free(&t->apart);
    samples_free(&t->bitten);
}

static void run(Quality *quality) {
    Tally sung, recorded;
    memset(&sung, 0, sizeof sung);
    memset(&recorded, 0, sizeof recorded);
    for (size_t i = 0; i < quality->material->count; i++) {
        const Voice *voice = &quality->material->voices[i];
        judge_voice(quality, voice, voice->recorded ? &recorded : &sung);
    }
    report(quality, &sung, &recorded);
    forget(&sung);
    forget(&recorded);
}

extern const QualityPart quality_compressor;
const QualityPart quality_compressor = {
    .name = "compressor", .bundle = bundle, .run = run, .voices = true};
