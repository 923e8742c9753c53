/* SPDX-License-Identifier: ISC */
/* The noise reducer, `depth` 15.
 *
 * The take: one second of noise alone, the voice, one second more; the noise steady, hiss
 * (white) or a fan (3 dB less an octave), and so far under the mean power of the words as
 * said; of voices whose own room, which is not to be told from noise, lies 10 dB under it. SI-SDR
 * against the voice, of the words alone; what is shown is what it rises by. Gaps: what lies between
 * the words, 0.2 s off them and off breaths, and the noise at the end: how much quieter; and the
 * kurtosis ratio, of the power P in each bin of 21 to 43 ms frames, E[P^2] / E[P]^2 after over
 * before, mean of all bins: over 1, what is left twitters (after Uemura et al., IWAENC 2008). A bin
 * of a frame in which the recording itself is louder than the noise laid in is left out: hiss has
 * little power under 200 Hz, so a thump there that no level of the whole frame shows is heard, and
 * kept, and would count as twitter: 21 times the kurtosis in five bins of one voice.
 * Starts: the first 50 ms of words at 20 dB, that stand 6 dB over the noise: level of the clean
 * voice there under the same gains is not known, so what counts is in less out, less what the noise
 * itself can make of it, 10 log10(1 + N / S). Clean: the voice alone behind a second of silence:
 * what the words change by, re the words. */
#include "basic/fft.h"
#include "quality/quality.h"
#include "speech_measures.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const char bundle[] = "noise-reducer";
static const QualitySetting settings[] = {{"depth", 15.0f}};
static const double LEVELS_DB[] = {10.0, 20.0, 30.0};

static const double ROOM_APART = 0.3; /* a voice's own room is 10 dB under the noise laid in */
static const double AUDIBLE = 0.2;    /* -14 dB: adds 0.2 dB to the noise */
static const float OWN = 1.0f;        /* of the noise's mean power in a bin */

enum { LEVELS = 3, FRAME = 1024 };

typedef enum { HISS, FAN, KINDS } Kind;

static const char *const KIND[KINDS] = {"hiss", "fan"};

typedef struct {
    Samples better[KINDS][LEVELS]; /* dB of SI-SDR */
    Samples quieter, kurtosis, start_lost, changed;
} Tally;

typedef struct {
    const Voice *voice;
    Kind kind;
    size_t lead, n;
    double noise_rms, room_rms; /* as laid; the recording's own */
    float *clean, *noise, *take, *out;
    float *words_clean, *words; /* the words alone, behind one another */
    double words_rms;
} Judged;

/* ---- the take ---- */

/* Equal power in each band is a fall of 3 dB an octave. */
static void make_fan(float *noise, size_t n, double rate_hz, unsigned long long seed) {
    static const double low_hz[] = {40.0, 150.0, 600.0, 2400.0};
    static const double gain[] = {0.7, 1.0, 1.0, 1.0};
    float *band = malloc((n + 1) * sizeof *band);
    memset(noise, 0, n * sizeof *noise);
    for (int b = 0; band && b < 4; b++) {
        Random random = random_seeded(seed + (unsigned)b);
        signals_band_noise(band, n, rate_hz, low_hz[b], b < 3 ? low_hz[b + 1] : 1e9, gain[b],
                           &random);
        signals_add(noise, band, n);
    }
    free(band);
    signals_scale(noise, n, 1.0 / signals_rms(noise, n));
}

/* The samples of all words from `audio`, to `to`. */
static size_t words_of(const Judged *j, const float *audio, float *to) {
    size_t n = 0;
    for (size_t i = 0; i < j->voice->n_labels; i++) {
        const SingerLabel *l = &j->voice->labels[i];
        if (l->kind != SINGER_WORD)
            continue;
        memcpy(to + n, audio + j->lead + l->start, (l->end - l->start) * sizeof *to);
        n += l->end - l->start;
    }
    return n;
}

/* RMS of the voice's own room: the 3rd percentile of 20 ms, what was joined by silence left out. */
static double own_room(const Voice *voice) {
    Samples levels = {NULL, 0, 0};
    size_t step = (size_t)(0.02 * voice->rate_hz);
    for (size_t at = 0; at + step <= voice->n; at += step) {
        double rms = signals_rms(voice->audio + at, step);
        if (rms > 1e-6)
            samples_add(&levels, rms);
    }
    double room = samples_quantile(&levels, 0.03);
    samples_free(&levels);
    return room;
}

