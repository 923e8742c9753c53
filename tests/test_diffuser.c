/* SPDX-License-Identifier: ISC */
#include "run_tcase.h"
#include "signals.h"
#include "sound/diffuser.h"

#include <check.h>
#include <math.h>
#include <string.h>

enum { RATE = 48000, LENGTH = 1 << 16, ROOM = 1 << 20 };
static float in[LENGTH], out[LENGTH], other[LENGTH];
static unsigned char memory[ROOM];

static const DiffuserStage ONE = {10.0, 0.6f};
static const DiffuserStage FOUR[4] = {{4.77, 0.75f}, {3.6, 0.75f}, {8.19, 0.625f}, {6.13, 0.625f}};

static Diffuser make(const DiffuserStage *stage, size_t stages, double rate_hz) {
    Diffuser diffuser;
    Arena arena = arena_over(memory, ROOM);
    ck_assert(diffuser_prepare(&diffuser, rate_hz, stage, stages, &arena));
    diffuser_reset(&diffuser);
    return diffuser;
}

START_TEST(one_stage_answers_as_the_formula_says) {
    /* -g, then (1 - g^2) g^k every 480 frames, nothing else. Each value is computed in a few
     * rounded operations on numbers under 1: 1e-6. */
    Diffuser diffuser = make(&ONE, 1, RATE);
    signals_silence(in, LENGTH);
    in[0] = 1.0f;
    diffuser_process(&diffuser, in, out, 5000);
    for (size_t t = 0; t < 5000; t++) {
        size_t round = t / 480;
        double expected = t == 0 ? -0.6 : t % 480 ? 0.0 : 0.64 * pow(0.6, (double)round - 1.0);
        ck_assert_double_eq_tol((double)out[t], expected, 1e-6);
    }
}
END_TEST

START_TEST(every_frequency_keeps_its_energy) {
    /* An all-pass: what comes of an impulse has the energy 1 in all, and so has each band of it. A
     * tenth of a dB for what the bands' edges share. */
    Diffuser diffuser = make(FOUR, 4, RATE);
    signals_silence(in, LENGTH);
    in[1000] = 1.0f;
    diffuser_process(&diffuser, in, out, LENGTH);
    for (double low = 100.0; low < 12000.0; low *= 2.0)
        ck_assert_double_eq_tol(signals_band_db(out, LENGTH, RATE, low, 2.0 * low),
                                signals_band_db(in, LENGTH, RATE, low, 2.0 * low), 0.1);
}
END_TEST

START_TEST(silence_ends) {
    Diffuser diffuser = make(FOUR, 4, RATE);
    Random random = random_seeded(5);
    signals_silence(in, LENGTH);
    signals_noise(in, 4800, 0.3, &random);
    diffuser_process(&diffuser, in, out, LENGTH);
    ck_assert(signals_peak(out + 4800, RATE / 10) > 0.0);
    ck_assert(signals_peak(out + LENGTH - 1000, 1000) == 0.0);
}
END_TEST

START_TEST(any_cutting_and_in_place) {
    Random random = random_seeded(6);
    signals_noise(in, LENGTH, 0.3, &random);
    for (double rate_hz = 8000.0; rate_hz <= 192000.0; rate_hz *= 24.0) {
        Diffuser diffuser = make(FOUR, 4, rate_hz);
        diffuser_process(&diffuser, in, out, LENGTH);
        diffuser_reset(&diffuser);
        memcpy(other, in, sizeof in);
        for (size_t at = 0; at < LENGTH;) {
            size_t n = random_below(&random, 300);
            n = n < LENGTH - at ? n : LENGTH - at;
            diffuser_process(&diffuser, other + at, other + at, n);
            at += n;
        }
        ck_assert(signals_same_bits(out, other, LENGTH));
    }
}
END_TEST

START_TEST(too_little_memory_is_told) {
    Diffuser diffuser;
    Arena arena = arena_over(memory, 512);
    ck_assert(!diffuser_prepare(&diffuser, RATE, FOUR, 4, &arena));
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("diffuser");
    tcase_add_test(tcase, one_stage_answers_as_the_formula_says);
    tcase_add_test(tcase, every_frequency_keeps_its_energy);
    tcase_add_test(tcase, silence_ends);
    tcase_add_test(tcase, any_cutting_and_in_place);
    tcase_add_test(tcase, too_little_memory_is_told);
    return run_tcase(tcase, "diffuser");
}
