/* SPDX-License-Identifier: ISC */
#include "basic/maths.h"
#include "run_tcase.h"
#include "signals.h"
#include "voice/pitch_floor.h"

#include <check.h>
#include <math.h>
#include <stdlib.h>

static unsigned char memory[1 << 16];

static PitchFloor prepared(void) {
    PitchFloor lowest;
    Arena arena = arena_over(memory, sizeof memory);
    ck_assert(pitch_floor_prepare(&lowest, 5.0, &arena));
    return lowest;
}

static float sing(PitchFloor *lowest, double hz, double seconds, float aperiodicity, float power) {
    PitchReading reading = {.hz = (float)hz, .aperiodicity = aperiodicity, .power = power};
    float at = 0.0f;
    for (int i = 0; i < (int)lrint(seconds * 200.0); i++)
        at = pitch_floor_step(lowest, &reading);
    return at;
}

/* Within a quarter of a bin, 6 cents, and what the floor stays behind: 35 cents above, 9 below. */
static void check_hz(float hz, double expected) {
    double cents = 1200.0 * log2((double)hz / expected);
    ck_assert_double_le(cents, 41.0);
    ck_assert_double_ge(cents, -15.0);
}

START_TEST(it_is_the_lowest_note_of_the_last_breath) {
    PitchFloor lowest = prepared();
    check_hz(sing(&lowest, 300.0, 1.0, 0.01f, 0.01f), 300.0);
    /* The first four readings of a note do not count, and then 75 to 225 ms are waited for. */
    check_hz(sing(&lowest, 200.0, 0.09, 0.01f, 0.01f), 300.0);
    check_hz(sing(&lowest, 200.0, 0.16, 0.01f, 0.01f), 200.0);
    check_hz(sing(&lowest, 300.0, 3.2, 0.01f, 0.01f), 200.0);
    check_hz(sing(&lowest, 300.0, 0.4, 0.01f, 0.01f), 300.0);
}
END_TEST

START_TEST(consonants_and_rests_leave_it_where_it_is) {
    PitchFloor lowest = prepared();
    float floor = sing(&lowest, 250.0, 1.0, 0.01f, 0.01f);
    check_hz(floor, 250.0);
    ck_assert_float_eq(sing(&lowest, 900.0, 60.0, 0.6f, 0.01f), floor);
    ck_assert_float_eq(pitch_floor_voiced_hz(&lowest), 0.0f);
    ck_assert_float_eq(sing(&lowest, 80.0, 60.0, 1.0f, 0.0f), floor);
    ck_assert_float_eq(sing(&lowest, 300.0, 0.5, 0.01f, 0.01f), floor);
    ck_assert_float_eq(pitch_floor_voiced_hz(&lowest), 300.0f);
}
END_TEST

START_TEST(vibrato_moves_it_once_and_then_hardly_any_more) {
    /* 6 Hz, 70 cents either side, with readings off by a normal error of 3 cents. */
    PitchFloor lowest = prepared();
    Random random = random_seeded(101);
    float held = 0.0f;
    for (int i = 0; i < 4000; i++) {
        double cents = 70.0 * sin(2.0 * PI * 6.0 * i / 200.0) + 3.0 * random_normal(&random);
        PitchReading reading = {.hz = 220.0f * exp2f((float)cents / 1200.0f), .power = 0.01f};
        float now = pitch_floor_step(&lowest, &reading);
        if (i == 700)
            held = now;
        /* Far less than the vibrato, 8 %, and than a corner of 24 dB an octave lets hear. */
        if (i > 700)
            ck_assert_float_eq_tol(now, held, 0.002f * held);
    }
    /* The lowest 45 of 700 readings lie within 5 cents of the turn; what it stays behind, 2 %. */
    ck_assert_float_le(held, 1.03f * 220.0f * exp2f(-70.0f / 1200.0f));
}
END_TEST

/* Words as a pitch tracker reads them from `offset` of a hop on: their pitch falls, and towards
 * their end they get weak and flutter about YIN's bound. */
static float speak(PitchFloor *lowest, double offset, int words) {
    float at = 0.0f;
    for (int i = 0; i < 60 * words; i++) {
        double s = ((double)(i % 60) + offset) / 200.0, gone = fmax(0.0, s - 0.12);
        double flutter = gone > 0.0 ? 0.085 + 0.02 * sin(2.0 * PI * 31.0 * s) : 0.03;
        PitchReading reading = {.hz = (float)(230.0 * exp2(-2.0 * gone)),
                                .aperiodicity = s < 0.28 ? (float)flutter : 1.0f,
                                .power = (float)(0.01 * pow(10.0, -10.0 * gone))};
        at = pitch_floor_step(lowest, &reading);
    }
    return at;
}

/* Readings that begin elsewhere in the hop are of the same take. A filter of 24 dB an octave lets 1
 * dB more of a rumble through where its corner differs by 2.9 %. After a word or two the floor is
 * on its way up, by 2 % with each reading. */
