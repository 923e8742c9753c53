/* SPDX-License-Identifier: ISC */
/* sung_notes.h: the notes of the test singer, as it sings them and as they are found. */
#ifndef SISKIN_TESTS_SUNG_NOTES_H
#define SISKIN_TESTS_SUNG_NOTES_H

#include "measure/notes.h"
#include "measure/pitch_path.h"
#include "signals.h"
#include "singer.h"

#include <math.h>
#include <stdlib.h>

/* As notes_find() finds them in audio. NULL: none, or out of memory. The caller frees them. */
static inline SungNote *sung_notes_found(const float *audio, size_t length, double rate_hz,
                                         size_t *n) {
    PitchCandidates pitch;
    const size_t bytes = 1 << 20;
    void *memory = calloc(1, bytes);
    Arena arena = arena_over(memory, bytes);
    *n = 0;
    if (!memory || !pitch_candidates_prepare(&pitch, rate_hz, &arena)) {
        free(memory);
        return NULL;
    }
    size_t room = (size_t)((double)length / pitch.hop) + 2, count = 0;
    PitchMoment *moments = calloc(room, sizeof *moments);
    float *hz = calloc(room, sizeof *hz);
    for (size_t i = 0; moments && i < length; i++)
        if (pitch_candidates_step(&pitch, audio[i]))
            moments[count++] = pitch.state.moment;
    if (!moments || !hz || !pitch_path(moments, count, PITCH_CANDIDATES_HOP_S, hz))
        count = 0;
    const NotesTrack track = {hz, count, pitch_candidates_s(&pitch, 0), PITCH_CANDIDATES_HOP_S};
    SungNote *notes = notes_find(&track, n);
    free(hz);
    free(moments);
    free(memory);
    return notes;
}

static inline bool sung_notes_sound(SingerKind kind) {
    return kind != SINGER_WORD && kind != SINGER_PHRASE && kind != SINGER_GAP &&
           kind != SINGER_CLICK && kind != SINGER_BREATH;
}

/* What is sung: voiced sounds of one pitch that touch are one note. */
static inline size_t sung_notes_truth(const SingerTake *take, SungNote *out, size_t most) {
    size_t n = 0;
    bool open = false;
    for (size_t i = 0; i < take->n_labels; i++) {
        const SingerLabel *label = &take->labels[i];
        if (!sung_notes_sound(label->kind))
            continue;
        bool voiced = label->kind == SINGER_VOICED;
        double start_s = (double)label->start / take->rate_hz;
        double end_s = (double)label->end / take->rate_hz;
        double midi = voiced ? 69.0 + 12.0 * log2(label->value / 440.0) : 0.0;
        if (voiced && open && fabs(out[n - 1].midi - midi) < 1e-6 &&
            start_s - out[n - 1].end_s < 1e-3)
            out[n - 1].end_s = end_s;
        else if (voiced && n < most)
            out[n++] = (SungNote){.start_s = start_s, .end_s = end_s, .midi = midi};
        open = voiced;
    }
    return n;
}

/* ISMIR 2014: Molina et al., "Evaluation framework for automatic singing transcription": onset
 * within 50 ms, pitch within 50 cents, offset within the larger of 50 ms and a fifth of the
 * note. */
static inline bool sung_notes_right(const SungNote *note, const SungNote *truth) {
    double slack_s = fmax(0.05, 0.2 * (truth->end_s - truth->start_s));
    return fabs(note->start_s - truth->start_s) <= 0.05 && fabs(note->midi - truth->midi) <= 0.5 &&
           fabs(note->end_s - truth->end_s) <= slack_s;
}

static inline bool sung_notes_pitch(const SungNote *note, const SungNote *truth) {
    double both_s = fmin(note->end_s, truth->end_s) - fmax(note->start_s, truth->start_s);
    return 2.0 * both_s > truth->end_s - truth->start_s && fabs(note->midi - truth->midi) <= 0.5;
}

#endif
