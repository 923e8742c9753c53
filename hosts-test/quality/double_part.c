/* SPDX-License-Identifier: ISC */
/* Doubles: voice-double at its defaults, a mono take in the stereo one.
 *
 * Off: the pitch of a side against the lead's as much earlier as that side is late, both read by
 * pitch.h every 5 ms, where both are periodic and the lead keeps within 30 cents over 20 ms either
 * way; the median of one side of one voice, cents, the smallest and the largest of all. Correlation
 * of the sides, and of either with the lead, over the whole take, the farthest from 0. Mono: the
 * lead and both sides, each 6 dB lower, added up, against their powers added up, in octaves from
 * 125 Hz to 8 kHz that hold within 40 dB of the loudest; the most that is lost, dB. Sibilants: what
 * lies over 4 kHz of the labels, as late as the side is, against the lead's, dB. */
#include "quality/quality.h"

#include "quality/heard_notes.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { MOST_STEADY = 4, OCTAVES = 7 };

/* Milliseconds that each side is late at the default delay, in the mean. */
static const double LATE_MS[2] = {0.8 * 24.0, 1.2 * 24.0};

static bool render(Quality *quality, const Voice *voice, float *const out[2]) {
    enum { BLOCK = 512 };
    HostError error;
    const float *const in[2] = {voice->audio, voice->audio};
    const HostPlugin *plugin = host_find(quality->host, "voice-double", 2, &error);
    HostInstance *instance =
        plugin ? host_instantiate(quality->host, plugin, voice->rate_hz, BLOCK, &error) : NULL;
    HostRender render = {.in = in, .out = out, .frames = voice->n, .block = BLOCK};
    bool ok = instance && host_render_aligned(instance, &render, &error);
    if (!ok)
        fprintf(stderr, "siskin-quality: voice-double: %s\n", error.text);
    host_free(instance);
    return ok;
}

/* ---- pitch ---- */

/* Of so many readings either way. */
static bool steady(const HeardNotes *notes, size_t k) {
    if (k < MOST_STEADY || k + MOST_STEADY >= notes->n)
        return false;
    for (size_t i = k - MOST_STEADY; i <= k + MOST_STEADY; i++)
        if (notes->note[i] <= 0.0 || fabs(notes->note[i] - notes->note[k]) > 0.3)
            return false;
    return true;
}

/* NaN: nothing steady. */
static double median_off(const HeardNotes *lead, const HeardNotes *side, double late_ms) {
    Samples off = {NULL, 0, 0};
    double hops = late_ms / PITCH_HOP_MS;
    size_t whole = (size_t)hops;
    for (size_t k = 0; k + whole + 1 < side->n && k < lead->n; k++) {
        double a = side->note[k + whole], b = side->note[k + whole + 1];
        if (steady(lead, k) && a > 0.0 && b > 0.0 && fabs(a - b) < 0.5)
            samples_add(&off, 100.0 * fabs(a + (hops - (double)whole) * (b - a) - lead->note[k]));
    }
    double median = off.n > 20 ? samples_quantile(&off, 0.5) : (double)NAN;
    samples_free(&off);
    return median;
}

/* ---- likeness, mono, sibilants ---- */

static double correlation(const float *a, const float *b, size_t n) {
    double xy = 0.0, xx = 1e-20, yy = 1e-20;
    for (size_t t = 0; t < n; t++) {
        xy += (double)a[t] * (double)b[t];
        xx += (double)a[t] * (double)a[t];
        yy += (double)b[t] * (double)b[t];
    }
    return xy / sqrt(xx * yy);
}

static double power_of(double db) {
    return pow(10.0, 0.1 * db);
}

static double most_lost(const Voice *voice, const float *const out[2], float *mono) {
    double all[OCTAVES], sum[OCTAVES], loudest = 0.0, most = -99.0;
    for (size_t t = 0; t < voice->n; t++)
        mono[t] = voice->audio[t] + 0.5f * (out[0][t] + out[1][t]);
    for (int k = 0; k < OCTAVES; k++) {
        double low = 125.0 * exp2(k - 0.5), high = 2.0 * low;
        all[k] = power_of(signals_band_db(voice->audio, voice->n, voice->rate_hz, low, high));
        for (int c = 0; c < 2; c++)
            all[k] += 0.25 * power_of(signals_band_db(out[c], voice->n, voice->rate_hz, low, high));
        sum[k] = power_of(signals_band_db(mono, voice->n, voice->rate_hz, low, high));
        loudest = fmax(loudest, all[k]);
    }
    for (int k = 0; k < OCTAVES; k++)
        if (all[k] > 1e-4 * loudest)
            most = fmax(most, 10.0 * log10(all[k] / sum[k]));
    return most;
}

