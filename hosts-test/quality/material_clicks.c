/* SPDX-License-Identifier: ISC */
/* Clicks of another make than the test singer's, laid into voices. */
#include "quality/material.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* One burst: noise through a resonance of 2..9 kHz, with little below 1.5 kHz (that is outside the
 * tamer's focus at its defaults), under t^2 exp(-t / tau). Adds to out[0..n). */
static void lay_burst(float *out, size_t n, double rate_hz, double height, Random *random) {
    double top = material_click_top(rate_hz);
    double hz = fmin(2000.0 * pow(4.5, random_unit(random)), 0.9 * top);
    SignalsBiquad tone = signals_band_pass(rate_hz, hz, random_range(random, 1.0, 8.0));
    SignalsBiquad cut = signals_high_pass(rate_hz, 1500.0, 0.7071);
    double tau_s = (double)n / rate_hz / 7.0; /* over after 7 tau: 49 e^-7 is 3 % of the peak */
    for (size_t i = 0; i < n; i++) {
        double x = (double)i / rate_hz / tau_s;
        double y = signals_biquad_step(&cut, signals_biquad_step(&tone, random_normal(random)));
        out[i] += (float)(height * x * x * exp(-x) * y);
    }
}

/* A click of 1..15 ms at click[0..length); returns its length. */
static size_t lay_shape(float *click, size_t longest, double rate_hz, Random *random) {
    double length_s = 0.001 * pow(15.0, random_unit(random));
    size_t length = (size_t)(length_s * rate_hz);
    length = length < longest ? length : longest;
    size_t bursts = length_s < 0.004 ? 1 : 1 + random_below(random, 3);
    signals_silence(click, length);
    for (size_t k = 0; k < bursts; k++) {
        size_t at = k * length / bursts;
        lay_burst(click + at, length / bursts, rate_hz, k ? random_range(random, 0.3, 1.1) : 1.0,
                  random);
    }
    return length;
}

typedef struct {
    const Voice *voice;
    float *audio;
    Energy band;
    bool loud; /* only in gaps, and high */
    Random random;
    Click *clicks;
    size_t count, room;
} Layer;

static bool keep_click(Layer *layer, size_t start, size_t end, bool in_word, double db) {
    if (layer->count == layer->room) {
        size_t room = 2 * layer->room + 64;
        Click *grown = realloc(layer->clicks, room * sizeof *grown);
        if (!grown)
            return false;
        layer->clicks = grown;
        layer->room = room;
    }
    layer->clicks[layer->count++] = (Click){start, end, in_word, db};
    return true;
}

static bool covered(const Voice *voice, SingerKind kind, size_t from, size_t to) {
    for (size_t i = 0; i < voice->n_labels; i++)
        if (voice->labels[i].kind == kind && voice->labels[i].start <= from &&
            voice->labels[i].end >= to)
            return true;
    return false;
}

static bool touched(const Voice *voice, SingerKind kind, size_t from, size_t to) {
    for (size_t i = 0; i < voice->n_labels; i++)
        if (voice->labels[i].kind == kind && voice->labels[i].start < to &&
            voice->labels[i].end > from)
            return true;
    return false;
}

/* Inside a word: 20 ms within a voiced sound, or in a recording within a word but off sibilants,
 * where the click band is neither silent nor more than 25 dB under its level over the word. */
static bool inside_word(const Layer *layer, size_t start, size_t end) {
    const Voice *voice = layer->voice;
    size_t margin = (size_t)(0.02 * voice->rate_hz);
    size_t from = start > margin ? start - margin : 0, to = end + margin;
    if (!voice->recorded)
        return covered(voice, SINGER_VOICED, from, to);
    if (!covered(voice, SINGER_WORD, from, to) || touched(voice, SINGER_S, from, to))
        return false;
    for (size_t i = 0; i < voice->n_labels; i++) {
        const SingerLabel *word = &voice->labels[i];
        if (word->kind == SINGER_WORD && word->start <= from && word->end >= to)
            return energy_db(&layer->band, from, to) >
                   energy_db(&layer->band, word->start, word->end) - 25.0;
    }
    return false;
}

