/* SPDX-License-Identifier: ISC */
/* The scene, where it is hardest: behind breath-ducker, whose `depth` is 24 dB, so that the room is
 * turned down with each breath; and in a noisy room.
 *
 * The take: as for the breath ducker, with steady noise (flat below 800 Hz, 6 dB an octave less
 * above) laid over all of it before breath-ducker, 24 to 36 dB under the voice (the mean power of
 * its words). Moments are those of the scene, one a hop, from 3 s on.
 *
 * Room level: what the scene takes the room for, from 359 Hz up, less what it is: the median power
 * of frames of 50 ms in the gaps, before breath-ducker, more than 0.1 s from words and breaths.
 * Given is what 95 % of the moments lie within. In octaves: the same of the mean, over the six
 * octaves from 359 Hz that the rate has, of their distances.
 *
 * Voice or not: a moment is voice where a word is labelled and what sounds there without breaths
 * and noise is at least 3 dB over the room's power, in 20 ms from 359 Hz up; it is none in breaths
 * and in gaps, 50 ms or more from any word. The rest does not count, nor do the gaps of recordings
 * that may hold more than is labelled. The scene takes it for voice where its kind is voiced or
 * voiceless: as decided, and as known at once. */
#include "quality/quality.h"
#include "voice/listener.h"
#include "voice/scene.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const double FROM_S = 3.0, CORNER_HZ = 800.0, LOWEST_HZ = 359.0;
static const double LOUD_UNDER_DB = 24.0, QUIET_UNDER_DB = 36.0;
static const double pi = 3.14159265358979323846;
static const QualitySetting ducked[] = {{"depth", 24.0f}};

typedef struct {
    Samples room_off, octaves_off; /* dB, >= 0, of moments */
    double counted, wrong, wrong_at_once;
} Tally;

typedef enum { VOICE_DOES_NOT_COUNT, VOICE, NO_VOICE } Truth;

typedef struct {
    const Voice *voice;
    float *noisy, *words, *ducked; /* everything; without breaths and noise; behind the ducker */
    double room_db[OCTAVE_BANK_BANDS], room_all_db;
    unsigned char *truth; /* of each ms */
    size_t ms;            /* frames in one */
} Judged;

/* ---- the take ---- */

static double words_db(const Voice *voice, const float *audio) {
    double power = 0.0, frames = 0.0;
    for (size_t i = 0; i < voice->n_labels; i++) {
        const SingerLabel *l = &voice->labels[i];
        for (size_t t = l->start; l->kind == SINGER_WORD && t < l->end; t++) {
            power += (double)audio[t] * (double)audio[t];
            frames += 1.0;
        }
    }
    return 10.0 * log10(power / fmax(frames, 1.0) + 1e-20);
}

/* Noise of that RMS, added. */
static void add_noise(float *audio, size_t n, double rate_hz, double db, Random *random) {
    double low = 0.0, a = 1.0 - exp(-2.0 * pi * CORNER_HZ / rate_hz);
    double scale = pow(10.0, db / 20.0) / sqrt(a / (2.0 - a));
    for (size_t i = 0; i < n; i++) {
        low += a * (random_normal(random) - low);
        audio[i] += (float)(scale * low);
    }
}

/* ---- the truth ---- */

static void mark(Judged *j, double from, double to, Truth truth) {
    size_t last = j->voice->n / j->ms;
    for (size_t k = from > 0.0 ? (size_t)from / j->ms : 0; k < last && (double)(k * j->ms) < to;
         k++)
        j->truth[k] = (unsigned char)truth;
}

/* Words where they stand over the room. */
static void mark_word(Judged *j, const SingerLabel *word, const Energy *words, double room_power) {
    size_t half = 10 * j->ms;
    for (size_t k = word->start / j->ms; k < word->end / j->ms; k++) {
        size_t middle = k * j->ms, from = middle > half ? middle - half : 0;
        double power = energy_between(words, from, middle + half) / (double)(2 * half);
        j->truth[k] = power >= 2.0 * room_power ? VOICE : VOICE_DOES_NOT_COUNT;
    }
}

static void find_truth(Judged *j, const Energy *words) {
    const Voice *voice = j->voice;
    double room = pow(10.0, 0.1 * j->room_all_db), margin = 0.05 * voice->rate_hz;
    for (size_t i = 0; i < voice->n_labels; i++) {
        const SingerLabel *l = &voice->labels[i];
        if (l->kind == SINGER_BREATH || (l->kind == SINGER_GAP && !voice->gaps_unknown))
            mark(j, (double)l->start, (double)l->end, NO_VOICE);
    }
    for (size_t i = 0; i < voice->n_labels; i++)
        if (voice->labels[i].kind == SINGER_WORD)
            mark(j, (double)voice->labels[i].start - margin, (double)voice->labels[i].end + margin,
                 VOICE_DOES_NOT_COUNT);
    for (size_t i = 0; i < voice->n_labels; i++)
        if (voice->labels[i].kind == SINGER_WORD)
            mark_word(j, &voice->labels[i], words, room);
}

