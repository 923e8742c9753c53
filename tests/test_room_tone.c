/* SPDX-License-Identifier: ISC */
#include "run_tcase.h"
#include "signals.h"
#include "voice/room_tone.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const double RATE_HZ = 48000.0, HOPS = 187.5; /* a second */
static RoomTone memory;
static Random chance;
static bool plain; /* room tone is taken for the room */

/* Spectra, dB re the level, from 359 Hz up: a room that falls by 3 dB an octave, and a breath. */
static const float ROOM[OCTAVE_BANK_BANDS] = {0, -3, -6, -9, -12, -15, -18};
static const float BREATH[OCTAVE_BANK_BANDS] = {-20, -6, -2, -4, -9, -14, -25};

static void begin(uint64_t seed) {
    chance = random_seeded(seed);
    plain = true;
    printf("seed %d\n", (int)seed);
    room_tone_prepare(&memory, RATE_HZ, HOPS);
}

/* Noise of that level and spectrum. What an octave strays by in a hop is taken to be Gaussian. */
static void hear(double seconds, const float *spectrum, float level_db) {
    static const double STRAY_DB[OCTAVE_BANK_BANDS] = {2.0, 1.6, 1.1, 0.8, 0.6, 0.4, 0.3};
    for (int k = 0; k < (int)lround(seconds * HOPS); k++) {
        VoiceFrame frame = {.periodicity = 0.1f, .whole = true};
        for (int b = 0; b < OCTAVE_BANK_BANDS; b++) {
            double db = (double)(level_db + spectrum[b]) + STRAY_DB[b] * random_normal(&chance);
            frame.power[b] = (float)pow(10.0, db / 10.0);
        }
        room_tone_step(&memory, &frame, level_db + 0.3f * (float)random_normal(&chance), false,
                       spectrum == ROOM && plain);
    }
}

static void sing(double seconds) {
    VoiceFrame frame = {.periodicity = 0.9f, .whole = true};
    for (int b = 0; b < OCTAVE_BANK_BANDS; b++)
        frame.power[b] = 0.01f;
    for (int k = 0; k < (int)lround(seconds * HOPS); k++)
        room_tone_step(&memory, &frame, -20.0f, true, false);
}

static bool knows(float *db) {
    RoomLevels levels = {.all_db = NAN};
    bool known = room_tone_get(&memory, &levels) > 0.0f;
    *db = levels.all_db;
    return known;
}

/* Votes and means are of many hops, so that no stray of one moves them by a dB. */
static void ck_assert_room(float level_db) {
    float db;
    ck_assert(knows(&db));
    ck_assert_float_eq_tol(db, level_db, 1.0f);
}

START_TEST(what_is_taken_for_the_room_is_known_soon) {
    /* The first hop has no mean to be like; those count that end six alike, the first of them after
     * 27 ms. Of the rest a stray hop takes some. */
    begin(901);
    float db;
    hear(0.07, ROOM, -60.0f);
    ck_assert(!knows(&db));
    hear(0.06, ROOM, -60.0f);
    ck_assert_room(-60.0f);
}
END_TEST

START_TEST(what_is_not_is_known_after_four_occasions) {
    begin(912);
    plain = false;
    float db;
    for (int k = 0; k < 3; k++) {
        hear(2.0, ROOM, -60.0f);
        sing(1.0);
        ck_assert(!knows(&db));
    }
    hear(0.1, ROOM, -60.0f);
    ck_assert_room(-60.0f);
}
END_TEST

/* Gaps with breaths turned down by depth_db, and what is left of the room around them; returns in
 * how many of the `gaps` after the first the room is known for what it is at their end. */
static int known_after_holes(int gaps, float depth_db) {
    int known = 0;
    for (int k = 0; k <= gaps; k++) {
        hear(0.5, ROOM, -60.0f);
        hear(0.06, ROOM, -60.0f - depth_db);
        hear(0.4, BREATH, (float)random_range(&chance, -46.0, -34.0) - depth_db);
        hear(0.06, ROOM, -60.0f - depth_db);
        sing(2.0);
        float db;
        known += k > 0 && knows(&db) && fabsf(db + 60.0f) < 1.0f;
    }
    return known;
}

START_TEST(holes_in_the_room_change_nothing) {
    /* Two breaths that happen to be alike, and alone at the start, may be taken for it once. */
    begin(902);
    ck_assert_int_ge(known_after_holes(40, 12.0f), 39);
}
END_TEST