static void make_noise(Kind kind, float *noise, size_t n, double rate_hz, unsigned long long seed) {
    Random random = random_seeded(seed);
    if (kind == HISS)
        signals_noise(noise, n, 1.0, &random);
    else
        make_fan(noise, n, rate_hz, seed);
}

static bool open_take(const Voice *voice, Kind kind, unsigned long long seed, Judged *j) {
    *j = (Judged){.voice = voice, .kind = kind, .lead = (size_t)voice->rate_hz};
    j->n = voice->n + 2 * j->lead;
    float **arrays[] = {&j->clean, &j->noise, &j->take, &j->out, &j->words_clean, &j->words};
    for (int i = 0; i < 6; i++)
        if (!(*arrays[i] = calloc(j->n + 1, sizeof(float))))
            return false;
    memcpy(j->clean + j->lead, voice->audio, voice->n * sizeof(float));
    make_noise(kind, j->noise, j->n, voice->rate_hz, seed);
    size_t n = words_of(j, j->clean, j->words_clean);
    j->words_rms = signals_rms(j->words_clean, n);
    j->room_rms = own_room(voice);
    return n > 0;
}

static void close_take(Judged *j) {
    float *arrays[] = {j->clean, j->noise, j->take, j->out, j->words_clean, j->words};
    for (int i = 0; i < 6; i++)
        free(arrays[i]);
}

static bool reduce(Quality *quality, const Judged *j, const float *in) {
    const QualityRun run = {.plugin = bundle,
                            .settings = settings,
                            .n_settings = 1,
                            .rate_hz = j->voice->rate_hz,
                            .in = in,
                            .out = j->out,
                            .n = j->n};
    return quality_render(quality, &run);
}

/* ---- gaps ---- */

enum { BINS = FRAME / 2 + 1 };

typedef enum { BEFORE, AFTER, SIDES } Side;

typedef struct {
    Fft fft;
    void *memory;
    float *noise, *own; /* [BINS] power: the noise's mean; the voice's in this frame */
    float *power;       /* [BINS] */
    double *sum[SIDES], *square[SIDES], *frames; /* [BINS] */
    double energy[SIDES];
} Gaps;

static void power_of(Gaps *g, const float *audio, float *power) {
    float cut[FRAME];
    for (int i = 0; i < FRAME; i++)
        cut[i] = audio[i] * (float)(0.5 - 0.5 * cos(2.0 * 3.14159265358979 * i / FRAME));
    fft_power(&g->fft, cut, power);
}

/* Of the noise as it is laid in, all through the take. */
static void measure_noise(Gaps *g, const Judged *j) {
    size_t frames = 0;
    for (size_t at = 0; at + FRAME <= j->n; at += FRAME / 2, frames++) {
        power_of(g, j->noise + at, g->power);
        for (int k = 0; k < BINS; k++)
            g->noise[k] += g->power[k];
    }
    float scale = (float)(j->noise_rms * j->noise_rms / (double)frames);
    for (int k = 0; k < BINS; k++)
        g->noise[k] *= scale;
}

static bool open_gaps(Gaps *g, const Judged *j) {
    size_t room = (size_t)FRAME * (16 * sizeof(float) + 5 * sizeof(double)) + 4096;
    *g = (Gaps){.memory = calloc(1, room)};
    Arena arena = arena_over(g->memory, g->memory ? room : 0);
    g->noise = arena_take(&arena, BINS, sizeof(float));
    g->own = arena_take(&arena, BINS, sizeof(float));
    g->power = arena_take(&arena, BINS, sizeof(float));
    bool taken = g->noise && g->own && g->power;
    for (int side = 0; side < SIDES; side++) {
        g->sum[side] = arena_take(&arena, BINS, sizeof(double));
        g->square[side] = arena_take(&arena, BINS, sizeof(double));
        taken = taken && g->sum[side] && g->square[side];
    }
    g->frames = arena_take(&arena, BINS, sizeof(double));
    if (!taken || !g->frames || !fft_prepare(&g->fft, FRAME, &arena))
        return false;
    measure_noise(g, j);
    return true;
}

