/* SPDX-License-Identifier: ISC */
/* Takes to judge breaths on. */
#include "quality/material.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const double pi = 3.14159265358979323846;

/* ---- A stock of breaths ---- */

typedef struct {
    const float *audio;
    size_t n;
    double rate_hz;
} Clipping;

enum { MAX_STOCK = 64 };

typedef struct {
    Clipping clipping[MAX_STOCK];
    size_t count;
} Stock;

static void take_stock(const Material *material, bool recorded, Stock *stock) {
    for (size_t v = 0; v < material->count; v++) {
        const Voice *voice = &material->voices[v];
        for (size_t i = 0; i < voice->n_labels && stock->count < MAX_STOCK; i++) {
            const SingerLabel *l = &voice->labels[i];
            if (l->kind != SINGER_BREATH || voice->recorded != recorded)
                continue;
            const float *from = recorded ? voice->audio : voice->take.stem[SINGER_STEM_BREATHS];
            stock->clipping[stock->count++] =
                (Clipping){from + l->start, l->end - l->start, voice->rate_hz};
        }
    }
}

/* One sample between samples: a Hann-windowed sinc of 32 points, its cut-off at the lower of the
 * two Nyquist frequencies. */
static double interpolate(const Clipping *from, double at, double cut) {
    long centre = (long)floor(at);
    double sum = 0.0;
    for (long i = centre - 15; i <= centre + 16; i++) {
        double t = at - (double)i;
        if (i < 0 || (size_t)i >= from->n)
            continue;
        double x = pi * cut * t;
        double sinc = fabs(x) < 1e-9 ? 1.0 : sin(x) / x;
        sum += cut * sinc * (0.5 + 0.5 * cos(pi * t / 16.5)) * (double)from->audio[i];
    }
    return sum;
}

/* The breath at another rate, without what lies below 120 Hz, with 15 ms fades, its RMS 1.
 * Returns its length; at most `longest`. */
static size_t breath_at_rate(const Clipping *from, double rate_hz, float *out, size_t longest) {
    double step = from->rate_hz / rate_hz, cut = fmin(1.0, 1.0 / step);
    size_t n = (size_t)((double)from->n / step);
    n = n < longest ? n : longest;
    SignalsBiquad rumble = signals_high_pass(rate_hz, 120.0, 0.7071);
    for (size_t i = 0; i < n; i++)
        out[i] = (float)signals_biquad_step(&rumble, interpolate(from, (double)i * step, cut));
    signals_fade_ends(out, n, (size_t)(0.015 * rate_hz));
    double rms = signals_rms(out, n);
    if (rms > 0.0)
        signals_scale(out, n, 1.0 / rms);
    return n;
}

/* ---- The take ---- */

typedef struct {
    const Voice *voice;
    Voice *made;
    const Stock *stock;
    Random random;
    Energy energy;
    double floor_db;
    size_t room; /* frames allocated */
} Builder;

static bool grow(float **array, size_t room) {
    float *grown = realloc(*array, room * sizeof *grown);
    if (grown)
        *array = grown;
    return grown != NULL;
}

static bool reserve(Builder *b, size_t n) {
    Voice *made = b->made;
    if (made->n + n > b->room) {
        size_t room = 2 * (made->n + n);
        if (!grow(&made->audio, room) || !grow(&made->breaths, room))
            return false;
        b->room = room;
    }
    signals_silence(made->audio + made->n, n);
    signals_silence(made->breaths + made->n, n);
    return true;
}

static size_t frames_between(Builder *b, double low_s, double high_s) {
    return (size_t)(random_range(&b->random, low_s, high_s) * b->voice->rate_hz);
}

