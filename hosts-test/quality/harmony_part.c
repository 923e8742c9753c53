/* SPDX-License-Identifier: ISC */
/* Harmony: a third over, a sixth under and a fifth over, the rest at the defaults.
 *
 * Sung: test singers sing in major on a key note of their own; `key` and `tuning` are set to it. Of
 * each note of 150 ms and more, syllables of one pitch in a row being one, the median of what comes
 * out, read by pitch.h, from 60 ms after its start to 20 ms before its end, against the degree that
 * belongs there. Recorded: the singers alone; notes as notes_find() finds them, `scale` chromatic,
 * so many semitones as the intervals have; those that lie over 30 cents off any note, or move by
 * more than a semitone between their 10th and 90th percentile, are left out, since nobody knows
 * what was meant. Wrong: over 50 cents off, per cent of notes. Off: cents, of those that are right.
 * Elsewhere: readings of sung takes within notes, 40 ms off their ends, over 60 cents from the
 * pitch sung moved by the interval, less what the lead itself is off its note, per cent. */
#include "quality/quality.h"

#include "quality/heard_notes.h"
#include "sung_notes.h"
#include "voice/scale.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { MOST_NOTES = 512, MOST_READINGS = 4000, INTERVALS = 3 };

static const struct { int steps, semitones; } INTERVAL[INTERVALS] = {{2, 4}, {-5, -8}, {4, 7}};

typedef struct {
    Samples wrong, off, elsewhere;
} Figures;

static void figures_free(Figures *f) {
    samples_free(&f->wrong);
    samples_free(&f->off);
    samples_free(&f->elsewhere);
}

/* What a singer sings in: the lowest note is the key's, untempered. */
typedef struct {
    int key;
    double tuning_hz, over; /* semitones over A 440's notes */
} Song;

static Song song_of(const SungNote *notes, size_t n) {
    double low = 999.0;
    int best = 0, most = -1;
    for (size_t i = 0; i < n; i++)
        low = fmin(low, notes[i].midi);
    double over = low - rint(low);
    for (int key = 0; key < 12; key++) {
        Scale scale = {key, SCALE_MAJOR};
        int in = 0;
        for (size_t i = 0; i < n; i++)
            in += scale_has(&scale, (int)rint(notes[i].midi - over));
        /* of keys that fit as well the one the lowest note is the key note of */
        if (in > most || (in == most && key == (int)rint(low - over) % 12)) {
            best = key;
            most = in;
        }
    }
    return (Song){best, 440.0 * exp2(over / 12.0), over};
}

/* The readings within a note; their count. */
static size_t within(const HeardNotes *heard, const SungNote *note, double rate_hz, double *to) {
    size_t n = 0;
    for (size_t k = 0; k < heard->n; k++) {
        double s = (double)heard->at[k] / rate_hz;
        if (s > note->start_s + 0.06 && s < note->end_s - 0.02 && heard->note[k] > 0.0 &&
            n < MOST_READINGS)
            to[n++] = heard->note[k];
    }
    return n;
}

static void judge_note(const HeardNotes *heard, const SungNote *note, double target, double rate_hz,
                       Figures *f) {
    double notes[MOST_READINGS];
    size_t n = within(heard, note, rate_hz, notes);
    if (n < 5)
        return;
    double off = fabs(signals_quantile(notes, n, 0.5) - target);
    samples_add(&f->wrong, off > 0.5 ? 100.0 : 0.0);
    if (off <= 0.5)
        samples_add(&f->off, 100.0 * off);
}

static void judge_moments(const Voice *voice, const HeardNotes *heard, const SungNote *note,
                          double target, Figures *f) {
    for (size_t k = 0; k < heard->n && !voice->recorded; k++) {
        double s = (double)heard->at[k] / voice->rate_hz;
        if (s < note->start_s + 0.04 || s > note->end_s - 0.04 || heard->note[k] <= 0.0 ||
            voice->take.f0_hz[heard->at[k]] <= 0.0f)
            continue;
        double sung = 69.0 + 12.0 * log2((double)voice->take.f0_hz[heard->at[k]] / 440.0);
        double off = heard->note[k] - target - (sung - note->midi);
        samples_add(&f->elsewhere, fabs(off) > 0.6 ? 100.0 : 0.0);
    }
}

/* Whether it can be told which note is meant. */
static bool clear(const Voice *voice, const HeardNotes *lead, const SungNote *note,
                  double tempered) {
    double notes[MOST_READINGS], off = fabs(tempered - rint(tempered));
    if (note->end_s - note->start_s < 0.15 || !voice->recorded)
        return note->end_s - note->start_s >= 0.15 && off < 0.1;
    size_t n = within(lead, note, voice->rate_hz, notes);
    return n >= 5 && off < 0.3 &&
           signals_quantile(notes, n, 0.9) - signals_quantile(notes, n, 0.1) < 1.0;
}