static void add_side(Gaps *g, const float *audio, Side side) {
    power_of(g, audio, g->power);
    g->energy[side] += pow(signals_rms(audio, FRAME), 2.0);
    for (int k = 0; k < BINS; k++) {
        bool noise = g->own[k] <= OWN * g->noise[k];
        double power = noise ? (double)g->power[k] : 0.0;
        g->sum[side][k] += power;
        g->square[side][k] += power * power;
        g->frames[k] += side == BEFORE && noise;
    }
}

static void add_stretch(Gaps *g, const Judged *j, size_t start, size_t end) {
    for (size_t at = start; at + FRAME <= end; at += FRAME / 2) {
        power_of(g, j->clean + at, g->own);
        add_side(g, j->take + at, BEFORE);
        add_side(g, j->out + at, AFTER);
    }
}

/* Any sound labelled here, or 0.2 s near, or anything of the voice that counts beside the noise? */
static bool sounding(const Judged *j, size_t start, size_t end) {
    size_t guard = (size_t)(0.2 * j->voice->rate_hz);
    if (signals_rms(j->clean + start, end - start) > AUDIBLE * j->noise_rms)
        return true;
    for (size_t i = 0; i < j->voice->n_labels; i++) {
        const SingerLabel *l = &j->voice->labels[i];
        bool sounds =
            l->kind == SINGER_WORD || l->kind == SINGER_BREATH || l->kind == SINGER_PHRASE;
        if (sounds && j->lead + l->start < end + guard && j->lead + l->end + guard > start)
            return true;
    }
    return false;
}

static double kurtosis(const Gaps *g, Side side, int k) {
    return g->square[side][k] * g->frames[k] / (g->sum[side][k] * g->sum[side][k]);
}

static void tally_gaps(const Gaps *g, Tally *tally) {
    double ratio = 0.0, bins = 0.0;
    for (int k = 1; k < BINS - 1; k++) {
        if (g->frames[k] == 0.0)
            continue;
        ratio += kurtosis(g, AFTER, k) / kurtosis(g, BEFORE, k);
        bins += 1.0;
    }
    if (bins == 0.0)
        return;
    samples_add(&tally->quieter, 10.0 * log10(g->energy[BEFORE] / (g->energy[AFTER] + 1e-20)));
    samples_add(&tally->kurtosis, ratio / bins);
}

static void judge_gaps(const Judged *j, Tally *tally) {
    Gaps g;
    if (open_gaps(&g, j)) {
        size_t step = (size_t)(0.1 * j->voice->rate_hz), stop = j->n - step;
        for (size_t at = j->lead, end; at + step <= stop; at = end) {
            end = at + step;
            if (sounding(j, at, end))
                continue;
            while (end + step <= stop && !sounding(j, end, end + step))
                end += step;
            add_stretch(&g, j, at, end);
        }
        tally_gaps(&g, tally);
    }
    free(g.memory);
}

static void judge_starts(const Judged *j, Tally *tally) {
    size_t n = (size_t)(0.05 * j->voice->rate_hz);
    for (size_t i = 0; i < j->voice->n_labels; i++) {
        const SingerLabel *l = &j->voice->labels[i];
        if (l->kind != SINGER_WORD || l->end < l->start + n)
            continue;
        size_t at = j->lead + l->start;
        double over = signals_rms(j->clean + at, n) / j->noise_rms;
        if (over > 2.0)
            samples_add(&tally->start_lost, signals_rms_db(j->take + at, n) -
                                                signals_rms_db(j->out + at, n) -
                                                10.0 * log10(1.0 + 1.0 / (over * over)));
    }
}

/* ---- a voice ---- */

static double words_si_sdr(const Judged *j, const float *audio) {
    size_t n = words_of(j, audio, j->words);
    return speech_si_sdr(j->words_clean, j->words, n);
}

static void judge_level(Quality *quality, Judged *j, int level, Tally *tally) {
    double noise_rms = j->words_rms * pow(10.0, -LEVELS_DB[level] / 20.0);
    j->noise_rms = noise_rms;
    if (j->room_rms > noise_rms * ROOM_APART)
        return;
    for (size_t i = 0; i < j->n; i++)
        j->take[i] = j->clean[i] + (float)(noise_rms * (double)j->noise[i]);
    if (!reduce(quality, j, j->take))
        return;
    double before = words_si_sdr(j, j->take), after = words_si_sdr(j, j->out);
    samples_add(&tally->better[j->kind][level], after - before);
    quality_note(quality, 1, "  %-16s %s %2.0f dB under: SI-SDR %5.1f -> %5.1f dB", j->voice->name,
                 KIND[j->kind], LEVELS_DB[level], before, after);
    if (level != 1)
        return;
    judge_gaps(j, tally);
    judge_starts(j, tally);
    quality_note(quality, 1, "  %-16s gaps quieter by %.1f dB, kurtosis ratio %.2f", j->voice->name,
                 tally->quieter.value[tally->quieter.n - 1],
                 tally->kurtosis.value[tally->kurtosis.n - 1]);
}

