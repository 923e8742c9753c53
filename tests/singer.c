/* SPDX-License-Identifier: ISC */
#include "singer_work.h"

#include <stdlib.h>
#include <string.h>

/* ---- frames, labels, levels ---- */

size_t singer_frame(const SingerTake *take, double s) {
    size_t at = (size_t)(s * take->rate_hz + 0.5);
    return at < take->n ? at : take->n;
}

bool singer_label(SingerTake *take, SingerKind kind, size_t start, size_t end, double value) {
    SingerLabel *grown = realloc(take->labels, (take->n_labels + 1) * sizeof *grown);
    if (!grown)
        return false;
    take->labels = grown;
    take->labels[take->n_labels++] = (SingerLabel){kind, start, end, value};
    return true;
}

double singer_rms(const float *audio, size_t start, size_t end) {
    return end > start ? signals_rms(audio + start, end - start) : 0.0;
}

/* RMS of the loudest 30 ms of a vowel: what the published levels of fricatives are given against
 * (there, three pitch periods where the vowel is largest). */
double singer_loudest_rms(const SingerTake *take, size_t start, size_t end) {
    const float *voice = take->stem[SINGER_STEM_VOICE];
    size_t length = (size_t)(0.03 * take->rate_hz);
    double loudest = singer_rms(voice, start, end);
    for (size_t at = start; at + length <= end; at += length / 3)
        loudest = fmax(loudest, signals_rms(voice + at, length));
    return loudest;
}

/* RMS of the voiced parts of a phrase. */
static double phrase_rms(const Plan *plan, const Phrase *phrase, const SingerTake *take) {
    double power = 0.0;
    size_t frames = 0;
    for (size_t i = phrase->first; i <= phrase->last; i++) {
        const Segment *segment = &plan->segment[i];
        if (segment->kind != SINGER_VOICED)
            continue;
        size_t start = singer_frame(take, segment->start_s),
               end = singer_frame(take, segment->end_s);
        double rms = singer_rms(take->stem[SINGER_STEM_VOICE], start, end);
        power += rms * rms * (double)(end - start);
        frames += end - start;
    }
    return frames ? sqrt(power / (double)frames) : 0.0;
}

/* Phrases lie apart by gaps in which the voice stem is silent, so a step of gain is harmless. */
static bool set_levels(const Plan *plan, SingerTake *take) {
    size_t from = 0;
    for (size_t p = 0; p < plan->phrases; p++) {
        const Phrase *phrase = &plan->phrase[p];
        double gain = pow(10.0, phrase->level_db / 20.0) / phrase_rms(plan, phrase, take);
        size_t to = take->n;
        if (p + 1 < plan->phrases)
            to = singer_frame(take, 0.5 * (phrase->end_s + plan->phrase[p + 1].start_s));
        signals_scale(take->stem[SINGER_STEM_VOICE] + from, to - from, gain);
        from = to;
        size_t start = singer_frame(take, phrase->start_s), end = singer_frame(take, phrase->end_s);
        if (!singer_label(take, SINGER_PHRASE, start, end, phrase->level_db))
            return false;
    }
    return true;
}

/* ---- the whole ---- */

static int by_start(const void *a, const void *b) {
    const SingerLabel *x = a, *y = b;
    if (x->start != y->start)
        return x->start < y->start ? -1 : 1;
    return (int)y->kind - (int)x->kind; /* phrases and words before their sounds */
}

static bool label_words_and_gaps(const Plan *plan, SingerTake *take) {
    bool ok = true;
    for (size_t i = 0; i < plan->words && ok; i++)
        ok = singer_label(take, SINGER_WORD, singer_frame(take, plan->word[i].start_s),
                          singer_frame(take, plan->word[i].end_s), 0.0);
    double from_s = 0.0;
    for (size_t p = 0; p <= plan->phrases && ok; p++) {
        double to_s = p < plan->phrases ? plan->phrase[p].start_s : plan->end_s;
        ok = singer_label(take, SINGER_GAP, singer_frame(take, from_s), singer_frame(take, to_s),
                          0.0);
        from_s = p < plan->phrases ? plan->phrase[p].end_s : to_s;
    }
    return ok;
}