/* RMS over the frames of 10 ms that lie within 20 dB of the loudest. */
static double active_db(const Builder *b, size_t start, size_t end) {
    size_t hop = (size_t)(0.01 * b->voice->rate_hz), count = 0;
    double loudest = ENERGY_FLOOR_DB, power = 0.0;
    for (size_t at = start; at + hop <= end; at += hop)
        loudest = fmax(loudest, energy_db(&b->energy, at, at + hop));
    for (size_t at = start; at + hop <= end; at += hop)
        if (energy_db(&b->energy, at, at + hop) > loudest - 20.0) {
            power += energy_between(&b->energy, at, at + hop) / (double)hop;
            count++;
        }
    return count ? 10.0 * log10(power / (double)count) : loudest;
}

/* A pause, with or without a breath, before a phrase of that level. */
static bool add_pause(Builder *b, double phrase_db) {
    Voice *made = b->made;
    double rate_hz = b->voice->rate_hz;
    size_t longest = (size_t)(1.2 * rate_hz), before = frames_between(b, 0.15, 0.6),
           after = frames_between(b, 0.03, 0.15), length = 0;
    const Clipping *clipping = &b->stock->clipping[random_below(&b->random, b->stock->count)];
    bool with_breath = random_unit(&b->random) < 0.9;
    double under_db = random_range(&b->random, -38.0, -15.0);
    double db = fmax(phrase_db + under_db, b->floor_db + 3.0);
    if (!reserve(b, before + longest + after))
        return false;
    size_t start = made->n;
    if (with_breath) {
        float *at = made->breaths + start + before;
        length = breath_at_rate(clipping, rate_hz, at, longest);
        signals_scale(at, length, pow(10.0, db / 20.0));
        if (!voice_label(made, SINGER_BREATH, start + before, start + before + length))
            return false;
        memcpy(made->audio + start + before, at, length * sizeof *at);
    }
    made->n += before + length + after;
    return voice_label(made, SINGER_GAP, start, made->n);
}

/* Frames start..end of the recording, with its words. */
static bool add_piece(Builder *b, size_t start, size_t end) {
    Voice *made = b->made;
    size_t n = end - start;
    if (!reserve(b, n))
        return false;
    float *to = made->audio + made->n;
    memcpy(to, b->voice->audio + start, n * sizeof *to);
    signals_fade_ends(to, n, (size_t)(0.01 * b->voice->rate_hz));
    for (size_t i = 0; i < b->voice->n_labels; i++) {
        const SingerLabel *l = &b->voice->labels[i];
        bool kept = l->kind == SINGER_WORD || l->kind == SINGER_PHRASE || l->kind == SINGER_S;
        if (kept && l->start >= start && l->end <= end &&
            !voice_label(made, l->kind, made->n + l->start - start, made->n + l->end - start))
            return false;
    }
    made->n += n;
    return true;
}

static const SingerLabel *next_phrase(const Voice *voice, size_t *i) {
    while (*i < voice->n_labels && voice->labels[*i].kind != SINGER_PHRASE)
        (*i)++;
    return *i < voice->n_labels ? &voice->labels[(*i)++] : NULL;
}

/* Joins one or two utterances and puts a pause before them. */
static bool build(Builder *b) {
    const Voice *voice = b->voice;
    size_t i = 0, margin = (size_t)(0.06 * voice->rate_hz), from = 0;
    const SingerLabel *first = next_phrase(voice, &i);
    while (first) {
        const SingerLabel *last = first, *next = next_phrase(voice, &i);
        size_t count = 1, wanted = 1 + random_below(&b->random, 2);
        for (; next && count < wanted; count++) {
            last = next;
            next = next_phrase(voice, &i);
        }
        size_t start = first->start > from + margin ? first->start - margin : from;
        size_t to = next ? (last->end + next->start) / 2 : voice->n;
        size_t end = last->end + margin < to ? last->end + margin : to;
        if (!add_pause(b, active_db(b, first->start, last->end)) || !add_piece(b, start, end))
            return false;
        from = to;
        first = next;
    }
    return true;
}

