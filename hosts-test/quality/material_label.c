/* SPDX-License-Identifier: ISC */
/* Energy of bands, and the labels of recorded voices. */
#include "quality/material.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* ---- Energy ---- */

double material_click_top(double rate_hz) {
    return fmin(12000.0, 0.45 * rate_hz);
}

bool energy_of(const float *audio, size_t n, double rate_hz, double low_hz, double high_hz,
               Energy *energy) {
    SignalsBand band = signals_band(rate_hz, low_hz, high_hz);
    energy->n = n;
    energy->sum = malloc((n + 1) * sizeof *energy->sum);
    if (!energy->sum)
        return false;
    energy->sum[0] = 0.0;
    for (size_t i = 0; i < n; i++) {
        double y = signals_band_step(&band, (double)audio[i]);
        energy->sum[i + 1] = energy->sum[i] + y * y;
    }
    return true;
}

void energy_free(Energy *energy) {
    free(energy->sum);
    *energy = (Energy){NULL, 0};
}

double energy_between(const Energy *energy, size_t start, size_t end) {
    end = end < energy->n ? end : energy->n;
    return start < end ? energy->sum[end] - energy->sum[start] : 0.0;
}

double energy_db(const Energy *energy, size_t start, size_t end) {
    end = end < energy->n ? end : energy->n;
    double power = start < end ? energy_between(energy, start, end) / (double)(end - start) : 0.0;
    return fmax(power > 0.0 ? 10.0 * log10(power) : ENERGY_FLOOR_DB, ENERGY_FLOOR_DB);
}

/* ---- Labels of recorded voices ---- */

bool voice_label(Voice *voice, SingerKind kind, size_t start, size_t end) {
    SingerLabel *grown = realloc(voice->labels, (voice->n_labels + 1) * sizeof *grown);
    if (!grown)
        return false;
    voice->labels = grown;
    grown[voice->n_labels++] = (SingerLabel){kind, start, end, 0.0};
    return true;
}

typedef struct {
    size_t hop, frames;    /* 5 ms */
    double *level;         /* dB of each frame's 10 ms, from 150 Hz up */
    double *high, *low;    /* dB of its 20 ms above 3 kHz and below 1.5 kHz */
    double *wide, *middle; /* the same of 720..6500 and 720..2150 Hz */
    double speech_db, floor_db;
} Levels;

static void levels_free(Levels *levels) {
    free(levels->level);
}

static double quantile_of_copy(const double *values, size_t n, double p) {
    double *copy = malloc((n + 1) * sizeof *copy);
    if (!copy)
        return ENERGY_FLOOR_DB;
    memcpy(copy, values, n * sizeof *copy);
    double q = signals_quantile(copy, n, p);
    free(copy);
    return q;
}

/* The 75th percentile of the frames above a threshold: silence, of which some recordings have a
 * lot, does not count. */
static double active_level_db(const Levels *levels, double threshold) {
    double *copy = malloc((levels->frames + 1) * sizeof *copy);
    size_t n = 0;
    if (!copy)
        return ENERGY_FLOOR_DB;
    for (size_t i = 0; i < levels->frames; i++)
        if (levels->level[i] > threshold)
            copy[n++] = levels->level[i];
    double level_db = signals_quantile(copy, n, 0.75);
    free(copy);
    return level_db;
}

/* dB of a band in the `span` hops around each frame's middle. */
static bool measure_band(const Voice *voice, const Levels *levels, double low_hz, double high_hz,
                         size_t span, double *level) {
    Energy band = {NULL, 0};
    size_t hop = levels->hop, back = (span - 1) * hop / 2;
    if (!energy_of(voice->audio, voice->n, voice->rate_hz, low_hz, high_hz, &band))
        return false;
    for (size_t i = 0; i < levels->frames; i++) {
        size_t at = i * hop;
        level[i] = energy_db(&band, at > back ? at - back : 0, at + span * hop - back);
    }
    energy_free(&band);
    return true;
}

static bool measure_levels(const Voice *voice, Levels *levels) {
    levels->hop = (size_t)(0.005 * voice->rate_hz);
    size_t n = levels->frames = voice->n / levels->hop;
    levels->level = calloc(5 * n + 1, sizeof *levels->level);
    if (!levels->level)
        return false;
    levels->high = levels->level + n;
    levels->low = levels->high + n;
    levels->wide = levels->low + n;
    levels->middle = levels->wide + n;
    bool ok = measure_band(voice, levels, 150, 1e9, 2, levels->level) &&
              measure_band(voice, levels, 3000, 1e9, 4, levels->high) &&
              measure_band(voice, levels, 60, 1500, 4, levels->low) &&
              measure_band(voice, levels, 720, 6500, 4, levels->wide) &&
              measure_band(voice, levels, 720, 2150, 4, levels->middle);
    if (ok) {
        double loudest_db = quantile_of_copy(levels->level, n, 1.0);
        levels->speech_db = active_level_db(levels, loudest_db - 40.0);
        levels->floor_db = quantile_of_copy(levels->level, n, 0.1);
    }
    return ok;
}

/* First frame from i on where `level` is above (or not above) the threshold for `least` frames. */
static size_t next_run(const double *level, size_t n, size_t i, double threshold, bool above,
                       size_t least) {
    size_t run = 0;
    for (; i < n; i++) {
        run = (level[i] > threshold) == above ? run + 1 : 0;
        if (run == least)
            return i + 1 - least;
    }
    return n;
}

/* Where the sound begins that is the first to come within 25 dB of the speech level: what is parted
 * from it by 30 ms below the threshold (a thump, a lip) is left out. */
