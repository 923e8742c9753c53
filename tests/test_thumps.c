/* SPDX-License-Identifier: ISC */
#include "detect/thumps.h"

#include "run_tcase.h"
#include "signals.h"

#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { MOST = 192000 * 6 };
static float audio[MOST], burst[MOST];
static unsigned char memory[1 << 18];
static Thumps thumps;
static const double RATES[] = {8000.0, 16000.0, 44100.0, 192000.0};
enum { N_RATES = 4 };

static void prepare(double rate_hz) {
    Arena arena = arena_over(memory, sizeof memory);
    ck_assert(thumps_prepare(&thumps, rate_hz, &arena));
}

typedef struct {
    unsigned found;
    size_t first, last; /* frame after the first and the last step of all */
    float most_db;
} Found;

/* Told of a voice whose lowest note is that from the first frame on. */
static Found listen(const float *in, size_t n, float lowest_hz, size_t chunk) {
    Found found = {0, 0, 0, -200.0f};
    bool was = false;
    thumps_voice(&thumps, lowest_hz, true);
    for (size_t at = 0; at < n;) {
        size_t take = thumps_until(&thumps);
        take = take < chunk ? take : chunk;
        take = take < n - at ? take : n - at;
        bool step = thumps_process(&thumps, in + at, take);
        at += take;
        bool now = thumps_now(&thumps);
        ck_assert(step || now == was);
        if (now && !was && found.found++ == 0)
            found.first = at;
        found.last = step && now ? at : found.last;
        found.most_db = now ? fmaxf(found.most_db, thumps_level_db(&thumps)) : found.most_db;
        was = now;
    }
    return found;
}

/* A sung note of 0.1 RMS, faded in over 30 ms, and a burst of air `db` over what of it lies under
 * 300 Hz, n frames of 20 to 120 Hz from `at` on, down as a cosine. */
static void note(size_t n, double rate_hz, double hz) {
    signals_harmonics(audio, n, rate_hz, hz, fmin(4000.0, 0.4 * rate_hz), -9.0, 0.1);
    signals_fade_ends(audio, n, (size_t)(0.03 * rate_hz));
}

static void add_burst(size_t at, size_t n, double rate_hz, double db, uint64_t seed) {
    Random random = random_seeded(seed);
    double low_db = signals_band_db(audio, at, rate_hz, 20.0, 300.0);
    signals_band_noise(burst, n, rate_hz, 20.0, 120.0, 1.0, &random);
    for (size_t i = 0; i < n; i++)
        burst[i] *= (float)fmin(1.0, 200.0 * (double)i / rate_hz) *
                    (float)(0.5 + 0.5 * cos(3.14159265 * (double)i / (double)n));
    signals_scale(burst, n, pow(10.0, (low_db + db) / 20.0) / signals_rms(burst, n));
    signals_add(audio + at, burst, n);
}

START_TEST(bursts_are_found_at_every_rate_and_over_soon_after) {
    for (int r = 0; r < N_RATES; r++)
        for (int k = 0; k < 6; k += 2) {
            double rate = RATES[r];
            size_t n = (size_t)(2.5 * rate), at = (size_t)(1.5 * rate),
                   long_ = (size_t)(0.09 * rate);
            note(n, rate, 160.0);
            add_burst(at, long_, rate, 4.0 * k, 10 + (uint64_t)k);
            prepare(rate);
            Found found = listen(audio, n, 160.0f, 64);
            ck_assert_uint_ge(found.found, 1);
            /* Chance decides how much of a burst comes early. */
            ck_assert_uint_ge(found.first, at);
            ck_assert_double_le(((double)found.first - (double)at) / rate, 0.04);
            ck_assert_double_le(((double)found.last - (double)(at + long_)) / rate, 0.06);
            ck_assert_float_ge(found.most_db, -9.0f);
            ck_assert_float_le(found.most_db, (float)(4.0 * k + 8.0));
        }
}
END_TEST

START_TEST(notes_from_80_hz_are_none_however_they_begin) {
    for (int r = 0; r < N_RATES; r += 2)
        for (double hz = 80.0; hz < 400.0; hz *= 1.26) {
            size_t n = (size_t)(2.0 * RATES[r]), third = n / 3;
            prepare(RATES[r]);
            note(n, RATES[r], hz);
            signals_fade_ends(audio + third, third, (size_t)(0.03 * RATES[r]));
            ck_assert_uint_eq(listen(audio, n, (float)hz, 64).found, 0);
            /* A fourth under the lowest known, before it is known; nobody sings under C2. */
            note(n, RATES[r], fmax(65.4, 0.75 * hz));
            ck_assert_uint_eq(listen(audio, n, (float)hz, 64).found, 0);
        }
}
END_TEST

