/* SPDX-License-Identifier: ISC */
/* The gap trimmer, at its defaults but for what is named.
 *
 * The take: sung phrases, with their breaths, turned down by 0..18 dB at random, and every other
 * one given a raised-cosine attack of 5..150 ms, so that words begin at any level and as slowly as
 * they like (the voice, not the room); recorded ones as they are. Gain: output over input in frames
 * of 2.5 ms.
 *
 * Word's start lost: energy of the word's first 50 ms before over after, dB, of words whose first
 * 50 ms stand at least 3 dB over the room (10th percentile of the 20 ms levels outside breaths) and
 * less than 45 dB, the threshold, under the take's level; given is the largest of all. Word's end:
 * the same of its last 100 ms.
 * Breaths, those that stand over the room, after the first word: share of each breath's energy that
 * is left; a breath is whole when that is at least 90 %, gone when it is at most 10 %. With and
 * without keep_breaths. Gaps: median gain of the part from 0.3 s after a phrase to 0.08 s before
 * whatever sounds next; and how many open again within that part, where nothing sounds but clicks.
 *
 * With the least look-ahead, 21.3 ms late at 48 kHz, for hearing oneself: the same, of all words;
 * and how many lose over 1 dB, and over 6 dB. (Most words lie in a phrase and have nothing to
 * lose.)
 *
 * Behind breath-ducker, whose `depth` is 24 dB: the room is turned down with each breath. A gap is
 * closed when the median gain of that part is -20 dB or less. */
#include "quality/quality.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const char bundle[] = "gap-trimmer";
static const double THRESHOLD_DB = 45.0;
static const double pi = 3.14159265358979323846;
static const QualitySetting trimmed[] = {{"keep_breaths", 0.0f}};
static const QualitySetting live[] = {{"lookahead", 25.0f}};
static const QualitySetting ducked[] = {{"depth", 24.0f}};

typedef struct {
    Samples db, opens, closed; /* the latter 0 or 100 */
} GapTally;

typedef struct {
    Samples start_lost, end_lost; /* dB, with breaths kept */
    Samples start_lost_trimmed;   /* and trimmed */
    Samples whole, gone, halved,
        halved_too; /* 0 or 100, kept; trimmed; neither, kept and trimmed */
    GapTally gaps;
    Samples start_lost_live, end_lost_live;
    GapTally gaps_live;
    Samples start_lost_ducked; /* behind breath-ducker */
    GapTally gaps_ducked;
} Tally;

typedef struct {
    const Voice *voice;
    const float *in, *out_audio;
    Energy energy, breath, rest, out;
    double room_db, level_db;
} Judged;

/* ---- the take ---- */

/* The gain of a phrase `i` frames after its start, the attack being a raised cosine. */
static double gain_at(double gain, size_t attack, size_t i) {
    return i < attack ? gain * (0.5 - 0.5 * cos(pi * ((double)i + 0.5) / (double)attack)) : gain;
}

/* What the singer makes with the voice in a phrase, turned down and softened; not the room. */
static void turn_voice(const Voice *sung, const SingerLabel *phrase, double gain, size_t attack,
                       float *audio) {
    const SingerStem stems[] = {SINGER_STEM_VOICE, SINGER_STEM_SIBILANTS, SINGER_STEM_CONSONANTS};
    for (int k = 0; k < 3; k++)
        for (size_t i = phrase->start; i < phrase->end; i++)
            audio[i] += (float)((gain_at(gain, attack, i - phrase->start) - 1.0) *
                                (double)sung->take.stem[stems[k]][i]);
}

/* Breath in start..end. */
static void turn_breath(Voice *voice, size_t start, size_t end, double gain) {
    for (size_t i = start; i < end; i++) {
        voice->audio[i] += (float)((gain - 1.0) * (double)voice->breaths[i]);
        voice->breaths[i] = (float)(gain * (double)voice->breaths[i]);
    }
}