/* Whether start..end is `margin` frames clear of words and breaths. */
static bool is_room(const Voice *voice, size_t start, size_t end, size_t margin) {
    for (size_t i = 0; i < voice->n_labels; i++) {
        const SingerLabel *l = &voice->labels[i];
        if ((l->kind == SINGER_WORD || l->kind == SINGER_BREATH) && l->start < end + margin &&
            start < l->end + margin)
            return false;
    }
    return true;
}

static double room_of(const Judged *j, double low_hz, double high_hz) {
    const Voice *voice = j->voice;
    size_t frame = 50 * j->ms;
    Samples levels = {NULL, 0, 0};
    Energy energy = {NULL, 0};
    if (!energy_of(j->noisy, voice->n, voice->rate_hz, low_hz, high_hz, &energy))
        return (double)NAN;
    for (size_t at = 0; at + frame <= voice->n; at += frame)
        if (is_room(voice, at, at + frame, 100 * j->ms))
            samples_add(&levels, energy_db(&energy, at, at + frame));
    double db = samples_quantile(&levels, 0.5);
    samples_free(&levels);
    energy_free(&energy);
    return db;
}

static int whole_octaves(double rate_hz) {
    int octaves = 0;
    while (octaves < OCTAVE_BANK_BANDS - 2 && LOWEST_HZ * (double)(2 << octaves) <= 0.5 * rate_hz)
        octaves++;
    return octaves;
}

static bool measure(Judged *j) {
    const Voice *voice = j->voice;
    Energy words = {NULL, 0};
    j->ms = (size_t)(0.001 * voice->rate_hz);
    j->truth = calloc(voice->n / j->ms + 1, 1);
    j->room_all_db = room_of(j, LOWEST_HZ, 1e9);
    for (int b = 1; b <= whole_octaves(voice->rate_hz); b++)
        j->room_db[b] =
            room_of(j, LOWEST_HZ * (double)(1 << (b - 1)), LOWEST_HZ * (double)(1 << b));
    bool ok = j->truth && energy_of(j->words, voice->n, voice->rate_hz, LOWEST_HZ, 1e9, &words);
    if (ok)
        find_truth(j, &words);
    energy_free(&words);
    return ok;
}

/* ---- the run ---- */

static void judge_room(const Judged *j, const SceneKnown *known, Tally *tally) {
    int octaves = whole_octaves(j->voice->rate_hz);
    double off = 0.0;
    samples_add(&tally->room_off, fabs((double)known->room_all_db - j->room_all_db));
    for (int b = 1; b <= octaves; b++)
        off += fabs((double)known->room_db[b] - j->room_db[b]) / (double)octaves;
    samples_add(&tally->octaves_off, off);
}

static bool is_voice(SceneKind kind) {
    return kind == SCENE_VOICED || kind == SCENE_VOICELESS;
}

/* `told` of the moment around the middle of hop `hop`, counted from 0. */
static void judge_kind(const Judged *j, long hop, size_t length, bool told, double *counted,
                       double *wrong) {
    double frame = ((double)hop + 0.5) * (double)length;
    if (frame < FROM_S * j->voice->rate_hz || frame >= (double)j->voice->n - (double)j->ms)
        return;
    Truth truth = (Truth)j->truth[(size_t)frame / j->ms];
    *counted += truth != VOICE_DOES_NOT_COUNT;
    *wrong += truth == (told ? NO_VOICE : VOICE);
}

static void judge_scene(const Judged *j, Tally *tally) {
    static Listener listener;
    static Scene scene;
    double rate_hz = j->voice->rate_hz, counted = 0.0;
    listener_prepare(&listener, rate_hz);
    size_t length = listener.sense.hop;
    const SceneParams params = {.sensitivity_db = 0.0f, .shortest_breath_ms = 100.0f};
    scene_prepare(&scene, rate_hz, rate_hz / (double)length);
    scene_set(&scene, &params);
    long late = (long)scene_late(rate_hz / (double)length, &params), hop = -VOICE_SENSE_DELAY;
    for (size_t at = 0; at + listener_room(&listener) <= j->voice->n;) {
        const float *in = j->ducked;
        size_t n = listener_room(&listener);
        VoiceFrame frame;
        SceneMoment moment;
        bool whole = listener_hear(&listener, &in, 1, at, n, &frame);
        at += n;
        if (!whole)
            continue;
        scene_step(&scene, &frame, &moment);
        judge_kind(j, hop, length, is_voice(moment.likeliest), &counted, &tally->wrong_at_once);
        judge_kind(j, hop - late, length, is_voice(moment.kind), &tally->counted, &tally->wrong);
        if ((double)at >= FROM_S * rate_hz)
            judge_room(j, &moment.known, tally);
        hop++;
    }
}