static void judge_clean(Quality *quality, Judged *j, Tally *tally) {
    if (!reduce(quality, j, j->clean))
        return;
    size_t n = words_of(j, j->out, j->words);
    double changed =
        signals_difference_db(j->words, j->words_clean, n) - 20.0 * log10(j->words_rms);
    samples_add(&tally->changed, changed);
    quality_note(quality, 1, "  %-16s clean: changes by %.1f dB", j->voice->name, changed);
}

static void judge_voice(Quality *quality, const Voice *voice, unsigned long long seed,
                        Tally *tally) {
    for (int kind = 0; kind < KINDS; kind++) {
        Judged j;
        if (open_take(voice, (Kind)kind, seed, &j)) {
            for (int level = 0; level < LEVELS; level++)
                judge_level(quality, &j, level, tally);
            if (kind == 0)
                judge_clean(quality, &j, tally);
        }
        close_take(&j);
    }
}

static void report(Quality *quality, Tally *s, Tally *r) {
    static const double target[LEVELS] = {6.0, 5.0, 3.0};
    char what[96];
    for (int k = 0; k < KINDS; k++)
        for (int i = 0; i < LEVELS; i++) {
            snprintf(what, sizeof what, "noise: SI-SDR of words, %s %.0f dB under, mean rise",
                     KIND[k], LEVELS_DB[i]);
            quality_row(quality, what, "dB",
                        (Figure){samples_mean(&s->better[k][i]), samples_mean(&r->better[k][i])},
                        QUALITY_AT_LEAST, target[i]);
        }
    quality_row(quality, "noise: gaps quieter by, least", "dB",
                (Figure){samples_quantile(&s->quieter, 0.0), samples_quantile(&r->quieter, 0.0)},
                QUALITY_AT_LEAST, 12.0);
    quality_row(quality, "noise: kurtosis ratio in gaps, largest", "",
                (Figure){samples_quantile(&s->kurtosis, 1.0), samples_quantile(&r->kurtosis, 1.0)},
                QUALITY_AT_MOST, 1.2);
    quality_row(
        quality, "noise: first 50 ms of a word lost, median", "dB",
        (Figure){samples_quantile(&s->start_lost, 0.5), samples_quantile(&r->start_lost, 0.5)},
        QUALITY_AT_MOST, 0.5);
    quality_row(
        quality, "noise: first 50 ms of a word lost, 95 %", "dB",
        (Figure){samples_quantile(&s->start_lost, 0.95), samples_quantile(&r->start_lost, 0.95)},
        QUALITY_AT_MOST, 1.5);
    quality_row(quality, "noise: a clean voice changes by, most", "dB",
                (Figure){samples_quantile(&s->changed, 1.0), samples_quantile(&r->changed, 1.0)},
                QUALITY_AT_MOST, -35.0);
}

static void tally_free(Tally *t) {
    for (int k = 0; k < KINDS; k++)
        for (int i = 0; i < LEVELS; i++)
            samples_free(&t->better[k][i]);
    samples_free(&t->quieter);
    samples_free(&t->kurtosis);
    samples_free(&t->start_lost);
    samples_free(&t->changed);
}

static void rows(Quality *quality) {
    Tally tally[2];
    memset(tally, 0, sizeof tally);
    for (size_t i = 0; i < quality->material->count; i++) {
        const Voice *voice = &quality->material->voices[i];
        judge_voice(quality, voice, 8000ull + 10 * i, &tally[voice->recorded]);
    }
    report(quality, &tally[0], &tally[1]);
    tally_free(&tally[0]);
    tally_free(&tally[1]);
}

extern const QualityPart quality_noise;
const QualityPart quality_noise = {
    .name = "noise", .bundle = "noise-reducer", .run = rows, .voices = true};
