/* SPDX-License-Identifier: ISC */
/* The transient tamer, at its defaults.
 *
 * Level of a stretch: RMS of the band 1..12 kHz in 1 ms frames every 0.25 ms; of these the largest
 * from 1 ms before a click to 1 ms after it. Excess: that level over the level of the same take
 * without clicks, dB; negative when a hole was dug. Caught: the excess falls by 6 dB or more, or to
 * 3 dB or less. A click whose excess is below 3 dB from the start does not stand out: it is laid in
 * all the same, but not counted. Taking away all of every click above 1.5 kHz, where the focus
 * begins at its default, and nothing else, would catch 99.8 % in gaps and 99.9 % in words: the
 * targets are within reach of the defaults. Doing nothing catches none.
 *
 * With -v also frame by frame: the most that any of those 1 ms frames is left over the same frame
 * of the clean take, and the most that any is below it. Stricter, since between the pulses of a
 * voice a frame may hold next to nothing; no target is set for it.
 *
 * Loud clicks: 25 to 45 dB high and in gaps alone, where nothing hides what is left. Gone: within
 * 6 dB of the level of the same stretch without the click, which is what the ear is left with.
 *
 * Clean voice: energy of input minus output in the band, over the input's in the band, for each
 * utterance of the take without clicks, dB (-200: untouched). Loss at a word's start: band level of
 * input over output in the word's first 50 ms, dB; given is what 95 % of the words stay under. */
#include "quality/quality.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const char bundle[] = "transient-tamer";

typedef struct {
    Samples gap_caught, gap_left, word_caught, word_left; /* caught: 0 or 100 */
    Samples frame_left, frame_hole;                       /* inside words */
    Samples loud_gone, loud_left;
    Samples removed, start_loss;
} Tally;

static double loudest_db(const Energy *band, double rate_hz, size_t start, size_t end) {
    size_t ms = (size_t)(0.001 * rate_hz), hop = ms / 4 ? ms / 4 : 1;
    double loudest = ENERGY_FLOOR_DB;
    for (size_t at = start > ms ? start - ms : 0; at + ms <= end + ms; at += hop)
        loudest = fmax(loudest, energy_db(band, at, at + ms));
    return loudest;
}

/* The largest and the smallest difference of level of any 1 ms frame around a click, dB. */
static void by_frame(const Energy *mended, const Energy *clean, double rate_hz, const Click *click,
                     double *most, double *least) {
    size_t ms = (size_t)(0.001 * rate_hz), hop = ms / 4 ? ms / 4 : 1;
    *most = -200.0;
    *least = 200.0;
    for (size_t at = click->start > ms ? click->start - ms : 0; at <= click->end; at += hop) {
        double difference = energy_db(mended, at, at + ms) - energy_db(clean, at, at + ms);
        *most = fmax(*most, difference);
        *least = fmin(*least, difference);
    }
}

/* The three takes in the click band. */
typedef struct {
    Energy clean, dirty, mended;
} Bands;

static void judge_click(const Quality *quality, const Voice *voice, const Bands *bands,
                        const Click *click, Tally *tally) {
    double rate_hz = voice->rate_hz;
    double clean_db = loudest_db(&bands->clean, rate_hz, click->start, click->end);
    double before = loudest_db(&bands->dirty, rate_hz, click->start, click->end) - clean_db;
    double after = loudest_db(&bands->mended, rate_hz, click->start, click->end) - clean_db;
    bool counts = before >= 3.0, caught = before - after >= 6.0 || after <= 3.0;
    quality_note(quality, 2, "    %8.3f s %5.1f ms %-4s height %5.1f excess %5.1f -> %5.1f %s",
                 (double)click->start / rate_hz,
                 1000.0 * (double)(click->end - click->start) / rate_hz,
                 click->in_word ? "word" : "gap", click->height_db, before, after,
                 !counts  ? "(not counted)"
                 : caught ? "caught"
                          : "MISSED");
    if (!counts)
        return;
    samples_add(click->in_word ? &tally->word_caught : &tally->gap_caught, caught ? 100.0 : 0.0);
    samples_add(click->in_word ? &tally->word_left : &tally->gap_left, after);
    if (click->in_word) {
        double most, least;
        by_frame(&bands->mended, &bands->clean, rate_hz, click, &most, &least);
        samples_add(&tally->frame_left, most);
        samples_add(&tally->frame_hole, least);
    }
}

static bool bands_of(const Voice *voice, const float *dirty, const float *mended, Bands *bands) {
    double top = material_click_top(voice->rate_hz);
    return energy_of(voice->audio, voice->n, voice->rate_hz, 1000.0, top, &bands->clean) &&
           energy_of(dirty, voice->n, voice->rate_hz, 1000.0, top, &bands->dirty) &&
           energy_of(mended, voice->n, voice->rate_hz, 1000.0, top, &bands->mended);
}

