/* SPDX-License-Identifier: ISC */
#include "run_tcase.h"
#include "signals.h"
#include "voice/harmony_line.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

/* Marks made by hand: no voice is needed. */
static const double RATE = 48000.0;
static HarmonyLine line;
static PeriodMarks marks;
enum { LATE = 80 }; /* marks until one is read: some 90 ms, as the plugin does */

typedef struct {
    double s, note, moved;
} Heard;
enum { MOST = 4096 };
static Heard heard[MOST];
static size_t n_heard;

static void begin(int key, ScaleKind scale, int steps) {
    memset(&marks, 0, sizeof marks);
    harmony_line_prepare(&line, RATE);
    harmony_line_reset(&line);
    harmony_line_set(&line, &(HarmonyLineParams){{key, scale}, 440.0f, steps});
    n_heard = 0;
}

static void read_mark(uint64_t number) {
    const PeriodMark *mark = period_mark(&marks, number);
    double note = 69.0 + 12.0 * log2(RATE / mark->period / 440.0);
    heard[n_heard++] =
        (Heard){mark->at / RATE, note, note + (double)harmony_line_semitones(&line, number)};
}

/* A sung line: what note at what time; 0 where nobody sings. Each period is read as late as the
 * plugin would. */
static void sing(double (*note_at)(double s), double until_s) {
    uint64_t done = 0;
    bool first = true;
    for (double at = 0.0; at < until_s * RATE;) {
        double note = note_at(at / RATE);
        if (note <= 0.0) {
            first = true;
            at += 48.0;
            continue;
        }
        double period = RATE / (440.0 * exp2((note - 69.0) / 12.0));
        at += period;
        marks.state.kept[marks.state.count++ % PERIOD_MARKS_KEPT] =
            (PeriodMark){.at = at, .period = period, .likeness = 0.99f, .first = first};
        first = false;
        harmony_line_hear(&line, &marks);
        while (done + LATE < marks.state.count)
            read_mark(done++);
    }
    while (done < marks.state.count)
        read_mark(done++);
}

/* The scale of C, a note every 300 ms, each 20 cents off, sung with vibrato and a slide of 40
 * ms. */
static const int TUNE[] = {60, 62, 64, 65, 67, 69, 71, 72, 69, 65, 62, 67, 60};
enum { NOTES = sizeof TUNE / sizeof *TUNE };
static const double NOTE_S = 0.3, SLIDE_S = 0.04;
static double loose = 0.2, vibrato = 0.0;

static double tune_at(double s) {
    int k = (int)(s / NOTE_S);
    k = k < NOTES ? k : NOTES - 1;
    double into = s - k * NOTE_S, now = TUNE[k], last = TUNE[k > 0 ? k - 1 : 0];
    double way = fmin(1.0, into / SLIDE_S);
    way = way * way * (3.0 - 2.0 * way);
    return last + way * (now - last) + (k % 2 ? loose : -loose) +
           vibrato * sin(2.0 * 3.14159265358979 * 6.0 * s);
}

/* A third over: E F G A B C D E and so on, never another, from the first period to the last:
 * intervals are those of the note that is sung, in slides between those of both. What is left is
 * what the lead is off its note, 20 cents, or what its vibrato of 30 cents moves the centre by
 * while that is young. */
START_TEST(each_note_has_its_third_from_its_first_period_on) {
    Scale scale = {0, SCALE_MAJOR};
    for (int depth = 0; depth < 2; depth++) {
        vibrato = 0.3 * depth;
        loose = depth ? 0.0 : 0.2;
        begin(0, SCALE_MAJOR, 2);
        sing(tune_at, NOTES * NOTE_S);
        double most = 0.0;
        for (size_t i = 0; i < n_heard; i++) {
            int k = (int)(heard[i].s / NOTE_S);
            k = k < NOTES ? k : NOTES - 1;
            bool slides = heard[i].s - k * NOTE_S < SLIDE_S;
            int before = slides && k > 0 ? TUNE[k - 1] : TUNE[k];
            double now = scale_step(&scale, TUNE[k], 2) - TUNE[k];
            double last = scale_step(&scale, before, 2) - before;
            double interval = heard[i].moved - heard[i].note;
            most = fmax(most, fmax(fmin(now, last) - interval, interval - fmax(now, last)));
        }
        printf("vibrato %.1f: intervals %.2f semitones off at most\n", vibrato, most);
        ck_assert_double_le(most, 0.4);
    }
}
END_TEST

static double held_at(double s) {
    return s > 0.2 && s < 1.2 ? 64.25 : s > 1.5 && s < 2.5 ? 61.6 : 0.0;
}

