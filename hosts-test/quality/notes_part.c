/* SPDX-License-Identifier: ISC */
/* What siskin measure tells of singing: notes, and the key.
 *
 * Notes: of the sung voices, by the rule of ISMIR 2014 (sung_notes.h). Keys: tunes in the public
 * domain that were not at hand when the weights were chosen, in twelve keys, each note off by a
 * normal error of 25 cents; an unsure key is neither right nor wrong. */
#include "quality/quality.h"
#include "sung_notes.h"
#include "tunes.h"

typedef struct {
    double all, right, pitched;
} Tally;

static void count_notes(const Voice *voice, Tally *tally) {
    enum { MOST = 2000 };
    static SungNote truth[MOST];
    size_t n, n_truth = sung_notes_truth(&voice->take, truth, MOST);
    SungNote *notes = sung_notes_found(voice->audio, voice->n, voice->rate_hz, &n);
    for (size_t t = 0; t < n_truth; t++) {
        bool right = false, pitched = false;
        for (size_t i = 0; i < n; i++) {
            right = right || sung_notes_right(&notes[i], &truth[t]);
            pitched = pitched || sung_notes_pitch(&notes[i], &truth[t]);
        }
        tally->right += right;
        tally->pitched += pitched;
    }
    tally->all += (double)n_truth;
    free(notes);
}

static void name_keys(double *right, double *wrong) {
    static SungNote notes[TUNE_MOST];
    Random random = random_seeded(7001);
    double all = 0.0;
    for (size_t i = 0; i < TUNES_NEW; i++)
        for (unsigned tonic = 0; tonic < 12; tonic++) {
            const TuneSung how = {.tonic = tonic,
                                  .tuning_cents = random_range(&random, -20.0, 20.0),
                                  .loose_cents = 25.0,
                                  .beat_s = 60.0 / random_range(&random, 90.0, 130.0)};
            Tonality key;
            size_t n = tune_sing(&tunes_new[i], &how, &random, notes);
            all += 1.0;
            if (!tonality_find(notes, n, &key) || !tonality_sure(&key))
                continue;
            bool is = key.best.tonic == tonic && key.best.mode == tunes_new[i].mode;
            *right += is;
            *wrong += !is;
        }
    *right *= 100.0 / all;
    *wrong *= 100.0 / all;
}

static void rows(Quality *quality) {
    Tally tally = {0.0, 0.0, 0.0};
    double right = 0.0, wrong = 0.0;
    for (size_t i = 0; i < quality->material->count; i++)
        if (!quality->material->voices[i].recorded)
            count_notes(&quality->material->voices[i], &tally);
    name_keys(&right, &wrong);
    quality_row(quality, "notes: onset, pitch and offset right", "%",
                (Figure){100.0 * tally.right / tally.all, (double)NAN}, QUALITY_AT_LEAST, 80.0);
    quality_row(quality, "notes: pitch right", "%",
                (Figure){100.0 * tally.pitched / tally.all, (double)NAN}, QUALITY_AT_LEAST, 93.0);
    quality_row(quality, "keys, 25 cents loose: right", "%", (Figure){right, (double)NAN},
                QUALITY_AT_LEAST, 80.0);
    quality_row(quality, "keys, 25 cents loose: named wrongly", "%", (Figure){wrong, (double)NAN},
                QUALITY_AT_MOST, 5.0);
}

extern const QualityPart quality_notes;
const QualityPart quality_notes = {.name = "notes", .bundle = NULL, .run = rows, .voices = true};