static void judge_loud_click(const Quality *quality, const Voice *voice, const Bands *bands,
                             const Click *click, Tally *tally) {
    double clean_db = loudest_db(&bands->clean, voice->rate_hz, click->start, click->end);
    double after = loudest_db(&bands->mended, voice->rate_hz, click->start, click->end) - clean_db;
    quality_note(quality, 2, "    %8.3f s %5.1f ms loud height %5.1f -> %5.1f",
                 (double)click->start / voice->rate_hz,
                 1000.0 * (double)(click->end - click->start) / voice->rate_hz, click->height_db,
                 after);
    samples_add(&tally->loud_gone, fabs(after) <= 6.0 ? 100.0 : 0.0);
    samples_add(&tally->loud_left, after);
}

typedef size_t LayClicks(const Voice *, unsigned long long, float *, Click **);
typedef void JudgeClick(const Quality *, const Voice *, const Bands *, const Click *, Tally *);

static void judge_clicks(Quality *quality, const Voice *voice, unsigned long long seed,
                         LayClicks *lay, JudgeClick *judge, float *scratch, Tally *tally) {
    float *dirty = scratch, *mended = scratch + voice->n;
    Click *clicks = NULL;
    Bands bands = {{NULL, 0}, {NULL, 0}, {NULL, 0}};
    memcpy(dirty, voice->audio, voice->n * sizeof *dirty);
    size_t count = lay(voice, seed, dirty, &clicks);
    QualityRun run = {
        .plugin = bundle, .rate_hz = voice->rate_hz, .in = dirty, .out = mended, .n = voice->n};
    if (quality_render(quality, &run) && bands_of(voice, dirty, mended, &bands))
        for (size_t i = 0; i < count; i++)
            judge(quality, voice, &bands, &clicks[i], tally);
    energy_free(&bands.clean);
    energy_free(&bands.dirty);
    energy_free(&bands.mended);
    free(clicks);
}

static void judge_utterance(const Quality *quality, const Voice *voice, const Energy *in,
                            const Energy *removed, const Energy *out, const SingerLabel *label,
                            Tally *tally) {
    if (label->kind == SINGER_PHRASE) {
        double own = energy_between(in, label->start, label->end);
        double gone = energy_between(removed, label->start, label->end);
        double db = gone > 1e-20 * own ? 10.0 * log10(gone / own) : -200.0;
        samples_add(&tally->removed, db);
        if (db > -30.0)
            quality_note(quality, 2, "    %8.3f..%.3f s clean, removed %6.1f dB",
                         (double)label->start / voice->rate_hz, (double)label->end / voice->rate_hz,
                         db);
    }
    if (label->kind == SINGER_WORD) {
        size_t end = label->start + (size_t)(0.05 * voice->rate_hz);
        double loss = energy_db(in, label->start, end) - energy_db(out, label->start, end);
        samples_add(&tally->start_loss, loss);
        if (loss > 0.3)
            quality_note(quality, 2, "    %8.3f s clean, word's start loses %.2f dB",
                         (double)label->start / voice->rate_hz, loss);
    }
}

static void judge_clean(Quality *quality, const Voice *voice, float *scratch, Tally *tally) {
    float *out = scratch, *removed = scratch + voice->n;
    QualityRun run = {
        .plugin = bundle, .rate_hz = voice->rate_hz, .in = voice->audio, .out = out, .n = voice->n};
    if (!quality_render(quality, &run))
        return;
    for (size_t i = 0; i < voice->n; i++)
        removed[i] = voice->audio[i] - out[i];
    double top = material_click_top(voice->rate_hz);
    Energy in_band = {NULL, 0}, out_band = {NULL, 0}, removed_band = {NULL, 0};
    if (energy_of(voice->audio, voice->n, voice->rate_hz, 1000.0, top, &in_band) &&
        energy_of(out, voice->n, voice->rate_hz, 1000.0, top, &out_band) &&
        energy_of(removed, voice->n, voice->rate_hz, 1000.0, top, &removed_band))
        for (size_t i = 0; i < voice->n_labels; i++)
            judge_utterance(quality, voice, &in_band, &removed_band, &out_band, &voice->labels[i],
                            tally);
    energy_free(&in_band);
    energy_free(&out_band);
    energy_free(&removed_band);
}

