/* SPDX-License-Identifier: ISC */
#include "detect/phrase_marks.h"
#include "run_tcase.h"
#include "signals.h"

#include <check.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { STEPS = 4000, BEHIND = 27, TAIL = 3 };
static bool marked[STEPS];
static PhraseMark answer[STEPS];

/* Marks each step `late` steps after it came (late < BEHIND); answer[t] is what is told of step t.
 */
static void run(size_t shortest, size_t late) {
    PhraseMarks marks;
    phrase_marks_prepare(&marks, BEHIND, TAIL);
    phrase_marks_set(&marks, shortest);
    size_t first = phrase_marks_now(&marks);
    for (size_t t = 0; t < STEPS; t++) {
        ck_assert_uint_eq(phrase_marks_now(&marks), first + t);
        if (t >= late && marked[t - late])
            phrase_marks_add(&marks, first + t - late, first + t - late, PHRASE_MARK_SOUND);
        PhraseMark mark = phrase_marks_step(&marks);
        if (t >= BEHIND)
            answer[t - BEHIND] = mark;
    }
}

/* Sounds and pauses of random lengths. */
static void fill(unsigned long long seed, size_t longest) {
    Random random = random_seeded(seed);
    bool now = false;
    for (size_t t = 0; t < STEPS; now = !now)
        for (size_t k = 1 + random_below(&random, longest); k > 0 && t < STEPS; k--)
            marked[t++] = now;
}

/* Steps from the last marked one to t; STEPS when there is none. */
static size_t since(size_t t) {
    for (size_t k = 0; k <= t; k++)
        if (marked[t - k])
            return k;
    return STEPS;
}

/* Steps from t to the next marked one within what is in sight. */
static size_t until(size_t t, size_t sight) {
    for (size_t k = 1; k <= sight && t + k < STEPS; k++)
        if (marked[t + k])
            return k;
    return PHRASE_MARKS_NONE;
}

START_TEST(what_is_marked_is_open_and_what_comes_is_announced) {
    printf("seed 91\n");
    for (size_t late = 0; late < 20; late += 5) {
        fill(91, 60);
        run(5, late);
        for (size_t t = 0; t < STEPS - BEHIND; t++) {
            if (marked[t])
                ck_assert(answer[t].open);
            ck_assert_uint_eq(answer[t].ahead, until(t, BEHIND - late));
        }
    }
}
END_TEST

START_TEST(only_the_tail_and_short_pauses_are_joined) {
    /* By the definition, with everything in sight known (late 0). */
    printf("seed 92\n");
    const size_t shortest[] = {0, 10, 20, 47, 200};
    for (int k = 0; k < 5; k++) {
        fill(92, 150);
        run(shortest[k], 0);
        for (size_t t = 0; t < STEPS - BEHIND; t++) {
            size_t before = since(t), after = until(t, BEHIND);
            size_t pause = before + (after == PHRASE_MARKS_NONE ? BEHIND : after) - 1;
            bool joined = before < STEPS && (before <= TAIL || pause <= shortest[k]);
            ck_assert_int_eq(answer[t].open, marked[t] || joined);
        }
    }
}
END_TEST

START_TEST(a_pause_no_longer_than_the_shortest_is_open_throughout) {
    memset(marked, 0, sizeof marked);
    for (size_t t = 100; t < 200; t++)
        marked[t] = true;
    for (size_t t = 247; t < 300; t++) /* a pause of 47 */
        marked[t] = true;
    run(47, 0);
    for (size_t t = 100; t < 300; t++)
        ck_assert(answer[t].open);
    run(46, 0);
    bool closed = false;
    for (size_t t = 200; t < 247; t++)
        closed |= !answer[t].open;
    ck_assert(closed);
}
END_TEST

START_TEST(a_mark_may_be_changed_until_it_was_read) {
    PhraseMarks marks;
    phrase_marks_prepare(&marks, BEHIND, 0);
    size_t first = phrase_marks_oldest(&marks);
    phrase_marks_add(&marks, first, first + 19, PHRASE_MARK_SOUND);
    for (size_t t = 0; t < 5; t++)
        ck_assert(phrase_marks_step(&marks).open);
    phrase_marks_add(&marks, first + 8, first + 9, PHRASE_MARK_NOTHING);
    for (size_t t = 5; t < 20; t++)
        ck_assert_int_eq(phrase_marks_step(&marks).open, t < 8 || t > 9);
}
END_TEST

START_TEST(a_broken_pause_is_closed_but_for_its_tail) {
    /* Two sounds 20 steps apart, to be joined; a break in the middle parts them. */
    for (int broken = 0; broken < 2; broken++) {
        PhraseMarks marks;
        phrase_marks_prepare(&marks, BEHIND, TAIL);
        phrase_marks_set(&marks, 47);
        size_t first = phrase_marks_oldest(&marks);
        phrase_marks_add(&marks, first, first + 2, PHRASE_MARK_SOUND);
        phrase_marks_add(&marks, first + 23, first + 25, PHRASE_MARK_SOUND);
        if (broken)
            phrase_marks_add(&marks, first + 12, first + 14, PHRASE_MARK_BREAK);
        for (size_t t = 0; t < 26; t++) {
            PhraseMark mark = phrase_marks_step(&marks);
            ck_assert_int_eq(mark.open, !broken || t <= 2 + TAIL || t >= 23);
            if (t >= 2 && t < 23)
                ck_assert_uint_eq(mark.ahead, 23 - t);
        }
    }
}
END_TEST