static size_t without_lead(const Levels *levels, size_t start, double threshold) {
    size_t loud = next_run(levels->level, levels->frames, start, levels->speech_db - 25.0, true, 1);
    size_t first = loud;
    for (size_t i = loud; i > start && first - i < 6; i--)
        if (levels->level[i - 1] > threshold)
            first = i - 1;
    return first;
}

/* An utterance is what rises over the threshold and is not broken by 120 ms below it, and comes
 * within 18 dB of the speech level at least once. Each is a phrase of one word. The threshold:
 * 38 dB under the speech level (the 75th percentile of what is within 40 dB of the loudest), but 8
 * dB over the floor (the 10th percentile of all). A breath labelled by hand is no part of it. */
static bool label_utterances(Voice *voice, const Levels *levels) {
    double threshold = fmax(levels->speech_db - 38.0, levels->floor_db + 8.0);
    size_t hop = levels->hop, n = levels->frames, gap = 0;
    for (size_t i = 0; i < n;) {
        size_t start = next_run(levels->level, n, i, threshold, true, 3);
        size_t end = next_run(levels->level, n, start, threshold, false, 24);
        double loudest = ENERGY_FLOOR_DB;
        for (size_t k = start; k < end; k++)
            loudest = fmax(loudest, levels->level[k]);
        i = end;
        if (start == end || loudest < levels->speech_db - 18.0)
            continue;
        start = without_lead(levels, start, threshold);
        if (start > gap && !voice_label(voice, SINGER_GAP, gap * hop, start * hop))
            return false;
        if (!voice_label(voice, SINGER_PHRASE, start * hop, end * hop) ||
            !voice_label(voice, SINGER_WORD, start * hop, end * hop))
            return false;
        gap = end;
    }
    return gap == n || voice_label(voice, SINGER_GAP, gap * hop, n * hop);
}

/* Whether the mouth was shut just before a frame: anything in the 25 ms before it over 25 dB under
 * the speech level. */
static bool after_closure(const Levels *levels, size_t frame) {
    for (size_t i = frame > 5 ? frame - 5 : 0; i < frame; i++)
        if (levels->level[i] < levels->speech_db - 25.0)
            return true;
    return frame == 0;
}

/* Hiss of frames start..end, see label_sibilants(): what it is, or SINGER_KINDS if no sibilant. */
static SingerKind kind_of_hiss(const Levels *levels, size_t start, size_t end) {
    size_t middle = end - (end - start + 1) / 2, n = end - start;
    if (levels->wide[middle] - levels->middle[middle] <= 10.0)
        return SINGER_KINDS;
    if (n >= 8)
        return SINGER_S;
    return n >= 6 && !after_closure(levels, start) ? SINGER_Z : SINGER_KINDS;
}

/* At least 40 ms in which the energy above 3 kHz exceeds that below 1.5 kHz (the rule of an
 * unreviewed measurement on read speech, check value C.1), within 35 dB of the speech level. /f/
 * and other hisses fulfil that too; of Hughes & Halle 1956 (C.2) rule 2, E(0.72-6.5k) -
 * E(0.72-2.15k) > 10 dB over the middle of it, tells the sibilants.
 *
 * 30 ms are enough to hear /sh/ and /z/ (Jongman, JASA 85, 1989), and as short is many an /s/
 * before a plosive. The burst of a plosive lasts as long, but comes out of a closure, a sibilant of
 * that length out of a vowel. Such a short one goes down as /z/: not raised, not judged as an
 * /s/. */
static bool label_sibilants(Voice *voice, const Levels *levels) {
    size_t run = 0;
    for (size_t i = 0; i <= levels->frames; i++) {
        bool hiss = i < levels->frames && levels->high[i] > levels->low[i] &&
                    levels->high[i] > levels->speech_db - 35.0;
        SingerKind kind = !hiss && run > 0 ? kind_of_hiss(levels, i - run, i) : SINGER_KINDS;
        if (kind != SINGER_KINDS &&
            !voice_label(voice, kind, (i - run) * levels->hop, i * levels->hop))
            return false;
        run = hiss ? run + 1 : 0;
    }
    return true;
}

/* A word that was joined with the breath before it begins where it comes within 15 dB of the speech
 * level. */
static void keep_breaths_apart(Voice *voice, const Levels *levels) {
    for (size_t b = 0; b < voice->n_labels; b++)
        for (size_t i = 0; voice->labels[b].kind == SINGER_BREATH && i < voice->n_labels; i++) {
            SingerLabel *l = &voice->labels[i];
            size_t end = voice->labels[b].end;
            bool sung = l->kind == SINGER_PHRASE || l->kind == SINGER_WORD || l->kind == SINGER_S ||
                        l->kind == SINGER_Z;
            if (!sung || l->start >= end || l->end <= end)
                continue;
            size_t f = next_run(levels->level, levels->frames, end / levels->hop,
                                levels->speech_db - 15.0, true, 2);
            l->start = f * levels->hop < l->end ? f * levels->hop : end;
        }
}

static int by_start(const void *a, const void *b) {
    const SingerLabel *x = a, *y = b;
    if (x->start != y->start)
        return x->start < y->start ? -1 : 1;
    return (int)y->kind - (int)x->kind;
}

bool material_label(Voice *voice) {
    Levels levels = {0};
    bool ok = measure_levels(voice, &levels) && label_utterances(voice, &levels) &&
              label_sibilants(voice, &levels);
    keep_breaths_apart(voice, &levels);
    levels_free(&levels);
    if (ok)
        qsort(voice->labels, voice->n_labels, sizeof *voice->labels, by_start);
    return ok;
}