static bool duck(Quality *quality, const Judged *j) {
    QualityRun run = {.plugin = "breath-ducker",
                      .settings = ducked,
                      .n_settings = 1,
                      .rate_hz = j->voice->rate_hz,
                      .in = j->noisy,
                      .out = j->ducked,
                      .n = j->voice->n};
    return quality_render(quality, &run);
}

static void judge_voice(Quality *quality, const Voice *voice, unsigned long long seed,
                        Tally *tally) {
    size_t bytes = (voice->n + 1) * sizeof(float);
    Judged j = {
        .voice = voice, .noisy = malloc(bytes), .words = malloc(bytes), .ducked = malloc(bytes)};
    Random random = random_seeded(seed);
    bool ok = j.noisy && j.words && j.ducked;
    for (size_t i = 0; ok && i < voice->n; i++) {
        j.noisy[i] = voice->audio[i];
        j.words[i] = voice->audio[i] - voice->breaths[i];
    }
    if (ok) {
        double under_db = random_range(&random, LOUD_UNDER_DB, QUIET_UNDER_DB);
        add_noise(j.noisy, voice->n, voice->rate_hz, words_db(voice, j.words) - under_db, &random);
        ok = measure(&j) && duck(quality, &j);
    }
    if (ok)
        judge_scene(&j, tally);
    quality->broken |= !ok;
    free(j.noisy);
    free(j.words);
    free(j.ducked);
    free(j.truth);
}

static void rows(Quality *quality) {
    Tally tally[2];
    memset(tally, 0, sizeof tally);
    for (size_t i = 0; i < quality->material->count; i++) {
        const Voice *voice = &quality->material->voices[i];
        Voice made;
        if (!material_breaths(quality->material, voice, 8000ull + i, &made))
            continue;
        Tally one;
        memset(&one, 0, sizeof one);
        judge_voice(quality, &made, 8100ull + i, &one);
        quality_note(
            quality, 1,
            "  %-22s room off %5.2f dB, octaves %5.2f dB | of %5.0f moments %5.2f %% wrong "
            "for voice or not, %5.2f %% at once",
            voice->name, samples_quantile(&one.room_off, 0.95),
            samples_quantile(&one.octaves_off, 0.95), one.counted, 100.0 * one.wrong / one.counted,
            100.0 * one.wrong_at_once / one.counted);
        Tally *all = &tally[voice->recorded];
        samples_pour(&one.room_off, &all->room_off);
        samples_pour(&one.octaves_off, &all->octaves_off);
        all->counted += one.counted;
        all->wrong += one.wrong;
        all->wrong_at_once += one.wrong_at_once;
        voice_free(&made);
    }
    Tally *s = &tally[0], *r = &tally[1];
    quality_row(
        quality, "scene: room level off, 95 % of moments", "dB",
        (Figure){samples_quantile(&s->room_off, 0.95), samples_quantile(&r->room_off, 0.95)},
        QUALITY_AT_MOST, 2.0);
    quality_row(
        quality, "scene: room in octaves off, 95 % of moments", "dB",
        (Figure){samples_quantile(&s->octaves_off, 0.95), samples_quantile(&r->octaves_off, 0.95)},
        QUALITY_AT_MOST, 2.0);
    quality_row(quality, "scene: voice or not, wrong", "%",
                (Figure){100.0 * s->wrong / s->counted, 100.0 * r->wrong / r->counted},
                QUALITY_AT_MOST, 4.0);
    quality_row(
        quality, "scene: voice or not, wrong at once", "%",
        (Figure){100.0 * s->wrong_at_once / s->counted, 100.0 * r->wrong_at_once / r->counted},
        QUALITY_AT_MOST, 8.0);
    for (int k = 0; k < 2; k++) {
        samples_free(&tally[k].room_off);
        samples_free(&tally[k].octaves_off);
    }
}

extern const QualityPart quality_scene;
const QualityPart quality_scene = {
    .name = "scene", .bundle = "breath-ducker", .run = rows, .voices = true};
