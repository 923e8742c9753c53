/* SPDX-License-Identifier: ISC */
#include "detect/mains.h"
#include "run_tcase.h"
#include "signals.h"

#include <check.h>
#include <math.h>
#include <stdio.h>

enum { MEMORY = 1 << 18, MOST = 10 * 192000, QUIET = 1 << 30 };
static unsigned char memory[MEMORY];
static float audio[MOST];
static Mains mains;

static void prepare(double rate_hz) {
    Arena arena = arena_over(memory, MEMORY);
    ck_assert(mains_prepare(&mains, rate_hz, (size_t)(0.016 * rate_hz), &arena));
}

/* Room of -70 dBFS and hum at base_hz, harmonics 1, 2, 3, 5 of -60 dBFS each. */
static size_t hum(double rate_hz, double base_hz, double seconds, unsigned long long seed) {
    const int orders[] = {1, 2, 3, 5};
    size_t n = (size_t)(seconds * rate_hz);
    Random random = random_seeded(seed);
    printf("seed %llu\n", seed);
    signals_noise(audio, n, 3e-4, &random);
    for (int i = 0; base_hz > 0.0 && i < 4; i++)
        signals_sine_add(audio, n, rate_hz, base_hz * orders[i], 1.4e-3, 0.9 * i);
    return n;
}

START_TEST(mains_of_either_kind_are_found_and_followed_at_every_rate) {
    const double rates[] = {8000.0, 11025.0, 16000.0, 44100.0, 48000.0, 96000.0, 192000.0};
    const double bases[] = {49.5, 49.9, 50.0, 50.2, 50.5, 59.5, 59.97, 60.0, 60.5};
    for (int r = 0; r < 7; r++)
        for (int b = 0; b < 9; b++) {
            prepare(rates[r]);
            mains_process(&mains, audio, hum(rates[r], bases[b], 4.0, 11), QUIET);
            const MainsSeries *found = mains_found(&mains, 0.0);
            ck_assert_ptr_nonnull(found);
            ck_assert_double_eq_tol(found->hz, bases[b], 0.02);
            for (int k = 0; k < 6; k++)
                ck_assert_int_eq(found->is[k], k != 3 && k != 5);
        }
}
END_TEST

/* Plain hum needs two windows: 1.5 of 0.36 s, and a hop to judge each. */
START_TEST(plain_hum_is_found_in_two_windows) {
    prepare(48000.0);
    size_t n = hum(48000.0, 50.0, 2.0, 12), at = 0;
    for (; at < n && !mains_found(&mains, 0.0); at += 100)
        mains_process(&mains, audio + at, 100, at);
    ck_assert_double_le((double)at / 48000.0, 0.36 + 4.0 * 0.0907);
}
END_TEST

/* 2 x 3 first harmonics, 60 s, every window a chance: noise of any level is not hum. */
START_TEST(noise_is_not_hum) {
    for (unsigned long long seed = 20; seed < 40; seed++) {
        prepare(16000.0);
        size_t n = hum(16000.0, 0.0, 30.0, seed);
        for (size_t at = 0; at + 1600 <= n; at += 1600) {
            mains_process(&mains, audio + at, 1600, QUIET);
            ck_assert_ptr_null(mains_found(&mains, 0.0));
        }
    }
}
END_TEST

/* One tone, 13 dB over the noise beside it as the window shows them. The phase of such a tone is
 * told within 0.16 radians (1 / sqrt(2 20)), so what single windows say of the frequency spreads by
 * some 0.3 Hz, and what noise says where no harmonic is by a hertz and more. Where each moved it by
 * a fifth, it strayed by 0.41 Hz; now it is 0.04. */
START_TEST(hum_deep_in_noise_keeps_its_frequency) {
    double worst = 0.0;
    for (unsigned long long seed = 200; seed < 210; seed++) {
        prepare(8000.0);
        Random random = random_seeded(seed);
        size_t n = 160000;
        signals_noise(audio, n, 3e-4, &random);
        signals_sine_add(audio, n, 8000.0, 50.0, 0.8e-4, 0.1);
        for (size_t at = 0; at < n; at += 800) {
            mains_process(&mains, audio + at, 800, QUIET);
            worst = fmax(worst, fabs(mains.state.series[0].hz - 50.0));
        }
        ck_assert_ptr_nonnull(mains_found(&mains, 0.0));
    }
    printf("seeds 200 to 209; %.3f Hz off at most\n", worst);
    ck_assert_double_le(worst, 0.1);
}
END_TEST

/* 20 dB louder for 3 s, as under a note held on the harmonic, and silent for 1 s, as where a region
 * was cut: no harmonic may have more than what it has, but for 10 dB; within 1 dB, since a window
 * may begin within half a hop of either. */
START_TEST(no_note_and_no_cut_moves_what_hum_may_have) {
    size_t n = 80000, hop = 80;
    prepare(8000.0);
    Random random = random_seeded(9);
    signals_noise(audio, n, 1e-5, &random);
    signals_sine_add(audio, n, 8000.0, 150.0, 2e-3, 0.1);
    signals_scale(audio + 16000, 24000, 10.0);
    memset(audio + 56000, 0, 8000 * sizeof *audio);
    for (size_t at = 0; at < n; at += hop) {
        mains_process(&mains, audio + at, hop, 0);
        float most = mains_most(&mains, 50.0, 2);
        if (at < 3000)
            ck_assert(isinf(most));
        if (at > 8000)
            ck_assert_double_eq_tol(10.0 * log10((double)most), 10.0 * log10(2e-6) + 10.0, 1.0);
    }
    ck_assert_float_lt(mains_most(&mains, 60.0, 2), 1e-7f);
}
END_TEST