/* dB; NaN where there are no sibilants. */
static double sibilants_over(const Voice *voice, const float *side, double late_ms) {
    Energy before, after;
    size_t late = (size_t)(late_ms * 1e-3 * voice->rate_hz);
    double was = 0.0, is = 0.0;
    if (!energy_of(voice->audio, voice->n, voice->rate_hz, 4000.0, 1e9, &before))
        return (double)NAN;
    if (energy_of(side, voice->n, voice->rate_hz, 4000.0, 1e9, &after)) {
        for (size_t i = 0; i < voice->n_labels; i++) {
            const SingerLabel *label = &voice->labels[i];
            if ((label->kind != SINGER_S && label->kind != SINGER_SH) ||
                label->end + late > voice->n)
                continue;
            was += energy_between(&before, label->start, label->end);
            is += energy_between(&after, label->start + late, label->end + late);
        }
        energy_free(&after);
    }
    energy_free(&before);
    return was > 0.0 ? 10.0 * log10(is / was) : (double)NAN;
}

/* ---- all voices ---- */

typedef struct {
    Samples off, sides, lead, lost, hiss;
} Figures;

static void figures_free(Figures *f) {
    samples_free(&f->off);
    samples_free(&f->sides);
    samples_free(&f->lead);
    samples_free(&f->lost);
    samples_free(&f->hiss);
}

static void judge_side(const Voice *voice, const HeardNotes *lead, const float *side,
                       double late_ms, Figures *f) {
    HeardNotes notes;
    if (heard_notes_read(side, voice->n, voice->rate_hz, &notes)) {
        double off = median_off(lead, &notes, late_ms);
        if (!isnan(off))
            samples_add(&f->off, off);
    }
    heard_notes_free(&notes);
    samples_add(&f->lead, fabs(correlation(voice->audio, side, voice->n)));
    double hiss = sibilants_over(voice, side, late_ms);
    if (!isnan(hiss))
        samples_add(&f->hiss, hiss);
}

static bool judge(Quality *quality, const Voice *voice, Figures *f) {
    float *memory = calloc(3 * voice->n + 1, sizeof *memory);
    HeardNotes lead = {0, NULL, NULL};
    if (!memory)
        return false;
    float *const out[2] = {memory, memory + voice->n};
    bool done = render(quality, voice, out) &&
                heard_notes_read(voice->audio, voice->n, voice->rate_hz, &lead);
    for (int c = 0; c < 2 && done; c++)
        judge_side(voice, &lead, out[c], LATE_MS[c], f);
    if (done) {
        samples_add(&f->sides, fabs(correlation(out[0], out[1], voice->n)));
        samples_add(&f->lost, most_lost(voice, (const float *const *)out, memory + 2 * voice->n));
        quality_note(quality, 1, "  %-22s sides %.2f, mono loses %.1f dB", voice->name,
                     f->sides.value[f->sides.n - 1], f->lost.value[f->lost.n - 1]);
    }
    heard_notes_free(&lead);
    free(memory);
    return done;
}

static Figure both(Figures f[2], size_t at, double quantile) {
    Samples *sung = (Samples *)((char *)&f[0] + at), *recorded = (Samples *)((char *)&f[1] + at);
    return (Figure){samples_quantile(sung, quantile), samples_quantile(recorded, quantile)};
}

static void rows(Quality *quality) {
    Figures f[2];
    memset(f, 0, sizeof f);
    for (size_t i = 0; i < quality->material->count; i++) {
        const Voice *voice = &quality->material->voices[i];
        if (!judge(quality, voice, &f[voice->recorded]))
            quality->broken = true;
    }
    quality_row(quality, "doubles: side off the lead, least", "cents",
                both(f, offsetof(Figures, off), 0.0), QUALITY_AT_LEAST, 3.0);
    quality_row(quality, "doubles: side off the lead, most", "cents",
                both(f, offsetof(Figures, off), 1.0), QUALITY_AT_MOST, 25.0);
    quality_row(quality, "doubles: correlation of the sides", "",
                both(f, offsetof(Figures, sides), 1.0), QUALITY_AT_MOST, 0.5);
    quality_row(quality, "doubles: correlation with the lead", "",
                both(f, offsetof(Figures, lead), 1.0), QUALITY_AT_MOST, 0.6);
    quality_row(quality, "doubles: mono sum, most an octave loses", "dB",
                both(f, offsetof(Figures, lost), 1.0), QUALITY_AT_MOST, 3.0);
    quality_row(quality, "doubles: /s/ over the lead's, most", "dB",
                both(f, offsetof(Figures, hiss), 1.0), QUALITY_AT_MOST, -5.0);
    figures_free(&f[0]);
    figures_free(&f[1]);
}

extern const QualityPart quality_double;
const QualityPart quality_double = {
    .name = "double", .bundle = "voice-double", .run = rows, .voices = true};
