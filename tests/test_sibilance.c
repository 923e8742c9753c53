/* SPDX-License-Identifier: ISC */
/* The ratio of sibilants to vowels: what it says of an /s/, a /z/, a burst, a vowel and a room. */
#include "detect/sibilance.h"
#include "run_tcase.h"
#include "signals.h"

#include <check.h>
#include <math.h>

static const double RATE = 2000.0;
static unsigned char memory[1 << 18];
static Sibilance s;
static float largest; /* lasting_db since fresh() or forget() */

static void fresh(void) {
    Arena arena = arena_over(memory, sizeof memory);
    ck_assert(sibilance_prepare(&s, RATE, &arena));
    sibilance_set(&s, -13.5f, 0.0f);
    sibilance_reset(&s);
    largest = SIBILANCE_VOWEL_DB;
}

/* Band and voice at these levels for so long. */
static SibilanceNow play(double ms, float band_db, float voice_db) {
    SibilanceNow now = {.ratio_db = 0.0f};
    for (double i = 0; i < ms * 1e-3 * RATE; i++) {
        float band = powf(10.0f, 0.1f * band_db), voice = powf(10.0f, 0.1f * voice_db);
        now = sibilance_step(&s, band, voice, band + voice);
        largest = fmaxf(largest, now.lasting_db);
    }
    return now;
}

static void sing_a_vowel(double offset_db) {
    play(300.0, (float)(offset_db - 85.0), (float)(offset_db - 70.0));
    play(800.0, (float)(offset_db - 50.0), (float)(offset_db - 20.0));
}

START_TEST(an_s_reads_its_level_over_the_vowel_that_was) {
    fresh();
    sing_a_vowel(0.0);
    SibilanceNow now = play(100.0, -31.0f, -60.0f);
    /* decibel_fast_log2 is good to 6e-6 dB, powf to 1e-5 dB. */
    ck_assert_float_eq_tol(now.ratio_db, -11.0f, 1e-4f);
    ck_assert_float_eq_tol(now.lasting_db, -11.0f, 1e-4f);
    /* The voiced /z/: its friction over the vowel, not over its own voicing. */
    now = play(100.0, -29.0f, -32.0f);
    ck_assert_float_eq_tol(now.lasting_db, -9.0f, 1e-4f);
}
END_TEST

START_TEST(half_a_second_of_vowel_ends_the_doubt) {
    fresh();
    play(20.0, -70.0f, -55.0f);
    ck_assert_float_eq(play(100.0, -30.0f, -60.0f).doubt, 1.0f);
    ck_assert_float_eq_tol(play(100.0, -65.0f, -35.0f).doubt, 0.8f, 1e-3f);
    ck_assert_float_eq_tol(play(100.0, -30.0f, -60.0f).doubt, 0.8f, 1e-3f);
    ck_assert_float_eq(play(420.0, -50.0f, -20.0f).doubt, 0.0f);
}
END_TEST

START_TEST(what_only_reaches_into_the_band_is_no_sibilant) {
    const float shares[] = {0.2f, 0.3f};
    for (int k = 0; k < 2; k++) {
        fresh();
        sing_a_vowel(0.0);
        for (int i = 0; i < 200; i++)
            largest = sibilance_step(&s, 1e-3f * shares[k], 1e-6f, 1e-3f).lasting_db;
        ck_assert(sibilance_in_vowel(largest) == (k == 0));
    }
}
END_TEST

START_TEST(hotter_by_10_db_reads_10_db_more) {
    fresh();
    sing_a_vowel(0.0);
    float plain = play(100.0, -31.0f, -60.0f).lasting_db;
    play(300.0, -50.0f, -20.0f);
    ck_assert_float_eq_tol(play(100.0, -21.0f, -60.0f).lasting_db - plain, 10.0f, 1e-4f);
}
END_TEST