/* Hum that begins after 5 s of room: what it may have follows within 1 s of room, not when the
 * least of 12 s is forgotten. */
START_TEST(hum_that_begins_is_believed_in_the_next_gap) {
    const size_t n = 56000, begins = 40000, hop = 80;
    prepare(8000.0);
    Random random = random_seeded(10);
    printf("seed 10\n");
    signals_noise(audio, n, 1e-5, &random);
    signals_sine_add(audio + begins, n - begins, 8000.0, 150.0, 2e-3, 0.1);
    for (size_t at = 0; at < n; at += hop) {
        mains_process(&mains, audio + at, hop, QUIET);
        double most_db = 10.0 * log10((double)mains_most(&mains, 50.0, 2));
        if (at > 8000 && at < begins)
            ck_assert_double_le(most_db, -85.0);
        if (at > begins + 8000)
            ck_assert_double_ge(most_db, 10.0 * log10(2e-6) + 9.0);
    }
}
END_TEST

/* Two seconds of room, and then one 40 dB louder, as where takes are joined: of its first windows
 * the quiet ones say nothing. By their number alone noise was told as hum in 4 of these 300. */
START_TEST(a_room_that_becomes_louder_is_not_hum) {
    for (unsigned long long seed = 100; seed < 400; seed++) {
        prepare(8000.0);
        Random random = random_seeded(seed);
        size_t n = 32000, quiet = 16000;
        signals_noise(audio, n, 3e-2, &random);
        signals_scale(audio, quiet, 0.01);
        for (size_t at = 0; at < n; at += 800) {
            mains_process(&mains, audio + at, 800, at % quiet < 3200 ? 0 : QUIET);
            ck_assert_msg(!mains_found(&mains, 0.0), "seed %llu", seed);
        }
    }
}
END_TEST

/* Whatever sings: nothing is judged that the caller does not call quiet, for a window's length. */
START_TEST(what_is_not_room_is_not_judged) {
    prepare(48000.0);
    size_t n = hum(48000.0, 50.0, 8.0, 13);
    for (size_t at = 0; at + 4800 <= n; at += 4800)
        mains_process(&mains, audio + at, 4800, 15000);
    ck_assert_ptr_null(mains_found(&mains, 0.0));
    ck_assert(!mains_judged(&mains));
}
END_TEST

START_TEST(hum_that_ends_is_lost) {
    prepare(48000.0);
    mains_process(&mains, audio, hum(48000.0, 60.0, 4.0, 14), QUIET);
    ck_assert_ptr_nonnull(mains_found(&mains, 0.0));
    for (int i = 0; i < 7; i++)
        mains_process(&mains, audio, hum(48000.0, 0.0, 4.0, 15), QUIET);
    ck_assert_ptr_null(mains_found(&mains, 0.0));
}
END_TEST

START_TEST(the_other_mains_are_not_found_when_one_is_asked_for) {
    prepare(48000.0);
    mains_process(&mains, audio, hum(48000.0, 50.0, 4.0, 16), QUIET);
    ck_assert_ptr_nonnull(mains_found(&mains, 50.0));
    ck_assert_ptr_null(mains_found(&mains, 60.0));
}
END_TEST

START_TEST(how_the_audio_was_cut_changes_nothing) {
    size_t n = hum(44100.0, 50.2, 4.0, 17);
    prepare(44100.0);
    mains_process(&mains, audio, n, QUIET);
    double hz = mains_found(&mains, 0.0)->hz;
    prepare(44100.0);
    Random random = random_seeded(18);
    for (size_t at = 0; at < n;) {
        size_t m = random_below(&random, 300);
        m = m < n - at ? m : n - at;
        mains_process(&mains, audio + at, m, QUIET);
        at += m;
    }
    ck_assert(mains_found(&mains, 0.0)->hz == hz);
}
END_TEST

START_TEST(memory_is_asked_for_before_it_is_used) {
    Arena arena = arena_over(memory, 64);
    ck_assert(!mains_prepare(&mains, 48000.0, 0, &arena));
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("mains");
    tcase_add_test(tcase, mains_of_either_kind_are_found_and_followed_at_every_rate);
    tcase_add_test(tcase, plain_hum_is_found_in_two_windows);
    tcase_add_test(tcase, noise_is_not_hum);
    tcase_add_test(tcase, hum_deep_in_noise_keeps_its_frequency);
    tcase_add_test(tcase, hum_that_begins_is_believed_in_the_next_gap);
    tcase_add_test(tcase, no_note_and_no_cut_moves_what_hum_may_have);
    tcase_add_test(tcase, a_room_that_becomes_louder_is_not_hum);
    tcase_add_test(tcase, what_is_not_room_is_not_judged);
    tcase_add_test(tcase, hum_that_ends_is_lost);
    tcase_add_test(tcase, the_other_mains_are_not_found_when_one_is_asked_for);
    tcase_add_test(tcase, how_the_audio_was_cut_changes_nothing);
    tcase_add_test(tcase, memory_is_asked_for_before_it_is_used);
    tcase_set_timeout(tcase, 120);
    return run_tcase(tcase, "mains");
}
