/* SPDX-License-Identifier: ISC */
#include "run_tcase.h"
#include "signals.h"
#include "sound/noise_profile.h"

#include <check.h>
#include <math.h>
#include <stdio.h>

enum { MEMORY = 1 << 16, BINS = 64, BEHIND = 5 };
static const double HOPS = 100.0; /* a second */
static unsigned char memory[MEMORY];
static NoiseProfile profile;

static void prepare(void) {
    Arena arena = arena_over(memory, MEMORY);
    ck_assert(noise_profile_prepare(&profile, BINS, HOPS, BEHIND, &arena));
}

/* One hop with every bin at `power`, or of a chi-squared distribution with that mean. */
static void hop(double power, bool room, Random *random) {
    noise_profile_begin(&profile, room);
    for (size_t k = 0; k < BINS; k++) {
        double chance = random ? -log(1.0 - random_unit(random)) : 1.0;
        noise_profile_now(&profile)[k] = (float)(power * chance);
    }
    noise_profile_run(&profile, 0, 10);
    noise_profile_run(&profile, 10, BINS - 10);
}

static void hops(size_t n, double power, bool room) {
    for (size_t i = 0; i < n; i++)
        hop(power, room, NULL);
}

START_TEST(nothing_is_learned_of_what_is_not_room) {
    prepare();
    hops(BEHIND, 2.0, false);
    hops(50, 2.0, true);
    float before = profile.mean[3];
    hops(3000, 1000.0, false);
    ck_assert(before == profile.mean[3]);
    ck_assert(fabs((double)before - 2.0) < 1e-5);
}
END_TEST

/* The spectrum that is learned is that of BEHIND hops ago, none later. */
START_TEST(it_learns_what_was_heard_so_many_hops_before) {
    prepare();
    for (size_t i = 0; i < 20; i++)
        hop((double)i, i == 19, NULL);
    ck_assert((double)profile.mean[0] == 19.0 - BEHIND);
}
END_TEST

/* 60 frames: 4.3 / root 60 dB is one deviation of a bin, 0.56 dB; of 64 bins' mean an eighth. */
START_TEST(the_mean_of_chance_is_the_noise) {
    Random random = random_seeded(71);
    printf("seed 71\n");
    prepare();
    for (size_t i = 0; i < 60 + BEHIND; i++)
        hop(3.0, i >= BEHIND, &random);
    double sum = 0.0;
    for (size_t k = 0; k < BINS; k++) {
        sum += (double)profile.mean[k];
        ck_assert(fabs(10.0 * log10((double)profile.mean[k] / 3.0)) < 5.0 * 0.56);
    }
    ck_assert(fabs(10.0 * log10(sum / BINS / 3.0)) < 4.0 * 0.56 / 8.0);
}
END_TEST

START_TEST(it_is_used_once_enough_was_heard_and_by_degrees) {
    prepare();
    hops(29, 1.0, true);
    ck_assert(noise_profile_share(&profile) == 0.0f);
    float last = 0.0f;
    for (int i = 0; i < 25; i++) {
        hop(1.0, i == 0, NULL);
        float share = noise_profile_share(&profile);
        ck_assert(share - last <= 0.0501f); /* 0.2 s, 20 hops, from nothing to all */
        last = share;
    }
    ck_assert(last == 1.0f);
}
END_TEST

/* After T seconds of a new level the old is left by exp(-T / 1 s). */
START_TEST(a_room_that_changes_is_learned_anew) {
    prepare();
    hops(200, 1.0, true);
    hops(100 + BEHIND, 4.0, true);
    ck_assert(fabs((double)profile.mean[0] - (4.0 - 3.0 * exp(-1.0))) < 0.05);
}
END_TEST

/* What was taken for room at the start, 20 dB over it: after 0.15 s of the room it is forgotten,
 * where the mean would need 3 s to come within 6 dB. */
START_TEST(a_quieter_room_refutes_what_was_learned) {
    prepare();
    hops(60, 100.0, true);
    hops(17 + BEHIND, 1.0, true);
    ck_assert(noise_profile_share(&profile) < 1.0f);
    hops(10, 1.0, true);
    ck_assert(fabs((double)profile.mean[0] - 1.0) < 1e-3);
    hops(60, 1.0, true);
    ck_assert(noise_profile_share(&profile) == 1.0f);
}
END_TEST

START_TEST(a_reset_forgets) {
    prepare();
    hops(100, 5.0, true);
    noise_profile_reset(&profile);
    ck_assert(profile.mean[0] == 0.0f && noise_profile_share(&profile) == 0.0f);
}
END_TEST

START_TEST(memory_is_asked_for_before_it_is_used) {
    Arena arena = arena_over(memory, 64);
    ck_assert(!noise_profile_prepare(&profile, BINS, HOPS, BEHIND, &arena));
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("noise_profile");
    tcase_add_test(tcase, nothing_is_learned_of_what_is_not_room);
    tcase_add_test(tcase, it_learns_what_was_heard_so_many_hops_before);
    tcase_add_test(tcase, the_mean_of_chance_is_the_noise);
    tcase_add_test(tcase, it_is_used_once_enough_was_heard_and_by_degrees);
    tcase_add_test(tcase, a_room_that_changes_is_learned_anew);
    tcase_add_test(tcase, a_quieter_room_refutes_what_was_learned);
    tcase_add_test(tcase, a_reset_forgets);
    tcase_add_test(tcase, memory_is_asked_for_before_it_is_used);
    tcase_set_timeout(tcase, 60);
    return run_tcase(tcase, "noise_profile");
}