START_TEST(steady_rumble_is_none_and_what_lasts_is_let_go) {
    Random random = random_seeded(20);
    const double rate = 48000.0;
    const size_t n = (size_t)5 * 48000;
    /* From the first frame on as loud as the voice's low end. */
    prepare(rate);
    note(n, rate, 160.0);
    signals_band_noise(burst, n, rate, 20.0, 80.0, 0.05, &random);
    signals_add(audio, burst, n);
    ck_assert_uint_le(listen(audio, n, 160.0f, 64).found, 1);
    /* A rumble that sets in is taken for one, for THUMPS_LONGEST_MS and no longer. */
    prepare(rate);
    note(n, rate, 160.0);
    signals_sine(burst, 48000, rate, 40.0, 0.2, 0.0);
    signals_fade_ends(burst, 48000, 480);
    signals_add(audio + (size_t)3 * 48000, burst, 48000);
    Found found = listen(audio, n, 160.0f, 64);
    ck_assert_uint_eq(found.found, 1);
    ck_assert_double_le((double)(found.last - found.first) / rate,
                        1e-3 * THUMPS_LONGEST_MS + 0.001);
}
END_TEST

/* The floor of a room that is walked in: a narrow band of noise, as loud as the voice's low end or
 * a little under it, and lumpy by its width. 96 s of it. */
START_TEST(lumpy_rumble_is_hardly_ever_a_thump) {
    Random random = random_seeded(21);
    const double rate = 48000.0;
    const size_t n = (size_t)24 * 48000;
    unsigned found = 0;
    for (int k = 0; k < 4; k++) {
        prepare(rate);
        note(n, rate, 160.0);
        signals_band_noise(burst, n, rate, 20.0, k % 2 ? 45.0 : 32.0, 0.03, &random);
        signals_add(audio, burst, n);
        found += listen(audio, n, 160.0f, 64).found;
    }
    ck_assert_uint_le(found, 2);
}
END_TEST

START_TEST(the_level_of_all_changes_nothing) {
    static float quiet[MOST];
    const double rate = 48000.0;
    const size_t n = (size_t)3 * 48000;
    note(n, rate, 110.0);
    add_burst((size_t)2 * 48000, 4800, rate, 12.0, 30);
    for (size_t i = 0; i < n; i++)
        quiet[i] = audio[i] * 0x1p-6f;
    prepare(rate);
    Found loud = listen(audio, n, 110.0f, 64);
    prepare(rate);
    Found soft = listen(quiet, n, 110.0f, 64);
    ck_assert_uint_ge(loud.found, 1);
    ck_assert_uint_eq(loud.first, soft.first);
    ck_assert_uint_eq(loud.last, soft.last);
}
END_TEST

START_TEST(without_a_voice_nothing_is_told) {
    Random random = random_seeded(40);
    prepare(48000.0);
    signals_silence(audio, 48000);
    signals_noise(audio + 24000, 4800, 0.3, &random);
    ck_assert_uint_eq(listen(audio, 48000, 0.0f, 64).found, 0);
}
END_TEST

START_TEST(cutting_the_block_and_a_reset_change_nothing) {
    const double rate = 44100.0;
    const size_t n = (size_t)3 * 44100;
    note(n, rate, 200.0);
    add_burst((size_t)2 * 44100, 3000, rate, 10.0, 50);
    prepare(rate);
    Found whole = listen(audio, n, 200.0f, 4096);
    for (size_t chunk = 1; chunk < 60; chunk += 7) {
        thumps_reset(&thumps);
        Found cut = listen(audio, n, 200.0f, chunk);
        ck_assert_uint_eq(whole.found, cut.found);
        ck_assert_uint_eq(whole.first, cut.first);
        ck_assert_uint_eq(whole.last, cut.last);
        ck_assert(whole.most_db == cut.most_db);
    }
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("thumps");
    tcase_set_timeout(tcase, 60.0);
    tcase_add_test(tcase, bursts_are_found_at_every_rate_and_over_soon_after);
    tcase_add_test(tcase, notes_from_80_hz_are_none_however_they_begin);
    tcase_add_test(tcase, steady_rumble_is_none_and_what_lasts_is_let_go);
    tcase_add_test(tcase, lumpy_rumble_is_hardly_ever_a_thump);
    tcase_add_test(tcase, the_level_of_all_changes_nothing);
    tcase_add_test(tcase, without_a_voice_nothing_is_told);
    tcase_add_test(tcase, cutting_the_block_and_a_reset_change_nothing);
    return run_tcase(tcase, "thumps");
}