static bool inside_gap(const Layer *layer, size_t start, size_t end) {
    size_t margin = (size_t)(0.03 * layer->voice->rate_hz);
    return covered(layer->voice, SINGER_GAP, start > margin ? start - margin : 0, end + margin);
}

static bool lay_at(Layer *layer, size_t at) {
    enum { LONGEST = 192 * 16 };
    float click[LONGEST], band[LONGEST];
    const Voice *voice = layer->voice;
    double rate_hz = voice->rate_hz;
    size_t length = lay_shape(click, LONGEST, rate_hz, &layer->random);
    double word_db = random_range(&layer->random, 10.0, 20.0);
    double gap_db = layer->loud ? random_range(&layer->random, 25.0, 45.0)
                                : random_range(&layer->random, 12.0, 35.0);
    if (at + length >= voice->n)
        return true;
    bool in_word = inside_word(layer, at, at + length);
    if (in_word ? layer->loud : !inside_gap(layer, at, at + length))
        return true;
    size_t reach = (size_t)(0.025 * rate_hz);
    double around_db = energy_db(&layer->band, at > reach ? at - reach : 0, at + reach);
    double db = in_word ? word_db : gap_db;
    signals_band_filter(click, band, length, rate_hz, 1000.0, material_click_top(rate_hz));
    double peak = signals_peak(band, length);
    if (!(peak > 0.0))
        return true;
    signals_scale(click, length, pow(10.0, (around_db + db) / 20.0) / peak);
    signals_add(layer->audio + at, click, length);
    return keep_click(layer, at, at + length, in_word, db);
}

static bool lay_singers_own(Layer *layer) {
    const Voice *voice = layer->voice;
    if (voice->recorded)
        return true;
    signals_add(layer->audio, voice->take.stem[SINGER_STEM_CLICKS], voice->n);
    for (size_t i = 0; i < voice->n_labels; i++) {
        const SingerLabel *l = &voice->labels[i];
        if (l->kind == SINGER_CLICK &&
            !keep_click(layer, l->start, l->end, !touched(voice, SINGER_GAP, l->start, l->end),
                        l->value))
            return false;
    }
    return true;
}

static bool free_around(const Layer *layer, size_t at, size_t reach) {
    for (size_t i = 0; i < layer->count; i++)
        if (layer->clicks[i].start < at + reach && layer->clicks[i].end + reach > at)
            return false;
    return true;
}

static int by_click(const void *a, const void *b) {
    const Click *x = a, *y = b;
    return (x->start > y->start) - (x->start < y->start);
}

static size_t lay_all(Layer *layer, Click **clicks) {
    const Voice *voice = layer->voice;
    bool ok = energy_of(voice->audio, voice->n, voice->rate_hz, 1000.0,
                        material_click_top(voice->rate_hz), &layer->band) &&
              (layer->loud || lay_singers_own(layer));
    size_t step = (size_t)(0.25 * voice->rate_hz), reach = (size_t)(0.1 * voice->rate_hz);
    for (size_t at = step / 2; ok && at + step < voice->n; at += step) {
        size_t place = at + (size_t)(random_unit(&layer->random) * 0.5 * (double)step);
        if (free_around(layer, place, reach))
            ok = lay_at(layer, place);
    }
    energy_free(&layer->band);
    *clicks = layer->clicks;
    if (layer->count)
        qsort(layer->clicks, layer->count, sizeof *layer->clicks, by_click);
    return ok ? layer->count : 0;
}

/* NOLINTNEXTLINE(readability-non-const-parameter): written through layer.audio */
size_t material_clicks(const Voice *voice, unsigned long long seed, float *audio, Click **clicks) {
    Layer layer = {.voice = voice, .audio = audio, .random = random_seeded(seed)};
    return lay_all(&layer, clicks);
}

/* NOLINTNEXTLINE(readability-non-const-parameter): written through layer.audio */
size_t material_loud_clicks(const Voice *voice, unsigned long long seed, float *audio,
                            Click **clicks) {
    Layer layer = {.voice = voice, .audio = audio, .loud = true, .random = random_seeded(seed)};
    return lay_all(&layer, clicks);
}