START_TEST(breaths_far_under_the_room_seldom_hide_it) {
    /* Now some breaths are under the room, and what is quieter has a vote. Those that happen to be
     * alike may win for a while, which is as if nothing were remembered. Over thirty seeds 33 to 40
     * were known; asked for is half. */
    begin(911);
    ck_assert_int_ge(known_after_holes(40, 24.0f), 20);
}
END_TEST

START_TEST(breaths_are_not_the_room_however_many) {
    /* One in every gap, with less of the room than of it. No two are alike to 2 dB for long: those
     * of one singer differ by 12 dB and more (common practice). */
    begin(903);
    for (int k = 0; k < 40; k++) {
        hear(0.2, ROOM, -70.0f);
        hear(0.5, BREATH, (float)random_range(&chance, -52.0, -40.0));
        sing(2.0);
        hear(0.15, ROOM, -70.0f);
        sing(1.0);
        if (k > 0)
            ck_assert_room(-70.0f);
    }
}
END_TEST

START_TEST(a_long_breath_at_the_start_is_not_the_room) {
    begin(904);
    hear(0.8, BREATH, -40.0f);
    for (int k = 0; k < 3; k++) {
        sing(1.5);
        hear(0.2, ROOM, -70.0f);
    }
    ck_assert_room(-70.0f);
}
END_TEST

START_TEST(a_room_that_changes_for_good_is_learnt_either_way) {
    /* All votes of the old one are 8 occasions of 0.25 s, three a hop, of which each hop of the new
     * one takes one and gives itself three: even after 1.5 s. */
    const float to_db[] = {-75.0f, -50.0f};
    for (int way = 0; way < 2; way++) {
        begin(905);
        for (int k = 0; k < 12; k++) {
            hear(1.0, ROOM, -60.0f);
            sing(1.0);
        }
        ck_assert_room(-60.0f);
        for (int k = 0; k < 8; k++) {
            hear(0.25, ROOM, to_db[way]);
            sing(1.0);
        }
        ck_assert_room(to_db[way]);
    }
}
END_TEST

START_TEST(what_swells_slowly_drags_nothing_along) {
    begin(906);
    for (int k = 0; k < 10; k++) {
        hear(0.5, ROOM, -60.0f);
        for (int step = 0; step < 20; step++)
            hear(0.03, ROOM, -60.0f + 0.5f * (float)step);
        sing(1.0);
    }
    ck_assert_room(-60.0f);
}
END_TEST

START_TEST(a_gain_before_it_is_added_to_the_room) {
    float louder, quieter;
    for (int k = 0; k < 2; k++) {
        begin(907);
        float gain_db = k == 0 ? 0.0f : -24.0f;
        for (int gap = 0; gap < 3; gap++) {
            hear(0.4, ROOM, -60.0f + gain_db);
            sing(1.0);
        }
        ck_assert(knows(k == 0 ? &louder : &quieter));
    }
    ck_assert_float_eq_tol(quieter, louder - 24.0f, 1e-3f); /* rounding of floats near -80 */
}
END_TEST

START_TEST(hops_that_are_not_whole_say_nothing) {
    begin(908);
    VoiceFrame cut = {.periodicity = 0.0f, .whole = false};
    float db;
    for (int k = 0; k < 1000; k++) {
        room_tone_step(&memory, &cut, -300.0f, false, false);
        if (k % 100 == 0)
            sing(0.1);
    }
    ck_assert(!knows(&db));
}
END_TEST

START_TEST(nothing_is_remembered_where_too_few_octaves_are_whole) {
    /* The fourth octave from 359 Hz ends at 5744 Hz. */
    const double rates[] = {8000.0, 11025.0, 11488.0, 16000.0, 192000.0};
    for (int r = 0; r < 5; r++) {
        begin(909);
        room_tone_prepare(&memory, rates[r], HOPS);
        float db;
        for (int k = 0; k < 4; k++) {
            hear(0.5, ROOM, -60.0f);
            sing(1.0);
        }
        ck_assert_int_eq(knows(&db), rates[r] >= 11488.0);
    }
}
END_TEST

START_TEST(after_a_reset_it_is_as_new) {
    begin(910);
    for (int k = 0; k < 4; k++) {
        hear(0.5, ROOM, -60.0f);
        sing(1.0);
    }
    RoomTone fresh;
    memset(&fresh, 0, sizeof fresh);
    room_tone_prepare(&fresh, RATE_HZ, HOPS);
    room_tone_reset(&memory);
    ck_assert_mem_eq(&memory.state, &fresh.state, sizeof fresh.state);
}
END_TEST