/* Room tone over the whole, so that pauses are not more silent than the recording. */
static void add_room(Builder *b) {
    double low = 0.0, a = 1.0 - exp(-2.0 * pi * 800.0 / b->voice->rate_hz);
    double level = pow(10.0, b->floor_db / 20.0);
    /* RMS of 0.3 x + low, low of variance a / (2 - a) and correlated with x by a. */
    double rms = sqrt(0.09 + a / (2.0 - a) + 0.6 * a);
    for (size_t i = 0; i < b->made->n; i++) {
        double x = random_normal(&b->random);
        low += a * (x - low);
        b->made->audio[i] += (float)(level * (0.3 * x + low) / rms);
    }
}

static double floor_of(const Builder *b) {
    size_t hop = (size_t)(0.01 * b->voice->rate_hz), frames = b->voice->n / hop;
    double *level = malloc((frames + 1) * sizeof *level);
    if (!level)
        return -80.0;
    for (size_t i = 0; i < frames; i++)
        level[i] = energy_db(&b->energy, i * hop, (i + 1) * hop);
    double floor_db = signals_quantile(level, frames, 0.1);
    free(level);
    return fmin(fmax(floor_db, -85.0), -55.0);
}

static bool lay_breaths(const Material *material, const Voice *voice, unsigned long long seed,
                        Voice *made) {
    Stock stock = {.count = 0};
    take_stock(material, true, &stock);
    if (stock.count == 0)
        take_stock(material, false, &stock);
    Builder b = {.voice = voice, .made = made, .stock = &stock, .random = random_seeded(seed)};
    made->recorded = true;
    made->rate_hz = voice->rate_hz;
    bool ok =
        stock.count > 0 && energy_of(voice->audio, voice->n, voice->rate_hz, 60.0, 1e9, &b.energy);
    if (ok) {
        b.floor_db = floor_of(&b);
        ok = build(&b) && made->n > 0;
    }
    if (ok)
        add_room(&b);
    energy_free(&b.energy);
    return ok;
}

/* Everything as it is; the breath stem from the singer, or cut out along the labels. */
static bool copy_with_breaths(const Voice *voice, Voice *made) {
    size_t bytes = (voice->n + 1) * sizeof(float);
    made->recorded = true; /* it owns its labels, whoever sang */
    made->gaps_unknown = voice->gaps_unknown;
    made->rate_hz = voice->rate_hz;
    made->n = voice->n;
    made->audio = malloc(bytes);
    made->breaths = calloc(1, bytes);
    made->labels = malloc((voice->n_labels + 1) * sizeof *made->labels);
    if (!made->audio || !made->breaths || !made->labels)
        return false;
    made->n_labels = voice->n_labels;
    memcpy(made->labels, voice->labels, voice->n_labels * sizeof *made->labels);
    memcpy(made->audio, voice->recorded ? voice->audio : voice->take.mix, voice->n * sizeof(float));
    for (size_t i = 0; i < voice->n_labels; i++) {
        const SingerLabel *l = &voice->labels[i];
        const float *from = voice->recorded ? voice->audio : voice->take.stem[SINGER_STEM_BREATHS];
        if (l->kind == SINGER_BREATH)
            memcpy(made->breaths + l->start, from + l->start, (l->end - l->start) * sizeof(float));
    }
    return true;
}

static bool has_breaths(const Voice *voice) {
    for (size_t i = 0; i < voice->n_labels; i++)
        if (voice->labels[i].kind == SINGER_BREATH)
            return true;
    return !voice->recorded;
}

bool material_breaths(const Material *material, const Voice *voice, unsigned long long seed,
                      Voice *made) {
    *made = (Voice){.n = 0};
    if (voice->no_breaths)
        return false;
    bool ok = has_breaths(voice) ? copy_with_breaths(voice, made)
                                 : lay_breaths(material, voice, seed, made);
    snprintf(made->name, sizeof made->name, "%s", voice->name);
    if (!ok)
        voice_free(made);
    return ok;
}