/* `voice` was made from `sung`. */
static void vary(const Voice *sung, Voice *voice, unsigned long long seed) {
    Random random = random_seeded(seed);
    size_t count = 0, from = 0;
    for (size_t i = 0; i < voice->n_labels; i++) {
        const SingerLabel *l = &voice->labels[i];
        if (l->kind != SINGER_PHRASE)
            continue;
        double gain = pow(10.0, random_range(&random, -18.0, 0.0) / 20.0);
        double attack_s = random_range(&random, 0.005, 0.15);
        size_t attack = count++ % 2 ? (size_t)(attack_s * voice->rate_hz) : 0;
        turn_voice(sung, l, gain, attack, voice->audio);
        turn_breath(voice, from, l->start, gain);
        from = l->end;
    }
}

/* ---- measures ---- */

static double level_quantile(const Judged *j, const Energy *energy, double p) {
    Samples levels = {NULL, 0, 0};
    size_t hop = (size_t)(0.02 * j->voice->rate_hz);
    for (size_t at = 0; at + hop <= j->voice->n; at += hop)
        if (energy_between(&j->breath, at, at + hop) == 0.0)
            samples_add(&levels, energy_db(energy, at, at + hop));
    double db = samples_quantile(&levels, p);
    samples_free(&levels);
    return db;
}

static double lost_db(const Judged *j, size_t start, size_t end) {
    return energy_db(&j->energy, start, end) - energy_db(&j->out, start, end);
}

static bool audible(const Judged *j, size_t start, size_t end) {
    double db = energy_db(&j->energy, start, end);
    return db > j->room_db + 3.0 && db > j->level_db - THRESHOLD_DB;
}

static void judge_word(const Quality *quality, const Judged *j, const SingerLabel *word,
                       Samples *start_lost, Samples *end_lost) {
    double rate_hz = j->voice->rate_hz;
    size_t after = word->start + (size_t)(0.05 * rate_hz);
    size_t before = word->end - (size_t)(0.1 * rate_hz);
    if (after < word->end && audible(j, word->start, after)) {
        double lost = lost_db(j, word->start, after);
        samples_add(start_lost, lost);
        if (lost > 0.1)
            quality_note(quality, 2,
                         "    %8.3f s word's start loses %6.2f dB (%5.1f dBFS, room %.1f)",
                         (double)word->start / rate_hz, lost,
                         energy_db(&j->energy, word->start, after), j->room_db);
    }
    if (end_lost && before > word->start && audible(j, before, word->end)) {
        double lost = lost_db(j, before, word->end);
        samples_add(end_lost, lost);
        if (lost > 0.1)
            quality_note(quality, 2, "    %8.3f s word's end loses %6.2f dB (%5.1f dBFS)",
                         (double)word->end / rate_hz, lost,
                         energy_db(&j->energy, before, word->end));
    }
}

/* The first frame of the first word: what a breath is depends on the singer's own level. */
static size_t first_word(const Voice *voice) {
    for (size_t i = 0; i < voice->n_labels; i++)
        if (voice->labels[i].kind == SINGER_WORD)
            return voice->labels[i].start;
    return voice->n;
}

static void judge_breath(const Quality *quality, const Judged *j, const SingerLabel *l,
                         Samples *reached, bool keep, Samples *halved) {
    if (l->start < first_word(j->voice) ||
        energy_db(&j->breath, l->start, l->end) < j->room_db + 3.0)
        return;
    double left = pow(10.0, -lost_db(j, l->start, l->end) / 10.0);
    samples_add(reached, (keep ? left >= 0.9 : left <= 0.1) ? 100.0 : 0.0);
    samples_add(halved, left > 0.1 && left < 0.9 ? 100.0 : 0.0);
    if (keep ? left < 0.9 : left > 0.1)
        quality_note(quality, 2, "    %8.3f..%.3f s breath, %3.0f %% left (%5.1f dBFS)",
                     (double)l->start / j->voice->rate_hz, (double)l->end / j->voice->rate_hz,
                     100.0 * left, energy_db(&j->breath, l->start, l->end));
}

/* The first breath within a gap begins here; else the gap's end. */
static size_t next_sound(const Voice *voice, const SingerLabel *gap) {
    size_t next = gap->end;
    for (size_t i = 0; i < voice->n_labels; i++)
        if (voice->labels[i].kind == SINGER_BREATH && voice->labels[i].start >= gap->start &&
            voice->labels[i].start < next)
            next = voice->labels[i].start;
    return next;
}

