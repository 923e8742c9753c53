/* SPDX-License-Identifier: ISC */
/* The notes of the test singer, from audio to notes. */
#include "measure/notes.h"
#include "measure/pitch_path.h"
#include "run_tcase.h"
#include "signals.h"
#include "singer.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static SungNote *notes_of(const SingerTake *take, size_t *n) {
    PitchCandidates pitch;
    const size_t bytes = 1 << 20;
    void *memory = calloc(1, bytes);
    Arena arena = arena_over(memory, bytes);
    ck_assert(pitch_candidates_prepare(&pitch, take->rate_hz, &arena));
    PitchMoment *moments = calloc((size_t)((double)take->n / pitch.hop) + 2, sizeof *moments);
    size_t count = 0;
    for (size_t i = 0; i < take->n; i++)
        if (pitch_candidates_step(&pitch, take->mix[i]))
            moments[count++] = pitch.state.moment;
    float *hz = calloc(count + 1, sizeof *hz);
    ck_assert(hz && pitch_path(moments, count, PITCH_CANDIDATES_HOP_S, hz));
    const NotesTrack track = {hz, count, pitch_candidates_s(&pitch, 0), PITCH_CANDIDATES_HOP_S};
    SungNote *notes = notes_find(&track, n);
    free(hz);
    free(moments);
    free(memory);
    return notes;
}

static bool is_a_sound(SingerKind kind) {
    return kind != SINGER_WORD && kind != SINGER_PHRASE && kind != SINGER_GAP &&
           kind != SINGER_CLICK && kind != SINGER_BREATH;
}

/* What is sung: voiced sounds of one pitch that touch are one note. */
static size_t truth_of(const SingerTake *take, SungNote *out, size_t most) {
    size_t n = 0;
    bool open = false;
    for (size_t i = 0; i < take->n_labels; i++) {
        const SingerLabel *label = &take->labels[i];
        if (!is_a_sound(label->kind))
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
 * within 50 ms, pitch within 50 cents, offset within the larger of 50 ms and a fifth of the note. */
static bool is_right(const SungNote *note, const SungNote *truth) {
    double slack_s = fmax(0.05, 0.2 * (truth->end_s - truth->start_s));
    return fabs(note->start_s - truth->start_s) <= 0.05 && fabs(note->midi - truth->midi) <= 0.5 &&
           fabs(note->end_s - truth->end_s) <= slack_s;
}

static bool has_its_pitch(const SungNote *note, const SungNote *truth) {
    double both_s = fmin(note->end_s, truth->end_s) - fmax(note->start_s, truth->start_s);
    return 2.0 * both_s > truth->end_s - truth->start_s && fabs(note->midi - truth->midi) <= 0.5;
}

/* Seeds that the finder was not tuned on. */
START_TEST(sung_notes_are_found) {
    static SungNote truth[500];
    size_t all = 0, found = 0, right = 0, pitched = 0;
    for (uint64_t seed = 61; seed <= 64; seed++) {
        SingerTake take;
        SingerParams p = singer_params(seed % 2 ? SINGER_WOMAN : SINGER_MAN, 44100.0, seed);
        p.phrases = 5;
        ck_assert(singer_take(&p, &take));
        size_t n, n_truth = truth_of(&take, truth, 500);
        SungNote *notes = notes_of(&take, &n);
        for (size_t t = 0; t < n_truth; t++) {
            bool any = false, any_pitch = false;
            for (size_t i = 0; i < n; i++) {
                any = any || is_right(&notes[i], &truth[t]);
                any_pitch = any_pitch || has_its_pitch(&notes[i], &truth[t]);
            }
            right += any;
            pitched += any_pitch;
        }
        all += n_truth;
        found += n;
        free(notes);
        singer_free(&take);
    }
    printf("%zu notes sung, %zu found: %.0f %% right, pitch of %.0f %%\n", all, found,
           100.0 * (double)right / (double)all, 100.0 * (double)pitched / (double)all);
    ck_assert_uint_ge(100 * right, 80 * all);
    ck_assert_uint_ge(100 * pitched, 93 * all);
    ck_assert_uint_le(100 * found, 115 * all);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("notes_sung");
    tcase_add_test(tcase, sung_notes_are_found);
    tcase_set_timeout(tcase, 60);
    return run_tcase(tcase, "notes_sung");
}
