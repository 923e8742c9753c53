/* SPDX-License-Identifier: ISC */
#include "detect/sound_start.h"
#include "run_tcase.h"
#include "signals.h"

#include <check.h>
#include <stdio.h>
#include <stdlib.h>

enum { STEPS = 40, FIRST = 1000 }; /* steps are counted from anywhere */
static const float LOW_DB = -60.0f, QUIET_DB = -80.0f;
static SoundStart start;
static float late; /* of the last that was found */

static void quiet(void) {
    sound_start_reset(&start, QUIET_DB);
}

static void sound(size_t from, size_t to, float level_db) {
    for (size_t t = from; t <= to; t++)
        sound_start_put(&start, FIRST + t, level_db);
}

static size_t found(size_t step, size_t earliest) {
    return sound_start_find(&start, LOW_DB, FIRST + step, FIRST + earliest, &late) - FIRST;
}

START_TEST(a_sound_after_quiet_begins_where_it_rose_and_a_little_before) {
    quiet();
    sound(20, 30, -30.0f);
    ck_assert_uint_eq(found(30, 0), 20 - SOUND_START_QUIET);
    ck_assert_uint_eq(found(25, 0), 20 - SOUND_START_QUIET);
    ck_assert_uint_eq(found(30, 17), 17);
}
END_TEST

START_TEST(where_steps_fall_does_not_move_the_start) {
    /* A rise of 6 dB a step, sampled a tenth of a step later each time. */
    for (int k = 0; k < 10; k++) {
        float x = 0.1f * (float)k;
        quiet();
        for (size_t t = 15; t <= 35; t++)
            sound(t, t, LOW_DB + 6.0f * ((float)t - 20.5f + x));
        float at = (float)found(35, 0) + late + x;
        ck_assert_float_eq_tol(at, 21.5f - (float)SOUND_START_QUIET, 1e-3f);
    }
    ck_assert_uint_eq(found(35, 17), 17); /* the earliest is taken from its beginning */
    ck_assert_float_eq(late, 0.0f);
}
END_TEST

START_TEST(the_earliest_step_allowed_is_kept) {
    quiet();
    sound(20, 30, -30.0f);
    ck_assert_uint_eq(found(30, 25), 25);
    ck_assert_uint_eq(found(30, 30), 30);
    ck_assert_uint_eq(found(22, 30), 30);
}
END_TEST

START_TEST(a_burst_before_its_vowel_is_taken_in) {
    /* A gap as long as the bridge, and one step longer. */
    quiet();
    sound(10, 13, -35.0f);
    sound(14 + SOUND_START_BRIDGE, 35, -20.0f);
    ck_assert_uint_eq(found(35, 0), 10 - SOUND_START_QUIET);
    quiet();
    sound(10, 13, -35.0f);
    sound(15 + SOUND_START_BRIDGE, 35, -20.0f);
    ck_assert_uint_eq(found(35, 0), 15 + SOUND_START_BRIDGE - SOUND_START_QUIET);
}
END_TEST

START_TEST(the_flutter_of_a_room_is_no_burst) {
    /* One step half a decibel over the bar. A burst comes to 12 dB over its steps. */
    quiet();
    sound(25, 30, -30.0f);
    sound(18, 18, LOW_DB + 0.5f);
    ck_assert_uint_eq(found(30, 0), 25 - SOUND_START_QUIET);
    sound(17, 18, LOW_DB + 5.9f);
    ck_assert_uint_eq(found(30, 0), 25 - SOUND_START_QUIET);
    sound(17, 18, LOW_DB + 6.1f);
    ck_assert_uint_eq(found(30, 0), 17 - SOUND_START_QUIET);
}
END_TEST

START_TEST(a_step_that_just_misses_the_bar_parts_no_sound) {
    /* Else what lies before it, longer than a burst, would be another sound. */
    quiet();
    sound(8, 30, LOW_DB + 3.0f);
    for (float under_db = 0.0f; under_db < 2.9f; under_db += 0.2f) {
        sound(22, 22, LOW_DB - under_db);
        ck_assert_uint_eq(found(30, 0), 8 - SOUND_START_QUIET);
    }
    sound(22, 22, LOW_DB - 3.1f);
    ck_assert_uint_eq(found(30, 0), 22);
}
END_TEST

START_TEST(nothing_is_taken_of_a_longer_sound_that_ended_just_before) {
    /* A breath of one step more than a short sound, 3 steps before the word. */
    quiet();
    sound(8, 8 + SOUND_START_SHORT, -50.0f);
    sound(24, 35, -20.0f);
    ck_assert_uint_eq(found(35, 0), 9 + SOUND_START_SHORT);
    /* The same when it reaches back further than may be seen. */
    quiet();
    sound(0, 20, -50.0f);
    sound(24, 35, -20.0f);
    ck_assert_uint_eq(found(35, 15), 21);
}
END_TEST

START_TEST(a_word_that_grows_out_of_a_breath_begins_at_the_valley) {
    quiet();
    for (size_t t = 0; t <= 20; t++)
        sound(t, t, -40.0f - 0.8f * (float)t); /* dies away to -56 */
    sound(21, 35, -20.0f);
    ck_assert_uint_eq(found(35, 5), 20);
}
END_TEST

START_TEST(a_word_that_only_rises_begins_as_early_as_allowed) {
    quiet();
    for (size_t t = 0; t <= 35; t++)
        sound(t, t, -58.0f + (float)t);
    ck_assert_uint_eq(found(35, 5), 5);
}
END_TEST

START_TEST(the_answer_is_always_between_the_earliest_and_the_step) {
    Random random = random_seeded(111);
    printf("seed 111\n");
    for (int k = 0; k < 20000; k++) {
        for (size_t t = 0; t < SOUND_START_RING; t++)
            sound(t, t, (float)random_range(&random, -90.0, -30.0));
        size_t step = random_below(&random, STEPS), earliest = random_below(&random, STEPS);
        size_t first = found(step, earliest);
        ck_assert_uint_ge(first, earliest);
        ck_assert(first <= step || first == earliest);
        ck_assert(late >= 0.0f && late <= 1.0f);
    }
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("sound_start");
    tcase_add_test(tcase, a_sound_after_quiet_begins_where_it_rose_and_a_little_before);
    tcase_add_test(tcase, where_steps_fall_does_not_move_the_start);
    tcase_add_test(tcase, the_earliest_step_allowed_is_kept);
    tcase_add_test(tcase, a_burst_before_its_vowel_is_taken_in);
    tcase_add_test(tcase, the_flutter_of_a_room_is_no_burst);
    tcase_add_test(tcase, a_step_that_just_misses_the_bar_parts_no_sound);
    tcase_add_test(tcase, nothing_is_taken_of_a_longer_sound_that_ended_just_before);
    tcase_add_test(tcase, a_word_that_grows_out_of_a_breath_begins_at_the_valley);
    tcase_add_test(tcase, a_word_that_only_rises_begins_as_early_as_allowed);
    tcase_add_test(tcase, the_answer_is_always_between_the_earliest_and_the_step);
    return run_tcase(tcase, "sound_start");
}