/* Gains of the part of a gap where nothing sounds but clicks; *opened: it was closed and opens. */
static Samples gains_in_gap(const Judged *j, const SingerLabel *gap, bool *opened) {
    double rate_hz = j->voice->rate_hz;
    size_t hop = (size_t)(0.0025 * rate_hz), ahead = (size_t)(0.08 * rate_hz);
    size_t next = next_sound(j->voice, gap), start = gap->start + (size_t)(0.3 * rate_hz);
    Samples gain = {NULL, 0, 0};
    bool closed = false;
    *opened = false;
    for (size_t at = start; at + hop + ahead <= next; at += hop) {
        double db = signals_rms_db(j->out_audio + at, hop) - signals_rms_db(j->in + at, hop);
        closed |= db < -20.0;
        *opened |= closed && db > -6.0;
        samples_add(&gain, db);
    }
    return gain;
}

static void judge_gap(const Quality *quality, const Judged *j, const SingerLabel *gap,
                      GapTally *tally) {
    bool opened;
    Samples gain = gains_in_gap(j, gap, &opened);
    if (gain.n) {
        double db = samples_quantile(&gain, 0.5);
        samples_add(&tally->opens, opened ? 100.0 : 0.0);
        samples_add(&tally->closed, db <= -20.0 ? 100.0 : 0.0);
        samples_add(&tally->db, db);
        if (opened || db > -20.0)
            quality_note(quality, 2, "    %8.3f s gap %s", (double)gap->start / j->voice->rate_hz,
                         opened ? "opens" : "stays");
    }
    samples_free(&gain);
}

/* ---- the runs ---- */

/* What a plugin makes of j->in, and its energy. */
static bool render(Quality *quality, const Judged *j, const char *plugin,
                   const QualitySetting *settings, size_t n_settings, float *out, Energy *energy) {
    QualityRun run = {.plugin = plugin,
                      .settings = settings,
                      .n_settings = n_settings,
                      .rate_hz = j->voice->rate_hz,
                      .in = j->in,
                      .out = out,
                      .n = j->voice->n};
    energy_free(energy);
    return quality_render(quality, &run) &&
           energy_of(out, j->voice->n, j->voice->rate_hz, 60.0, 1e9, energy);
}

static bool trim(Quality *quality, Judged *j, bool keep, float *out) {
    return render(quality, j, bundle, trimmed, keep ? 0 : 1, out, &j->out);
}

static bool trim_live(Quality *quality, Judged *j, float *out) {
    return render(quality, j, bundle, live, 1, out, &j->out);
}

/* Puts breath-ducker before what comes next. */
static bool duck(Quality *quality, Judged *j, float *audio) {
    bool ok = render(quality, j, "breath-ducker", ducked, 1, audio, &j->energy);
    j->in = audio;
    return ok;
}

static void judge_kept(const Quality *quality, const Judged *j, Tally *tally) {
    for (size_t i = 0; i < j->voice->n_labels; i++) {
        const SingerLabel *l = &j->voice->labels[i];
        if (l->kind == SINGER_WORD)
            judge_word(quality, j, l, &tally->start_lost, &tally->end_lost);
        else if (l->kind == SINGER_BREATH)
            judge_breath(quality, j, l, &tally->whole, true, &tally->halved);
        else if (l->kind == SINGER_GAP && !j->voice->gaps_unknown)
            judge_gap(quality, j, l, &tally->gaps);
    }
}

static void judge_trimmed(const Quality *quality, const Judged *j, Tally *tally) {
    quality_note(quality, 2, "   breaths trimmed:");
    for (size_t i = 0; i < j->voice->n_labels; i++) {
        const SingerLabel *l = &j->voice->labels[i];
        if (l->kind == SINGER_WORD)
            judge_word(quality, j, l, &tally->start_lost_trimmed, NULL);
        else if (l->kind == SINGER_BREATH)
            judge_breath(quality, j, l, &tally->gone, false, &tally->halved_too);
    }
}

static void judge_live(const Quality *quality, const Judged *j, Tally *tally) {
    quality_note(quality, 2, "   little look-ahead:");
    for (size_t i = 0; i < j->voice->n_labels; i++) {
        const SingerLabel *l = &j->voice->labels[i];
        if (l->kind == SINGER_WORD)
            judge_word(quality, j, l, &tally->start_lost_live, &tally->end_lost_live);
        else if (l->kind == SINGER_GAP && !j->voice->gaps_unknown)
            judge_gap(quality, j, l, &tally->gaps_live);
    }
}

