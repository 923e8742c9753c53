/* SPDX-License-Identifier: ISC */
#include "gain/level_match.h"
#include "run_tcase.h"
#include "signals.h"
#include "singer.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { RATE = 48000, LENGTH = 6 * RATE };
static float in[2][LENGTH], out[2][LENGTH], other[2][LENGTH];

static void run(LevelMatch *match, float audio[2][LENGTH], size_t from, size_t n) {
    const float *const i[2] = {in[0] + from, in[1] + from};
    float *const o[2] = {audio[0] + from, audio[1] + from};
    level_match_process(match, i, o, n);
}

START_TEST(a_plain_gain_is_taken_back_from_the_first_frame_on) {
    /* Both powers forget alike, so their ratio is the gain's square at once; float sums in another
     * order leave 1e-6. Within the bounds: 2 * 1.2 up, 0.1 * 0.7 down. */
    Random random = random_seeded(71);
    for (double gain = 0.45; gain < 14.0; gain *= 2.3) {
        LevelMatch match;
        signals_noise(in[0], LENGTH, 0.02, &random);
        for (size_t t = 0; t < LENGTH; t++)
            out[0][t] = (float)gain * in[0][t];
        level_match_prepare(&match, RATE, 1);
        run(&match, out, 0, LENGTH);
        for (size_t t = 50; t < LENGTH; t++) /* 1 ms: the power is well over -120 dBFS */
            ck_assert_double_eq_tol((double)out[0][t], (double)in[0][t],
                                    1e-4 * fabs((double)in[0][t]) + 1e-9);
    }
}
END_TEST

START_TEST(bent_voices_are_as_loud_as_before_on_average) {
    /* The bend that hardly leaves any level: x / sqrt(0.03^2 + x^2) on voices of some -20 dBFS. */
    for (uint64_t seed = 1; seed <= 4; seed++) {
        SingerTake take;
        SingerParams params = singer_params(seed % 2 ? SINGER_WOMAN : SINGER_MAN, RATE, seed);
        params.phrases = 2;
        ck_assert(singer_take(&params, &take));
        for (size_t t = 0; t < LENGTH; t++) {
            float x = take.mix[t % take.n];
            in[0][t] = x;
            out[0][t] = 0.2f * x / sqrtf(0.0009f + x * x);
        }
        LevelMatch match;
        level_match_prepare(&match, RATE, 1);
        run(&match, out, 0, LENGTH);
        double off = signals_rms_db(out[0], LENGTH) - signals_rms_db(in[0], LENGTH);
        printf("%+.2f dB\n", off);
        ck_assert_double_le(fabs(off), 0.7);
        singer_free(&take);
    }
}
END_TEST

START_TEST(one_gain_for_both_channels) {
    Random random = random_seeded(72);
    signals_noise(in[0], LENGTH, 0.1, &random);
    signals_noise(in[1], LENGTH, 0.01, &random);
    for (size_t t = 0; t < LENGTH; t++) {
        out[0][t] = in[0][t] * in[0][t];
        out[1][t] = 0.25f * out[0][t];
    }
    LevelMatch match;
    level_match_prepare(&match, RATE, 2);
    run(&match, out, 0, LENGTH);
    for (size_t t = 0; t < LENGTH; t++)
        ck_assert(out[1][t] == 0.25f * out[0][t]);
}
END_TEST

START_TEST(it_goes_to_1_in_silence_and_never_beyond_its_bounds) {
    LevelMatch match;
    level_match_prepare(&match, RATE, 1);
    for (size_t t = 0; t < LENGTH; t++) {
        in[0][t] = t < RATE ? 1000.0f : 0.0f;
        out[0][t] = t < RATE ? 1.0f : 1e-9f;
    }
    run(&match, out, 0, LENGTH);
    ck_assert_double_le(signals_peak(out[0], RATE), 2.0 * 1.2 * 1.00001);
    level_match_reset(&match);
    memset(in[0], 0, sizeof in[0]);
    for (size_t t = 0; t < LENGTH; t++)
        out[0][t] = 1e-9f;
    run(&match, out, 0, LENGTH);
    ck_assert_double_eq_tol((double)out[0][LENGTH - 1], 1e-9, 1e-14);
}
END_TEST

START_TEST(cutting_changes_no_bit) {
    Random random = random_seeded(73);
    for (int c = 0; c < 2; c++) {
        signals_noise(in[c], LENGTH, 0.1, &random);
        signals_noise(out[c], LENGTH, 0.1, &random);
        memcpy(other[c], out[c], sizeof out[c]);
    }
    LevelMatch match;
    level_match_prepare(&match, RATE, 2);
    run(&match, out, 0, LENGTH);
    level_match_reset(&match);
    for (size_t at = 0; at < LENGTH;) {
        size_t n = random_below(&random, 400);
        n = n < LENGTH - at ? n : LENGTH - at;
        run(&match, other, at, n);
        at += n;
    }
    ck_assert(signals_same_bits(out[0], other[0], LENGTH));
    ck_assert(signals_same_bits(out[1], other[1], LENGTH));
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("level_match");
    tcase_add_test(tcase, a_plain_gain_is_taken_back_from_the_first_frame_on);
    tcase_add_test(tcase, bent_voices_are_as_loud_as_before_on_average);
    tcase_add_test(tcase, one_gain_for_both_channels);
    tcase_add_test(tcase, it_goes_to_1_in_silence_and_never_beyond_its_bounds);
    tcase_add_test(tcase, cutting_changes_no_bit);
    tcase_set_timeout(tcase, 60);
    return run_tcase(tcase, "level_match");
}