static void judge_notes(Quality *quality, const Voice *voice, const HeardNotes *lead,
                        const HeardNotes *heard, const SungNote *notes, size_t n, const Song *song,
                        size_t which, Figures *f) {
    const Scale scale = {song->key, voice->recorded ? SCALE_CHROMATIC : SCALE_MAJOR};
    const int steps = voice->recorded ? INTERVAL[which].semitones : INTERVAL[which].steps;
    for (size_t i = 0; i < n; i++) {
        double tempered = notes[i].midi - song->over;
        int meant = (int)rint(tempered);
        if (!clear(voice, lead, &notes[i], tempered) || !scale_has(&scale, meant))
            continue;
        double target = scale_step(&scale, meant, steps) + song->over;
        size_t before = f->wrong.n;
        judge_note(heard, &notes[i], target, voice->rate_hz, f);
        judge_moments(voice, heard, &notes[i], target, f);
        if (f->wrong.n > before && f->wrong.value[before] > 0.0)
            quality_note(quality, 2, "    %s, %.2f s: %.2f should have gone to %.2f", voice->name,
                         notes[i].start_s, notes[i].midi, target);
    }
}

static bool judge(Quality *quality, const Voice *voice, const SungNote *notes, size_t n,
                  size_t which, Figures *f) {
    const Song song = voice->recorded ? (Song){0, 440.0, 0.0} : song_of(notes, n);
    const int steps = voice->recorded ? INTERVAL[which].semitones : INTERVAL[which].steps;
    const QualitySetting settings[] = {
        {"key", (float)song.key},
        {"scale", voice->recorded ? (float)SCALE_CHROMATIC : (float)SCALE_MAJOR},
        {"tuning", (float)song.tuning_hz},
        {"steps", (float)steps}};
    float *out = calloc(voice->n + 1, sizeof *out);
    HeardNotes heard = {0, NULL, NULL}, lead = heard;
    QualityRun run = {.plugin = "harmony",
                      .settings = settings,
                      .n_settings = 4,
                      .rate_hz = voice->rate_hz,
                      .in = voice->audio,
                      .out = out,
                      .n = voice->n};
    bool done = out && quality_render(quality, &run) &&
                heard_notes_read(out, voice->n, voice->rate_hz, &heard) &&
                heard_notes_read(voice->audio, voice->n, voice->rate_hz, &lead);
    if (done)
        judge_notes(quality, voice, &lead, &heard, notes, n, &song, which, f);
    quality_note(quality, 1, "  %-22s %+d steps: so far %zu notes, %.2f %% wrong, off %.1f at most",
                 voice->name, steps, f->wrong.n, samples_mean(&f->wrong),
                 samples_quantile(&f->off, 1.0));
    heard_notes_free(&heard);
    heard_notes_free(&lead);
    free(out);
    return done;
}

static bool judge_voice(Quality *quality, const Voice *voice, Figures *f) {
    static SungNote truth[MOST_NOTES];
    size_t n = 0;
    bool done = true;
    SungNote *found = NULL;
    if (voice->recorded)
        found = sung_notes_found(voice->audio, voice->n, voice->rate_hz, &n);
    else
        n = sung_notes_truth(&voice->take, truth, MOST_NOTES);
    for (size_t which = 0; which < INTERVALS && done; which++)
        done = judge(quality, voice, found ? found : truth, n, which, f);
    free(found);
    return done;
}

static void rows(Quality *quality) {
    Figures sung, recorded;
    memset(&sung, 0, sizeof sung);
    memset(&recorded, 0, sizeof recorded);
    for (size_t i = 0; i < quality->material->count; i++) {
        const Voice *voice = &quality->material->voices[i];
        if (voice->recorded && !strstr(voice->name, "sung"))
            continue;
        if (!judge_voice(quality, voice, voice->recorded ? &recorded : &sung))
            quality->broken = true;
    }
    quality_row(quality, "harmony: wrong notes", "%",
                (Figure){samples_mean(&sung.wrong), samples_mean(&recorded.wrong)}, QUALITY_AT_MOST,
                0.0);
    quality_row(quality, "harmony: notes off, most", "cents",
                (Figure){samples_quantile(&sung.off, 1.0), samples_quantile(&recorded.off, 1.0)},
                QUALITY_AT_MOST, 25.0);
    quality_row(quality, "harmony: moments elsewhere", "%",
                (Figure){samples_mean(&sung.elsewhere), (double)NAN}, QUALITY_AT_MOST, 1.0);
    figures_free(&sung);
    figures_free(&recorded);
}

extern const QualityPart quality_harmony;
const QualityPart quality_harmony = {
    .name = "harmony", .bundle = "harmony", .run = rows, .voices = true};
