/* SPDX-License-Identifier: ISC */
#include "run_tcase.h"
#include "signals.h"
#include "voice/room_watch.h"

#include <check.h>
#include <math.h>
#include <stdio.h>

enum { RATE = 48000, LENGTH = 8 * RATE };
static float audio[LENGTH], part[2 * RATE];
static RoomWatch watch;
static size_t quiet[LENGTH], low[LENGTH]; /* as told after each frame */
static bool periodic[LENGTH];

/* Room at -65 dBFS, a vowel from 2 to 4 s. */
static void make(unsigned long long seed) {
    Random random = random_seeded(seed);
    printf("seed %llu\n", seed);
    signals_noise(audio, LENGTH, 5.6e-4, &random);
    signals_harmonics(part, (size_t)2 * RATE, RATE, 190.0, 5000.0, -9.0, 0.1);
    signals_fade_ends(part, (size_t)2 * RATE, RATE / 50);
    signals_add(audio + (size_t)2 * RATE, part, (size_t)2 * RATE);
}

static void play(void) {
    room_watch_prepare(&watch, RATE);
    for (size_t i = 0; i < LENGTH; i++) {
        const float *in = audio + i;
        room_watch_hear(&watch, &in, 1, 0, 1);
        quiet[i] = room_watch_quiet(&watch);
        low[i] = room_watch_low_quiet(&watch);
        periodic[i] = room_watch_periodic(&watch);
    }
}

static size_t at(double seconds) {
    return (size_t)(seconds * RATE);
}

/* A stretch told as room lies in room: it ends `late` before now at most, and is no longer than the
 * room has lasted till then. The vowel's fades are under the room for 1 ms; hops are 5 ms. */
START_TEST(no_stretch_told_reaches_into_the_voice) {
    make(91);
    play();
    size_t late = room_watch_late(&watch), heard = room_watch_heard(&watch), hop = 300;
    for (size_t i = 0; i < LENGTH; i++) {
        size_t start = i > late + quiet[i] ? i - late - quiet[i] : 0;
        size_t low_start = i > heard + low[i] ? i - heard - low[i] : 0;
        if (i >= at(2.0) + late + 2 * hop) {
            ck_assert(quiet[i] == 0 || start + 4 * hop >= at(4.0));
            ck_assert(low[i] == 0 || low_start + 4 * hop >= at(4.0));
        }
    }
}
END_TEST

START_TEST(a_gap_is_told_in_full) {
    make(92);
    play();
    ck_assert_uint_ge(quiet[at(2.0)], at(1.0));
    ck_assert_uint_ge(quiet[LENGTH - 1], at(1.0));
    ck_assert_uint_ge(low[LENGTH - 1], at(1.0));
}
END_TEST

START_TEST(a_voice_is_told_as_periodic_and_the_room_is_not) {
    make(93);
    play();
    size_t room = 0, voice = 0;
    for (size_t i = at(0.5); i < at(1.9); i++)
        room += periodic[i];
    for (size_t i = at(2.2); i < at(3.9); i++)
        voice += periodic[i];
    ck_assert_uint_eq(room, 0);
    ck_assert_uint_eq(voice, at(3.9) - at(2.2));
}
END_TEST

/* For how long it was calm in 3 to 4 s, the room alone but for 20 ms of it raised by `db`, s. */
static double calm_for(double db) {
    double sum = 0.0;
    signals_noise(audio, LENGTH, 5.6e-4, &(Random){94});
    signals_scale(audio + at(3.5), at(0.02), pow(10.0, db / 20.0));
    room_watch_prepare(&watch, RATE);
    for (size_t i = 0; i < at(4.0); i++) {
        const float *in = audio + i;
        room_watch_hear(&watch, &in, 1, 0, 1);
        sum += i < at(3.0) ? 0.0 : (double)room_watch_low_calm(&watch);
    }
    return sum / RATE;
}

/* Noise that swells by 0.5 dB more costs little more calm: under half of the 64 ms that a hop
 * counted whole or not at all would cost, once it is a moment of its own. At its loudest it costs
 * the 64 ms of calm that must pass, 80 at most, and the 41 ms for which it is in the smoothed
 * powers. */
START_TEST(calm_is_lost_by_degrees) {
    double before = calm_for(0.0), whole = before;
    ck_assert_double_ge(whole, 0.98);
    for (int i = 1; i <= 40; i++) {
        double now = calm_for(0.5 * i);
        ck_assert_double_le(fabs(now - before), 0.032);
        before = now;
    }
    ck_assert_double_ge(whole - before, 0.064);
    ck_assert_double_le(whole - before, 0.121);
}
END_TEST

START_TEST(silence_is_no_room) {
    signals_silence(audio, LENGTH);
    play();
    for (size_t i = 0; i < LENGTH; i++)
        ck_assert(quiet[i] == 0 && low[i] == 0);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("room_watch");
    tcase_add_test(tcase, no_stretch_told_reaches_into_the_voice);
    tcase_add_test(tcase, a_gap_is_told_in_full);
    tcase_add_test(tcase, a_voice_is_told_as_periodic_and_the_room_is_not);
    tcase_add_test(tcase, calm_is_lost_by_degrees);
    tcase_add_test(tcase, silence_is_no_room);
    tcase_set_timeout(tcase, 60);
    return run_tcase(tcase, "room_watch");
}