START_TEST(a_sound_may_begin_and_end_within_a_step) {
    /* Sounds at steps 5..9 and 21..23. */
    PhraseMarks marks;
    phrase_marks_prepare(&marks, BEHIND, TAIL);
    size_t first = phrase_marks_oldest(&marks);
    phrase_marks_add(&marks, first + 5, first + 9, PHRASE_MARK_SOUND);
    phrase_marks_late(&marks, first + 5, 0.25f);
    phrase_marks_late(&marks, first + 10, 0.75f);
    phrase_marks_add(&marks, first + 21, first + 23, PHRASE_MARK_SOUND);
    phrase_marks_late(&marks, first + 21, 0.5f);
    for (size_t t = 0; t < 24; t++) {
        PhraseMark mark = phrase_marks_step(&marks);
        if (t <= 5)
            ck_assert_float_eq(mark.late, 0.25f);
        else if (t < 9)
            ck_assert_float_eq(mark.late, 0.0f); /* within a sound */
        else
            ck_assert_float_eq(mark.late, t < 22 ? 0.5f : 0.0f);
        if (t >= 10)
            ck_assert_float_eq(mark.end, 0.75f);
    }
    ck_assert_float_eq(phrase_marks_step(&marks).end, 0.0f); /* of the second sound */
    /* What is marked again begins with its step. */
    first = phrase_marks_oldest(&marks);
    phrase_marks_add(&marks, first + 5, first + 5, PHRASE_MARK_SOUND);
    phrase_marks_late(&marks, first + 5, 0.25f);
    phrase_marks_add(&marks, first + 5, first + 6, PHRASE_MARK_SOUND);
    ck_assert_float_eq(phrase_marks_step(&marks).late, 0.0f);
}
END_TEST

START_TEST(nothing_is_open_before_the_first_mark_and_after_reset) {
    memset(marked, 0, sizeof marked);
    run(200, 0);
    for (size_t t = 0; t < STEPS - BEHIND; t++)
        ck_assert(!answer[t].open);
    PhraseMarks marks;
    phrase_marks_prepare(&marks, BEHIND, TAIL);
    phrase_marks_add(&marks, phrase_marks_oldest(&marks), phrase_marks_now(&marks),
                     PHRASE_MARK_SOUND);
    ck_assert(phrase_marks_step(&marks).open);
    phrase_marks_reset(&marks);
    for (int t = 0; t < 100; t++)
        ck_assert(!phrase_marks_step(&marks).open);
}
END_TEST

/* Looking less far ahead passes over what lies between; looking further again reads the last answer
 * as often. */
START_TEST(looking_ahead_by_another_length_skips_or_repeats_steps) {
    PhraseMarks marks;
    phrase_marks_prepare(&marks, BEHIND, 0);
    phrase_marks_set(&marks, 0);
    size_t first = phrase_marks_now(&marks) + 1;
    for (size_t t = first - 1; t < first + 200; t++) {
        bool sounds = t >= first + 20 && t < first + 60;
        if (sounds)
            phrase_marks_add(&marks, t, t, PHRASE_MARK_SOUND);
        if (t == first + 30) /* from the last step of quiet to ten steps of sound */
            phrase_marks_look(&marks, 0);
        if (t == first + 40)
            phrase_marks_look(&marks, BEHIND);
        size_t read = phrase_marks_oldest(&marks);
        bool open = phrase_marks_step(&marks).open;
        bool again = t >= first + 40;
        bool wanted = read >= (again ? first + 40 - BEHIND : first + 20) && read < first + 60;
        ck_assert_msg(open == wanted, "step %zu read at %zu", read - first, t - first);
    }
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("phrase_marks");
    tcase_add_test(tcase, what_is_marked_is_open_and_what_comes_is_announced);
    tcase_add_test(tcase, only_the_tail_and_short_pauses_are_joined);
    tcase_add_test(tcase, a_pause_no_longer_than_the_shortest_is_open_throughout);
    tcase_add_test(tcase, a_mark_may_be_changed_until_it_was_read);
    tcase_add_test(tcase, a_broken_pause_is_closed_but_for_its_tail);
    tcase_add_test(tcase, a_sound_may_begin_and_end_within_a_step);
    tcase_add_test(tcase, nothing_is_open_before_the_first_mark_and_after_reset);
    tcase_add_test(tcase, looking_ahead_by_another_length_skips_or_repeats_steps);
    return run_tcase(tcase, "phrase_marks");
}