/* A take of 20 words of 0.4 s, silent here, and after each 0.9 s of white noise that is faded by 20
 * dB a second, as by hand; heard in hops that begin `later` frames later. Writes what the room is
 * taken for after each ms, -150 where nothing is known. */
enum { TAKE_MS = 20 * 1300 };

static void hear_faded(size_t later, uint64_t seed, float *room_db) {
    static VoiceSense sense;
    voice_sense_prepare(&sense, RATE_HZ);
    room_tone_prepare(&memory, RATE_HZ, RATE_HZ / (double)sense.hop);
    Random noise = random_seeded(seed);
    size_t ms = (size_t)RATE_HZ / 1000, filled = 0, group = sense.bank.group;
    float audio[OCTAVE_BANK_MAX_GROUP] = {0.0f};
    for (size_t i = 0; i < later + TAKE_MS * ms; i++) {
        size_t t = i < later ? 0 : i - later, since = t / ms % 1300;
        double fade = since < 400 ? 0.1 : 0.01 * pow(10.0, -((double)since - 400.0) / 1000.0);
        audio[filled++] = i < later ? 0.0f : (float)(fade * random_normal(&noise));
        VoiceFrame frame;
        if (filled == group) {
            filled = 0;
            if (voice_sense_group(&sense, audio, &frame)) {
                float power = 0.0f;
                for (int b = 1; b < OCTAVE_BANK_BANDS; b++)
                    power += frame.power[b];
                room_tone_step(&memory, &frame, 10.0f * log10f(power), since < 410, false);
            }
        }
        RoomLevels levels = {.all_db = -150.0f};
        float share = room_tone_get(&memory, &levels);
        room_db[t / ms] = -150.0f + share * (levels.all_db + 150.0f);
    }
}

START_TEST(where_a_hop_begins_decides_nothing) {
    /* Asked for is that it comes out within 1 dB (as of a place of 100 ms in make quality) in all
     * but 1 % of the time: what becomes known at all may do so some hops apart. */
    static float one_db[TAKE_MS], other_db[TAKE_MS];
    static const size_t later[] = {37, 101, 229};
    for (uint64_t seed = 920; seed < 924; seed++) {
        hear_faded(0, seed, one_db);
        for (int k = 0; k < 3; k++) {
            int apart = 0;
            hear_faded(later[k], seed, other_db);
            for (int t = 0; t < TAKE_MS; t++)
                apart += fabsf(one_db[t] - other_db[t]) > 1.0f;
            printf("seed %d, %d frames later: %d of %d ms apart\n", (int)seed, (int)later[k], apart,
                   TAKE_MS);
            ck_assert_int_le(apart, TAKE_MS / 100);
        }
    }
}
END_TEST

START_TEST(a_voice_that_flickers_makes_no_occasions) {
    /* Hum under noise is told as sung for a hop now and then. One long stretch stays one
     * occasion. */
    begin(913);
    plain = false;
    float db;
    for (int k = 0; k < 40; k++) {
        hear(0.1, ROOM, -60.0f);
        sing(0.02);
    }
    ck_assert(!knows(&db));
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("room_tone");
    tcase_add_test(tcase, what_is_taken_for_the_room_is_known_soon);
    tcase_add_test(tcase, what_is_not_is_known_after_four_occasions);
    tcase_add_test(tcase, a_voice_that_flickers_makes_no_occasions);
    tcase_add_test(tcase, where_a_hop_begins_decides_nothing);
    tcase_add_test(tcase, holes_in_the_room_change_nothing);
    tcase_add_test(tcase, breaths_far_under_the_room_seldom_hide_it);
    tcase_add_test(tcase, breaths_are_not_the_room_however_many);
    tcase_add_test(tcase, a_long_breath_at_the_start_is_not_the_room);
    tcase_add_test(tcase, a_room_that_changes_for_good_is_learnt_either_way);
    tcase_add_test(tcase, what_swells_slowly_drags_nothing_along);
    tcase_add_test(tcase, a_gain_before_it_is_added_to_the_room);
    tcase_add_test(tcase, hops_that_are_not_whole_say_nothing);
    tcase_add_test(tcase, nothing_is_remembered_where_too_few_octaves_are_whole);
    tcase_add_test(tcase, after_a_reset_it_is_as_new);
    return run_tcase(tcase, "room_tone");
}