START_TEST(where_hops_fall_moves_it_little) {
    for (int words = 3; words <= 12; words++) {
        float least = INFINITY, most = 0.0f;
        for (int k = 0; k < 16; k++) {
            PitchFloor lowest = prepared();
            float floor = speak(&lowest, k / 16.0, words);
            least = fminf(least, floor);
            most = fmaxf(most, floor);
        }
        ck_assert_msg(most < 1.02f * least, "%d words: %.1f to %.1f Hz", words, (double)least,
                      (double)most);
    }
}
END_TEST

START_TEST(a_deep_fall_is_believed_when_it_has_lasted) {
    PitchFloor lowest = prepared();
    float floor = sing(&lowest, 300.0, 1.0, 0.01f, 0.01f);
    for (int i = 0; i < 50; i++) { /* of 3.5 s, 0.12 to 0.18 s are an octave low */
        ck_assert_float_eq(sing(&lowest, 150.0, 0.08, 0.01f, 0.01f), floor);
        ck_assert_float_eq(sing(&lowest, 300.0, 1.2, 0.01f, 0.01f), floor);
    }
    sing(&lowest, 300.0, 4.0, 0.01f, 0.01f);
    /* 20 ms, and three quarters of PITCH_FLOOR_DEEP_S; then all of its five quarters. */
    ck_assert_float_eq(sing(&lowest, 150.0, 0.39, 0.01f, 0.01f), floor);
    check_hz(sing(&lowest, 150.0, 0.3, 0.01f, 0.01f), 150.0);
}
END_TEST

/* Nor do they hide a fall that is not deep. */
START_TEST(errors_an_octave_low_do_not_count_towards_a_lesser_fall) {
    PitchFloor lowest = prepared();
    float floor = sing(&lowest, 300.0, 1.0, 0.01f, 0.01f);
    ck_assert_float_eq(sing(&lowest, 150.0, 0.15, 0.01f, 0.01f), floor);
    ck_assert_float_eq(sing(&lowest, 220.0, 0.09, 0.01f, 0.01f), floor);
    check_hz(sing(&lowest, 220.0, 0.16, 0.01f, 0.01f), 220.0);
}
END_TEST

/* One reading more or less moves the floor of two notes by 1/30 of what they are apart. */
START_TEST(a_reading_more_or_less_moves_it_little) {
    for (int more = 0; more < 40; more++) {
        float one = 0.0f;
        for (int k = 0; k < 2; k++) {
            PitchFloor lowest = prepared();
            sing(&lowest, 300.0, 2.0, 0.01f, 0.01f);
            float floor = sing(&lowest, 200.0, 0.1 + 0.005 * (more + k), 0.01f, 0.01f);
            ck_assert(k == 0 || fabs(12.0 * log2((double)(floor / one))) < 7.02 / 30.0 + 0.01);
            one = floor;
        }
    }
}
END_TEST

START_TEST(hum_under_the_voice_is_not_a_note) {
    /* At any gain: 40 dB under it, for 5 s of rest. The gate is at 30 dB and opens by 1 dB a
     * second. */
    for (int gain_step = 0; gain_step < 5; gain_step++) {
        double gain = 1e-6 * pow(100.0, gain_step);
        PitchFloor lowest = prepared();
        float loud = (float)(0.01 * gain), hum = (float)(1e-6 * gain);
        sing(&lowest, 220.0, 1.0, 0.01f, loud);
        check_hz(sing(&lowest, 100.0, 5.0, 0.001f, hum), 220.0);
        /* A quiet singer, 20 dB under it, is heard at once. */
        check_hz(sing(&lowest, 150.0, 0.25, 0.01f, 100.0f * hum), 150.0);
    }
}
END_TEST

START_TEST(nothing_is_known_at_first_and_after_a_reset) {
    PitchFloor lowest = prepared();
    ck_assert_float_eq(sing(&lowest, 220.0, 1.0, 0.9f, 0.01f), 0.0f);
    sing(&lowest, 220.0, 1.0, 0.01f, 0.01f);
    pitch_floor_reset(&lowest);
    ck_assert_float_eq(sing(&lowest, 0.0, 0.1, 1.0f, 0.0f), 0.0f);
    float rising = sing(&lowest, 330.0, 0.1, 0.01f, 1e-6f); /* 16 of 30 readings */
    ck_assert_float_gt(rising, 50.0f);
    ck_assert_float_lt(rising, 200.0f);
    check_hz(sing(&lowest, 330.0, 0.1, 0.01f, 1e-6f), 330.0);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("pitch_floor");
    tcase_add_test(tcase, it_is_the_lowest_note_of_the_last_breath);
    tcase_add_test(tcase, consonants_and_rests_leave_it_where_it_is);
    tcase_add_test(tcase, vibrato_moves_it_once_and_then_hardly_any_more);
    tcase_add_test(tcase, where_hops_fall_moves_it_little);
    tcase_add_test(tcase, a_deep_fall_is_believed_when_it_has_lasted);
    tcase_add_test(tcase, a_reading_more_or_less_moves_it_little);
    tcase_add_test(tcase, errors_an_octave_low_do_not_count_towards_a_lesser_fall);
    tcase_add_test(tcase, hum_under_the_voice_is_not_a_note);
    tcase_add_test(tcase, nothing_is_known_at_first_and_after_a_reset);
    return run_tcase(tcase, "pitch_floor");
}
