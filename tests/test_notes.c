/* SPDX-License-Identifier: ISC */
#include "measure/notes.h"
#include "run_tcase.h"
#include "signals.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

/* Notes as pitch alone, a reading every 5 ms: what the finder makes of exact input. That of a voice
 * is held to the test singer in test_notes_sung.c. */
enum { MOST = 4000 };
static const double pi = 3.14159265358979323846, STEP_S = 0.005;

typedef struct {
    float hz[MOST];
    size_t n;
} Line;

/* Adds a note of so many readings: it glides in from `from` over 8 of them, rises by `drift` over
 * its length, and swings. midi 0: a rest. */
static void add(Line *line, double midi, size_t readings, double from, double drift_cents,
                double vibrato_hz, double vibrato_cents) {
    for (size_t i = 0; i < readings; i++) {
        double s = (double)i * STEP_S, glide = i < 8 ? 1.0 - (double)i / 8.0 : 0.0;
        double cents = drift_cents * ((double)i / (double)readings - 0.5) +
                       vibrato_cents * sin(2.0 * pi * vibrato_hz * s);
        double at = midi + (from > 0.0 ? glide * (from - midi) : 0.0) + 0.01 * cents;
        line->hz[line->n++] = midi > 0.0 ? (float)(440.0 * exp2((at - 69.0) / 12.0)) : 0.0f;
    }
}

static SungNote *find(const Line *line, size_t *n) {
    const NotesTrack track = {line->hz, line->n, 1.0, STEP_S};
    return notes_find(&track, n);
}

START_TEST(notes_have_their_times_and_pitches) {
    static Line line;
    size_t n;
    line.n = 0;
    add(&line, 0.0, 40, 0.0, 0.0, 0.0, 0.0);
    add(&line, 60.2, 60, 0.0, 0.0, 0.0, 0.0);
    add(&line, 62.1, 20, 60.2, 0.0, 0.0, 0.0);
    add(&line, 57.0, 100, 62.1, 0.0, 5.5, 60.0);
    add(&line, 0.0, 30, 0.0, 0.0, 0.0, 0.0);
    add(&line, 57.0, 40, 0.0, 0.0, 0.0, 0.0);
    SungNote *note = find(&line, &n);
    const double start[] = {40, 100, 120, 250}, midi[] = {60.2, 62.1, 57.0, 57.0};
    ck_assert_uint_eq(n, 4);
    for (size_t i = 0; i < n; i++) {
        ck_assert_double_eq_tol(note[i].start_s, 1.0 + STEP_S * start[i], 0.03);
        ck_assert_double_eq_tol(note[i].midi, midi[i], 0.06);
        ck_assert_double_ge(note[i].confidence, 0.55); /* of 100 ms 40 are a glide */
    }
    ck_assert_double_eq_tol(note[3].end_s, 1.0 + STEP_S * 290, 0.01);
    ck_assert_double_eq_tol(note[2].vibrato_hz, 5.5, 0.2);
    ck_assert_double_eq_tol(note[2].vibrato_cents, 60.0, 6.0);
    ck_assert(note[0].vibrato_hz == 0.0 && note[3].vibrato_hz == 0.0);
    free(note);
}
END_TEST

/* A vibrato of any rate, and to either side by a semitone, is one note. */
START_TEST(vibrato_is_no_string_of_notes) {
    for (double hz = 4.5; hz <= 7.0; hz += 0.5)
        for (double cents = 20.0; cents <= 100.0; cents += 20.0) {
            static Line line;
            size_t n;
            line.n = 0;
            add(&line, 64.0, 200, 0.0, 0.0, hz, cents);
            SungNote *note = find(&line, &n);
            ck_assert_msg(n == 1, "%g Hz, %g cents: %zu notes", hz, cents, n);
            ck_assert_double_eq_tol(note->midi, 64.0, 0.06);
            ck_assert_double_eq_tol(note->vibrato_hz, hz, 0.2);
            ck_assert_double_eq_tol(note->vibrato_cents, cents, 0.05 * cents + 1.0);
            free(note);
        }
}
END_TEST

START_TEST(drift_is_told_and_cuts_nothing) {
    static Line line;
    size_t n;
    line.n = 0;
    add(&line, 55.0, 200, 0.0, -60.0, 0.0, 0.0);
    SungNote *note = find(&line, &n);
    ck_assert_uint_eq(n, 1);
    ck_assert_double_eq_tol(note->drift_cents, -60.0, 3.0);
    ck_assert_double_eq_tol(note->midi, 55.0, 0.03);
    free(note);
}
END_TEST

/* A reading missed, or an octave off for 20 ms, is part of the note. */
START_TEST(gaps_and_wrong_octaves_do_not_cut) {
    static Line line;
    size_t n;
    line.n = 0;
    add(&line, 67.0, 100, 0.0, 0.0, 0.0, 0.0);
    for (size_t i = 30; i < 35; i++)
        line.hz[i] = 0.0f;
    for (size_t i = 60; i < 64; i++)
        line.hz[i] *= 0.5f;
    SungNote *note = find(&line, &n);
    ck_assert_uint_eq(n, 1);
    ck_assert_double_eq_tol(note->midi, 67.0, 0.02);
    ck_assert_double_lt(note->confidence, 0.95);
    free(note);
}
END_TEST

START_TEST(nothing_has_no_notes) {
    static Line line;
    size_t n = 7;
    line.n = 0;
    ck_assert_ptr_null(find(&line, &n));
    ck_assert_uint_eq(n, 0);
    add(&line, 0.0, 50, 0.0, 0.0, 0.0, 0.0);
    add(&line, 60.0, 8, 0.0, 0.0, 0.0, 0.0); /* 40 ms are none */
    ck_assert_ptr_null(find(&line, &n));
    ck_assert_uint_eq(n, 0);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("notes");
    tcase_add_test(tcase, notes_have_their_times_and_pitches);
    tcase_add_test(tcase, vibrato_is_no_string_of_notes);
    tcase_add_test(tcase, drift_is_told_and_cuts_nothing);
    tcase_add_test(tcase, gaps_and_wrong_octaves_do_not_cut);
    tcase_add_test(tcase, nothing_has_no_notes);
    tcase_set_timeout(tcase, 60);
    return run_tcase(tcase, "notes");
}