static void judge_voice(Quality *quality, const Voice *voice, unsigned long long seed, Tally *all) {
    float *scratch = malloc(2 * (voice->n + 1) * sizeof *scratch);
    if (!scratch) {
        quality->broken = true;
        return;
    }
    Tally one = {.gap_caught = {NULL, 0, 0}};
    judge_clicks(quality, voice, seed, material_clicks, judge_click, scratch, &one);
    judge_clicks(quality, voice, seed, material_loud_clicks, judge_loud_click, scratch, &one);
    judge_clean(quality, voice, scratch, &one);
    free(scratch);
    quality_note(
        quality, 1,
        "  %-22s gaps %3zu: %5.1f %% %5.1f dB | words %3zu: %5.1f %% %5.1f (%5.1f) dB, by "
        "frame %5.1f (%5.1f) | loud %5.1f %% %5.1f dB | clean %6.1f %6.1f dB, starts %5.2f dB",
        voice->name, one.gap_caught.n, samples_mean(&one.gap_caught),
        samples_quantile(&one.gap_left, 0.5), one.word_caught.n, samples_mean(&one.word_caught),
        samples_quantile(&one.word_left, 0.5), samples_quantile(&one.word_left, 0.1),
        samples_quantile(&one.frame_left, 0.5), samples_quantile(&one.frame_hole, 0.1),
        samples_mean(&one.loud_gone), samples_quantile(&one.loud_left, 0.5),
        samples_quantile(&one.removed, 0.5), samples_quantile(&one.removed, 0.9),
        samples_quantile(&one.start_loss, 0.95));
    samples_pour(&one.gap_caught, &all->gap_caught);
    samples_pour(&one.gap_left, &all->gap_left);
    samples_pour(&one.word_caught, &all->word_caught);
    samples_pour(&one.word_left, &all->word_left);
    samples_pour(&one.frame_left, &all->frame_left);
    samples_pour(&one.frame_hole, &all->frame_hole);
    samples_pour(&one.loud_gone, &all->loud_gone);
    samples_pour(&one.loud_left, &all->loud_left);
    samples_pour(&one.removed, &all->removed);
    samples_pour(&one.start_loss, &all->start_loss);
}

static Figure quantiles(Samples *sung, Samples *recorded, double p) {
    return (Figure){samples_quantile(sung, p), samples_quantile(recorded, p)};
}

static Figure means(const Samples *sung, const Samples *recorded) {
    return (Figure){samples_mean(sung), samples_mean(recorded)};
}

static void rows(Quality *quality) {
    Tally tally[2] = {{.gap_caught = {NULL, 0, 0}}, {.gap_caught = {NULL, 0, 0}}};
    Tally *s = &tally[0], *r = &tally[1];
    for (size_t i = 0; i < quality->material->count; i++) {
        const Voice *voice = &quality->material->voices[i];
        judge_voice(quality, voice, 1000ull * (unsigned)quality->set + i + 1,
                    &tally[voice->recorded]);
    }
    quality_row(quality, "clicks in gaps: caught", "%", means(&s->gap_caught, &r->gap_caught),
                QUALITY_AT_LEAST, 99.0);
    quality_row(quality, "clicks in gaps: excess left, median", "dB",
                quantiles(&s->gap_left, &r->gap_left, 0.5), QUALITY_AT_MOST, 3.0);
    quality_row(quality, "clicks inside words: caught", "%",
                means(&s->word_caught, &r->word_caught), QUALITY_AT_LEAST, 85.0);
    quality_row(quality, "clicks inside words: excess left, median", "dB",
                quantiles(&s->word_left, &r->word_left, 0.5), QUALITY_AT_MOST, 4.0);
    quality_row(quality, "clicks inside words: hole dug, 10th percentile", "dB",
                quantiles(&s->word_left, &r->word_left, 0.1), QUALITY_AT_LEAST, -6.0);
    quality_row(quality, "loud clicks in gaps, 25..45 dB: gone", "%",
                means(&s->loud_gone, &r->loud_gone), QUALITY_AT_LEAST, 95.0);
    quality_row(quality, "loud clicks in gaps: excess left, 90th percentile", "dB",
                quantiles(&s->loud_left, &r->loud_left, 0.9), QUALITY_AT_MOST, 6.0);
    quality_row(quality, "clean voice: removed under the band's own, median", "dB",
                quantiles(&s->removed, &r->removed, 0.5), QUALITY_AT_MOST, -45.0);
    quality_row(quality, "clean voice: removed, 90th percentile", "dB",
                quantiles(&s->removed, &r->removed, 0.9), QUALITY_AT_MOST, -28.0);
    quality_row(quality, "clean voice: loss in a word's first 50 ms, 5 % worst", "dB",
                quantiles(&s->start_loss, &r->start_loss, 0.95), QUALITY_AT_MOST, 0.3);
    for (size_t k = 0; k < 2; k++) {
        samples_free(&tally[k].gap_caught);
        samples_free(&tally[k].gap_left);
        samples_free(&tally[k].word_caught);
        samples_free(&tally[k].word_left);
        samples_free(&tally[k].frame_left);
        samples_free(&tally[k].frame_hole);
        samples_free(&tally[k].loud_gone);
        samples_free(&tally[k].loud_left);
        samples_free(&tally[k].removed);
        samples_free(&tally[k].start_loss);
    }
}

extern const QualityPart quality_tamer;
const QualityPart quality_tamer = {
    .name = "tamer", .bundle = "transient-tamer", .run = rows, .voices = true};