static bool allocate(SingerTake *take, double rate_hz, double length_s) {
    take->rate_hz = rate_hz;
    take->n = (size_t)(length_s * rate_hz + 0.5);
    take->mix = calloc(take->n + 1, (2 + SINGER_STEMS) * sizeof *take->mix);
    if (!take->mix)
        return false;
    for (size_t k = 0; k < SINGER_STEMS; k++)
        take->stem[k] = take->mix + (k + 1) * take->n;
    take->f0_hz = take->mix + (SINGER_STEMS + 1) * take->n;
    return true;
}

static bool render(const Plan *plan, SingerTake *take) {
    if (!allocate(take, plan->params->rate_hz, plan->end_s))
        return false;
    size_t points = singer_grid(plan->end_s) + 1;
    Control *control = calloc(points, sizeof *control);
    bool ok = control && singer_draw(plan, control, points);
    ok = ok && singer_render_voice(plan->params, control, points, take);
    if (ok)
        singer_render_room(plan->params, take);
    free(control);
    ok = ok && set_levels(plan, take) && singer_render_consonants(plan, take) &&
         singer_render_breaths(plan, take) && singer_render_clicks(plan, take) &&
         singer_render_rumble(plan->params, take) && label_words_and_gaps(plan, take);
    if (!ok)
        return false;
    singer_render_hum(plan->params, take);
    singer_mix(take, ~0u, take->mix);
    qsort(take->labels, take->n_labels, sizeof *take->labels, by_start);
    return true;
}

bool singer_take(const SingerParams *params, SingerTake *take) {
    *take = (SingerTake){.n = 0};
    Plan *plan = calloc(1, sizeof *plan);
    SingerParams drawn = *params;
    bool ok = plan && singer_plan(plan, params) && (!params->again || singer_plan_again(plan));
    if (ok && params->again) {
        drawn.seed = params->again;
        plan->params = &drawn;
    }
    ok = ok && render(plan, take);
    free(plan);
    if (!ok)
        singer_free(take);
    return ok;
}

void singer_free(SingerTake *take) {
    free(take->mix);
    free(take->labels);
    *take = (SingerTake){.n = 0};
}

void singer_mix(const SingerTake *take, unsigned mask, float *out) {
    signals_silence(out, take->n);
    for (unsigned k = 0; k < SINGER_STEMS; k++)
        if (mask >> k & 1u)
            signals_add(out, take->stem[k], take->n);
}

SingerParams singer_params(SingerVoice voice, double rate_hz, uint64_t seed) {
    Random random = random_seeded(seed ^ UINT64_C(0x706572736f6e));
    bool woman = voice == SINGER_WOMAN;
    double low_hz =
        woman ? random_range(&random, 175.0, 240.0) : random_range(&random, 90.0, 135.0);
    return (SingerParams){
        .rate_hz = rate_hz,
        .seed = seed,
        .phrases = 6,
        .womanhood = (woman ? 1.0 : 0.0) + random_range(&random, -0.15, 0.15),
        .note_hz = {low_hz, low_hz * random_range(&random, 1.7, 2.4)},
        .open_quotient = random_range(&random, 0.5, 0.7),
        .tilt_hz = random_range(&random, 1500.0, 4000.0),
        .aspiration_db = random_range(&random, -38.0, -28.0),
        .jitter = random_range(&random, 0.002, 0.006),
        .shimmer_db = random_range(&random, 0.15, 0.35),
        .vibrato_hz = random_range(&random, 5.0, 6.2),
        .vibrato_cents = random_range(&random, 25.0, 80.0),
        .tempo = random_range(&random, 0.85, 1.3),
        .level_db = random_range(&random, -26.0, -16.0),
        .level_spread_db = 4.0,
        .sibilants_db = 0.0,
        .breath_share = 0.85,
        .breath_s = {0.15, 1.0},
        .breath_db = {-38.0, -17.0},
        .gap_clicks = 1.0,
        .word_clicks = 0.5,
        .gap_click_db = {15.0, 35.0},
        .word_click_db = {10.0, 20.0},
        .room_db = random_range(&random, -75.0, -62.0),
        .rumble_db = -200.0,
        .hum_db = -200.0,
    };
}