static void judge_ducked(const Quality *quality, const Judged *j, Tally *tally) {
    quality_note(quality, 2, "   behind breath-ducker:");
    for (size_t i = 0; i < j->voice->n_labels; i++) {
        const SingerLabel *l = &j->voice->labels[i];
        if (l->kind == SINGER_WORD)
            judge_word(quality, j, l, &tally->start_lost_ducked, NULL);
        else if (l->kind == SINGER_GAP && !j->voice->gaps_unknown)
            judge_gap(quality, j, l, &tally->gaps_ducked);
    }
}

static bool measure(Judged *j, const float *rest) {
    const Voice *voice = j->voice;
    bool ok = energy_of(j->in, voice->n, voice->rate_hz, 60.0, 1e9, &j->energy) &&
              energy_of(voice->breaths, voice->n, voice->rate_hz, 60.0, 1e9, &j->breath) &&
              energy_of(rest, voice->n, voice->rate_hz, 60.0, 1e9, &j->rest);
    if (ok) {
        j->room_db = level_quantile(j, &j->rest, 0.1);
        j->level_db = level_quantile(j, &j->rest, 0.9);
    }
    return ok;
}

static void judge_voice(Quality *quality, const Voice *voice, Tally *tally) {
    float *out = malloc((voice->n + 1) * sizeof *out);
    float *quieter = malloc((voice->n + 1) * sizeof *quieter);
    Judged j = {.voice = voice, .in = voice->audio, .out_audio = out};
    bool ok = out != NULL && quieter != NULL;
    for (size_t i = 0; ok && i < voice->n; i++)
        out[i] = voice->audio[i] - voice->breaths[i];
    ok = ok && measure(&j, out);
    quality_note(quality, 2, "  %s", voice->name);
    if (ok && trim(quality, &j, true, out))
        judge_kept(quality, &j, tally);
    if (ok && trim(quality, &j, false, out))
        judge_trimmed(quality, &j, tally);
    if (ok && trim_live(quality, &j, out))
        judge_live(quality, &j, tally);
    if (ok && duck(quality, &j, quieter) && trim(quality, &j, true, out))
        judge_ducked(quality, &j, tally);
    quality->broken |= !ok;
    energy_free(&j.energy);
    energy_free(&j.breath);
    energy_free(&j.rest);
    energy_free(&j.out);
    free(quieter);
    free(out);
}

static Figure largest(Samples *sung, Samples *recorded) {
    return (Figure){samples_quantile(sung, 1.0), samples_quantile(recorded, 1.0)};
}

static Figure mean(const Samples *sung, const Samples *recorded) {
    return (Figure){samples_mean(sung), samples_mean(recorded)};
}

/* Percent of words that lose more than this. */
static double share_over(const Samples *lost, double db) {
    size_t over = 0;
    for (size_t i = 0; i < lost->n; i++)
        over += lost->value[i] > db;
    return lost->n ? 100.0 * (double)over / (double)lost->n : (double)NAN;
}

static Figure over(const Samples *sung, const Samples *recorded, double db) {
    return (Figure){share_over(sung, db), share_over(recorded, db)};
}

static void report_live(Quality *quality, Tally *s, Tally *r) {
    quality_row(quality, "trimmer, 21 ms: words whose first 50 ms lose over 1 dB", "%",
                over(&s->start_lost_live, &r->start_lost_live, 1.0), QUALITY_AT_MOST, 1.0);
    quality_row(quality, "trimmer, 21 ms: words whose first 50 ms lose over 6 dB", "%",
                over(&s->start_lost_live, &r->start_lost_live, 6.0), QUALITY_AT_MOST, 0.0);
    quality_row(quality, "trimmer, 21 ms: the most that is lost of them", "dB",
                largest(&s->start_lost_live, &r->start_lost_live), QUALITY_AT_MOST, 3.0);
    quality_row(quality, "trimmer, 21 ms: last 100 ms of a word lost, worst", "dB",
                largest(&s->end_lost_live, &r->end_lost_live), QUALITY_AT_MOST, 0.1);
    quality_row(quality, "trimmer, 21 ms: gaps that open where nothing sounds", "%",
                mean(&s->gaps_live.opens, &r->gaps_live.opens), QUALITY_AT_MOST, 10.0);
}

