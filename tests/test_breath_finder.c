/* SPDX-License-Identifier: ISC */
#include "detect/breath_finder.h"
#include "run_tcase.h"
#include "signals.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const double HOPS_PER_S = 187.5;
enum { HOPS = 1600 };
static Scene scene;
static BreathFinder finder;
static BreathFinderParams params;
static bool down[HOPS];
static bool brief; /* the sound lasts 0.3 s instead of 0.5 s */

/* Octaves from below 359 Hz to above 11.5 kHz in dB: a quiet room, a vowel, an inhalation (even
 * over the octaves to 3 kHz, falling above) and /s/, as their sources describe them: see
 * scene_class.h. */
static const double ROOM[] = {-62, -72, -76, -78, -80, -80, -78};
static const double VOWEL[] = {-20, -22, -28, -32, -40, -55, -70};
static const double AIR[] = {-62, -56, -52, -50, -55, -66, -75};
static const double HISS[] = {-62, -66, -60, -50, -42, -32, -36};

/* Room for 1.5 s, a vowel until 3 s, room until 4 s, `sound` until 4.5 s, room until 5 s, a vowel
 * until 6.5 s, room. Every band flutters by 1.5 dB. */
static void listen(const double *sound, double gain_db, uint64_t seed) {
    Random random = random_seeded(seed);
    size_t delay = breath_finder_delay(&finder, &params);
    memset(down, 0, sizeof down);
    for (size_t t = 0; t < HOPS; t++) {
        double s = (double)t / HOPS_PER_S;
        bool sung = (s >= 1.5 && s < 3.0) || (s >= 5.0 && s < 6.5);
        const double *db = sung ? VOWEL : s >= 4.0 && s < (brief ? 4.3 : 4.5) ? sound : ROOM;
        VoiceFrame frame = {.periodicity = sung ? 0.95f : 0.2f, .whole = true};
        for (int b = 0; b < OCTAVE_BANK_BANDS; b++)
            frame.power[b] =
                (float)pow(10.0, 0.1 * (db[b] + gain_db + 1.5 * random_normal(&random)));
        SceneMoment moment;
        scene_step(&scene, &frame, &moment);
        bool now = breath_finder_step(&finder, &moment);
        if (t >= delay)
            down[t - delay] = now;
        else
            ck_assert(!now);
    }
}

static void prepare(float shortest_ms, float sensitivity_db) {
    params = (BreathFinderParams){
        .scene = {.sensitivity_db = sensitivity_db, .shortest_breath_ms = shortest_ms},
        .clear_ms = 20.0f};
    scene_prepare(&scene, 48000.0, HOPS_PER_S);
    scene_set(&scene, &params.scene);
    breath_finder_prepare(&finder, HOPS_PER_S);
    breath_finder_set(&finder, &params);
}

static size_t hops_down(void) {
    size_t count = 0;
    for (size_t t = 0; t < HOPS; t++)
        count += down[t];
    return count;
}

START_TEST(a_breath_is_found_where_it_is_and_nowhere_else) {
    printf("seeds 211..220\n");
    for (uint64_t seed = 211; seed <= 220; seed++) {
        prepare(100.0f, 0.0f);
        listen(AIR, 0.0, seed);
        for (size_t t = 0; t < HOPS; t++) {
            double s = (double)t / HOPS_PER_S;
            if (s >= 4.01 && s < 4.49)
                ck_assert(down[t]);
            if (s < 3.92 || s >= 4.58) /* reach is at most 80 ms */
                ck_assert(!down[t]);
        }
    }
}
END_TEST

START_TEST(a_sibilant_between_phrases_is_let_be) {
    printf("seeds 221..230\n");
    for (uint64_t seed = 221; seed <= 230; seed++) {
        prepare(100.0f, 0.0f);
        listen(HISS, 0.0, seed);
        ck_assert_uint_eq(hops_down(), 0);
    }
}
END_TEST

START_TEST(gain_in_front_changes_no_decision) {
    printf("seed 231\n");
    static bool expected[HOPS];
    prepare(100.0f, 0.0f);
    listen(AIR, 0.0, 231);
    memcpy(expected, down, sizeof expected);
    ck_assert_uint_gt(hops_down(), 80);
    const double gains[] = {-40.0, 12.0};
    for (int g = 0; g < 2; g++) {
        prepare(100.0f, 0.0f);
        listen(AIR, gains[g], 231);
        ck_assert_int_eq(memcmp(expected, down, sizeof expected), 0);
    }
}
END_TEST

START_TEST(shorter_than_the_shortest_is_let_be) {
    /* Up to a third of the first 500 ms may be room (breath_span): 0.3 s of breath are too few. */
    printf("seed 232\n");
    prepare(400.0f, 0.0f);
    listen(AIR, 0.0, 232);
    ck_assert_uint_gt(hops_down(), 80);
    prepare(500.0f, 0.0f);
    brief = true;
    listen(AIR, 0.0, 232);
    brief = false;
    ck_assert_uint_eq(hops_down(), 0);
}
END_TEST

START_TEST(the_delay_follows_its_params_and_no_others) {
    prepare(100.0f, 0.0f);
    size_t usual = breath_finder_delay(&finder, &params);
    params.scene.sensitivity_db = 12.0f;
    ck_assert_uint_eq(breath_finder_delay(&finder, &params), usual);
    params.scene.shortest_breath_ms = 40.0f;
    ck_assert_uint_le(breath_finder_delay(&finder, &params), usual);
    params.scene.shortest_breath_ms = 300.0f;
    ck_assert_uint_gt(breath_finder_delay(&finder, &params), usual);
    params.scene.shortest_breath_ms = 100.0f;
    params.clear_ms = 100.0f; /* 15 hops more than 20 ms */
    ck_assert_uint_eq(breath_finder_delay(&finder, &params), usual + 15);
}
END_TEST

START_TEST(reset_forgets_everything) {
    printf("seed 233\n");
    static bool first[HOPS];
    prepare(100.0f, 0.0f);
    listen(AIR, 0.0, 233);
    memcpy(first, down, sizeof first);
    scene_reset(&scene);
    breath_finder_reset(&finder);
    listen(AIR, 0.0, 233);
    ck_assert_int_eq(memcmp(first, down, sizeof first), 0);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("breath_finder");
    tcase_add_test(tcase, a_breath_is_found_where_it_is_and_nowhere_else);
    tcase_add_test(tcase, a_sibilant_between_phrases_is_let_be);
    tcase_add_test(tcase, gain_in_front_changes_no_decision);
    tcase_add_test(tcase, shorter_than_the_shortest_is_let_be);
    tcase_add_test(tcase, the_delay_follows_its_params_and_no_others);
    tcase_add_test(tcase, reset_forgets_everything);
    return run_tcase(tcase, "breath_finder");
}