/* Steps either way, of the scale's degrees; what is 25 cents off comes out on the note. */
START_TEST(steps_are_degrees_and_the_second_voice_is_in_tune) {
    static const struct {
        int key, steps, first, second;
        ScaleKind scale;
    } asked[] = {
        {0, 2, 67, 65, SCALE_MAJOR},          /* E -> G, D -> F */
        {0, -5, 55, 53, SCALE_MAJOR},         /* E -> G, D -> F below */
        {7, 2, 67, 66, SCALE_MAJOR},          /* G: E -> G, D -> F sharp */
        {9, 4, 71, 69, SCALE_HARMONIC_MINOR}, /* A: E -> B, D -> A */
        {0, 7, 76, 74, SCALE_MAJOR},          /* the octave */
        {0, -14, 40, 38, SCALE_MAJOR},        /* two down */
        {0, 0, 64, 62, SCALE_MAJOR},          /* the lead itself */
        {0, 3, 67, 65, SCALE_CHROMATIC},
    };
    for (size_t i = 0; i < sizeof asked / sizeof *asked; i++) {
        begin(asked[i].key, asked[i].scale, asked[i].steps);
        sing(held_at, 3.0);
        for (size_t k = 0; k < n_heard; k++) {
            if (heard[k].s > 0.6 && heard[k].s < 1.2)
                ck_assert_double_eq_tol(heard[k].moved, asked[i].first, 0.01);
            if (heard[k].s > 1.9 && heard[k].s < 2.5)
                ck_assert_double_eq_tol(heard[k].moved, asked[i].second, 0.01);
        }
    }
}
END_TEST

static double drifting_at(double s) {
    return s > 0.2 && s < 1.0 ? 64.0 + (s - 0.6) : 0.0;
}

/* E to G, drifting by a semitone a second. The mean over the last 333 ms is 167 ms old, the glide
 * of 40 ms older still, and it is read 80 ms late: 127 ms of drift are left, less what the window
 * does for its younger half: 13 cents. Read no later than a young note's, 40 ms, it would be 17. */
START_TEST(a_note_that_drifts_is_brought_back_no_further_than_it_drifted) {
    begin(0, SCALE_MAJOR, 2);
    sing(drifting_at, 1.2);
    double most = 0.0;
    for (size_t k = 0; k < n_heard; k++)
        if (heard[k].s > 0.6 && heard[k].s < 0.9)
            most = fmax(most, fabs(heard[k].moved - 67.0));
    printf("drifting: %.3f semitones off at most\n", most);
    ck_assert_double_lt(most, 0.14);
}
END_TEST

/* C to D, whose thirds are of 4 and of 3 semitones: the second voice goes from E to F and never
 * turns back. */
static double slide_at(double s) {
    double way = fmin(1.0, fmax(0.0, (s - 1.0) / 0.12));
    return 60.0 + 2.0 * way * way * (3.0 - 2.0 * way);
}

START_TEST(a_slide_stays_a_slide) {
    begin(0, SCALE_MAJOR, 2);
    sing(slide_at, 2.0);
    for (size_t k = 1; k < n_heard; k++)
        if (heard[k].s > 0.9)
            ck_assert_double_ge(heard[k].moved, heard[k - 1].moved - 0.05);
    ck_assert_double_eq_tol(heard[n_heard - 1].moved, 65.0, 0.02);
}
END_TEST

/* Begun nearer to E, whose third is of 3 semitones, and meant as F, of 4. */
static double scoop_at(double s) {
    return 65.0 - 0.7 * fmax(0.0, 1.0 - s / 0.02);
}

START_TEST(a_note_that_is_scooped_up_to_has_its_own_third_from_the_start) {
    begin(0, SCALE_MAJOR, 2);
    sing(scoop_at, 1.0);
    for (size_t k = 0; k < n_heard; k++)
        ck_assert_double_ge(heard[k].moved - heard[k].note, 3.9);
}
END_TEST

static double short_at(double s) {
    return s > 0.5 && s < 0.53 ? 64.2 : 0.0;
}

START_TEST(what_is_too_short_for_a_note_goes_with_the_nearest) {
    begin(0, SCALE_MAJOR, 2);
    sing(short_at, 1.0);
    ck_assert_uint_gt(n_heard, 5);
    for (size_t k = 0; k < n_heard; k++)
        ck_assert_double_eq_tol(heard[k].moved, 67.2, 0.05);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("harmony_line");
    tcase_add_test(tcase, each_note_has_its_third_from_its_first_period_on);
    tcase_add_test(tcase, steps_are_degrees_and_the_second_voice_is_in_tune);
    tcase_add_test(tcase, a_note_that_drifts_is_brought_back_no_further_than_it_drifted);
    tcase_add_test(tcase, a_slide_stays_a_slide);
    tcase_add_test(tcase, a_note_that_is_scooped_up_to_has_its_own_third_from_the_start);
    tcase_add_test(tcase, what_is_too_short_for_a_note_goes_with_the_nearest);
    return run_tcase(tcase, "harmony_line");
}