static void report(Quality *quality, Tally *s, Tally *r) {
    quality_row(quality, "trimmer: first 50 ms of a word lost, worst", "dB",
                largest(&s->start_lost, &r->start_lost), QUALITY_AT_MOST, 0.1);
    quality_row(quality, "trimmer: the same, breaths trimmed", "dB",
                largest(&s->start_lost_trimmed, &r->start_lost_trimmed), QUALITY_AT_MOST, 0.1);
    quality_row(quality, "trimmer: last 100 ms of a word lost, worst", "dB",
                largest(&s->end_lost, &r->end_lost), QUALITY_AT_MOST, 0.1);
    quality_row(quality, "trimmer: breaths kept whole, when kept", "%", mean(&s->whole, &r->whole),
                QUALITY_AT_LEAST, 97.0);
    quality_row(quality, "trimmer: breaths gone whole, when trimmed", "%", mean(&s->gone, &r->gone),
                QUALITY_AT_LEAST, 95.0);
    quality_row(quality, "trimmer: breaths cut within, when kept", "%",
                mean(&s->halved, &r->halved), QUALITY_AT_MOST, 2.0);
    quality_row(quality, "trimmer: breaths cut within, when trimmed", "%",
                mean(&s->halved_too, &r->halved_too), QUALITY_AT_MOST, 2.0);
    quality_row(quality, "trimmer: gain in gaps, median", "dB",
                (Figure){samples_quantile(&s->gaps.db, 0.5), samples_quantile(&r->gaps.db, 0.5)},
                QUALITY_AT_MOST, -59.0);
    quality_row(quality, "trimmer: gaps that open where nothing sounds", "%",
                mean(&s->gaps.opens, &r->gaps.opens), QUALITY_AT_MOST, 1.0);
    quality_row(quality, "trimmer: gaps closed, clicks in them or not", "%",
                mean(&s->gaps.closed, &r->gaps.closed), QUALITY_AT_LEAST, 90.0);
    report_live(quality, s, r);
    quality_row(quality, "trimmer behind breath-ducker: a word's start, worst", "dB",
                largest(&s->start_lost_ducked, &r->start_lost_ducked), QUALITY_AT_MOST, 0.1);
    quality_row(quality, "trimmer behind breath-ducker: gaps closed", "%",
                mean(&s->gaps_ducked.closed, &r->gaps_ducked.closed), QUALITY_AT_LEAST, 90.0);
}

static void gap_tally_free(GapTally *t) {
    samples_free(&t->db);
    samples_free(&t->opens);
    samples_free(&t->closed);
}

static void tally_free(Tally *t) {
    samples_free(&t->start_lost);
    samples_free(&t->end_lost);
    samples_free(&t->start_lost_trimmed);
    samples_free(&t->whole);
    samples_free(&t->gone);
    samples_free(&t->halved);
    samples_free(&t->halved_too);
    samples_free(&t->start_lost_live);
    samples_free(&t->end_lost_live);
    gap_tally_free(&t->gaps_live);
    samples_free(&t->start_lost_ducked);
    gap_tally_free(&t->gaps);
    gap_tally_free(&t->gaps_ducked);
}

static void rows(Quality *quality) {
    Tally tally[2];
    memset(tally, 0, sizeof tally);
    for (size_t i = 0; i < quality->material->count; i++) {
        const Voice *source = &quality->material->voices[i];
        Voice made;
        if (!material_breaths(quality->material, source, 7000ull + i, &made))
            continue;
        if (!source->recorded)
            vary(source, &made, 7100ull + i);
        judge_voice(quality, &made, &tally[source->recorded]);
        voice_free(&made);
    }
    report(quality, &tally[0], &tally[1]);
    tally_free(&tally[0]);
    tally_free(&tally[1]);
}

extern const QualityPart quality_trimmer;
const QualityPart quality_trimmer = {
    .name = "trimmer", .bundle = "gap-trimmer", .run = rows, .voices = true};