START_TEST(no_level_is_absolute) {
    const double offsets_db[] = {-40.0, -20.0, 12.0};
    fresh();
    sing_a_vowel(0.0);
    float plain = play(100.0, -26.0f, -60.0f).lasting_db;
    for (int i = 0; i < 3; i++) {
        fresh();
        sing_a_vowel(offsets_db[i]);
        float db = (float)offsets_db[i];
        ck_assert_float_eq_tol(play(100.0, db - 26.0f, db - 60.0f).lasting_db, plain, 1e-4f);
    }
}
END_TEST

START_TEST(a_vowel_is_none_however_bright) {
    fresh();
    sing_a_vowel(0.0);
    largest = SIBILANCE_VOWEL_DB;
    play(500.0, -20.5f, -20.0f);
    ck_assert_float_eq(largest, SIBILANCE_VOWEL_DB);
    ck_assert(sibilance_in_vowel(largest));
    /* Louder than the memory of vowels, it is its own measure. */
    ck_assert_float_eq_tol(play(2.0, -15.0f, 0.0f).ratio_db, -15.0f, 1e-4f);
}
END_TEST

START_TEST(clicks_and_bursts_are_held_down_and_the_shortest_sibilant_is_not) {
    /* 5 and 15 ms of hiss in a vowel, 20 ms behind a closure; then 30 ms, of which the detector's
     * window would make some 34. */
    fresh();
    sing_a_vowel(0.0);
    largest = SIBILANCE_VOWEL_DB;
    play(5.0, -15.0f, -25.0f);
    play(200.0, -50.0f, -20.0f);
    play(15.0, -15.0f, -25.0f);
    play(200.0, -50.0f, -20.0f);
    ck_assert(sibilance_in_vowel(largest));
    play(60.0, -80.0f, -70.0f);
    play(15.0, -15.0f, -45.0f);
    play(200.0, -50.0f, -20.0f);
    ck_assert_float_lt(largest, -50.0f);
    play(30.0, -28.0f, -60.0f);
    play(200.0, -50.0f, -20.0f);
    ck_assert_float_eq_tol(largest, -8.0f, 1e-4f);
}
END_TEST

START_TEST(before_any_voice_there_is_no_sibilance) {
    fresh();
    play(500.0, -75.0f, -60.0f); /* room */
    play(200.0, -30.0f, -50.0f); /* the take begins with /s/ */
    ck_assert_float_le(largest, SIBILANCE_NONE_DB);
    play(500.0, -300.0f, -300.0f);
    ck_assert_float_le(largest, SIBILANCE_NONE_DB);
}
END_TEST

START_TEST(it_comes_as_late_as_it_says) {
    fresh();
    sing_a_vowel(0.0);
    size_t late = 0;
    while (sibilance_in_vowel(play(0.5, -25.0f, -60.0f).lasting_db))
        late++;
    ck_assert_uint_eq(late, sibilance_latency(&s));
}
END_TEST

START_TEST(what_is_out_of_sight_is_added) {
    fresh();
    sing_a_vowel(0.0);
    sibilance_set(&s, -13.5f, 4.0f);
    ck_assert_float_eq_tol(play(100.0, -31.0f, -60.0f).lasting_db, -7.0f, 1e-4f);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("sibilance");
    tcase_add_test(tcase, an_s_reads_its_level_over_the_vowel_that_was);
    tcase_add_test(tcase, half_a_second_of_vowel_ends_the_doubt);
    tcase_add_test(tcase, what_only_reaches_into_the_band_is_no_sibilant);
    tcase_add_test(tcase, hotter_by_10_db_reads_10_db_more);
    tcase_add_test(tcase, no_level_is_absolute);
    tcase_add_test(tcase, a_vowel_is_none_however_bright);
    tcase_add_test(tcase, clicks_and_bursts_are_held_down_and_the_shortest_sibilant_is_not);
    tcase_add_test(tcase, before_any_voice_there_is_no_sibilance);
    tcase_add_test(tcase, it_comes_as_late_as_it_says);
    tcase_add_test(tcase, what_is_out_of_sight_is_added);
    return run_tcase(tcase, "sibilance");
}
