/* SPDX-License-Identifier: ISC */
#include "gain/hiss_duck.h"
#include "run_tcase.h"
#include "signals.h"

#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { RATE = 48000, TICK = 50, LENGTH = RATE, FROM = RATE / 2, TO = FROM + RATE / 5, LATE = 4800 };
static float in[LENGTH], out[LENGTH], other[LENGTH];

/* Heard to the end of each tick and read `LATE` frames and a fraction later, in pieces. */
static void run(float *to, uint64_t cuts) {
    HissDuck duck;
    Random random = random_seeded(cuts);
    hiss_duck_prepare(&duck, RATE, TICK);
    for (size_t at = 0, n; at < LENGTH; at += n) {
        size_t first = at % TICK;
        n = 1 + random_below(&random, TICK - first);
        n = n < LENGTH - at ? n : LENGTH - at;
        for (size_t i = at; i < at + n; i++)
            to[i] = i < LATE ? 0.0f : in[i - LATE];
        hiss_duck_process(&duck, (double)(at - first) - LATE, (int64_t)first, to + at, n);
        hiss_duck_hear(&duck, in + at, n);
    }
}

static double gain_db(size_t from, size_t n) {
    return signals_rms_db(out + LATE + from, n) - signals_rms_db(in + from, n);
}

/* Of /s/, /sh/ and /h/ as Jongman et al. have their bands (sibilance.h); the last is no
 * sibilant. */
START_TEST(sibilants_go_down_by_6_db_and_come_back) {
    static const double low[] = {4500.0, 2500.0, 300.0}, high[] = {10000.0, 6000.0, 2500.0};
    for (int k = 0; k < 3; k++) {
        Random random = random_seeded(5);
        signals_harmonics(in, LENGTH, RATE, 200.0, 6000.0, -9.0, 0.1);
        memset(in + FROM, 0, (TO - FROM) * sizeof *in);
        signals_band_noise(in + FROM, TO - FROM, RATE, low[k], high[k], 0.03, &random);
        run(out, 1);
        double wanted = k < 2 ? -6.0 : 0.0;
        ck_assert_double_le(fabs(gain_db(FROM + 480, TO - FROM - 960) - wanted),
                            k == 1 ? 0.5 : 0.1);
        ck_assert_double_le(fabs(gain_db(FROM - 4800, 4000)), 0.05);
        ck_assert_double_le(fabs(gain_db(TO + 960, 4000)), 0.05);
        ck_assert(signals_same_bits(out + TO + 4800 + LATE, in + TO + 4800, LENGTH - TO - 9600));
    }
}
END_TEST

/* Half the way down within 3 ms of where it begins, half the way up within 3 ms of its end. */
START_TEST(the_gain_is_there_when_the_sibilant_is) {
    Random random = random_seeded(6);
    signals_harmonics(in, LENGTH, RATE, 200.0, 6000.0, -9.0, 0.1);
    signals_band_noise(in + FROM, TO - FROM, RATE, 4500.0, 10000.0, 0.1, &random);
    run(out, 2);
    for (size_t t = 4800; t + LATE < LENGTH; t++) {
        if (fabsf(in[t]) < 1e-3f)
            continue;
        float gain = out[t + LATE] / in[t];
        if (t < FROM - 144 || t > TO + 144)
            ck_assert_float_gt(gain, 0.75f);
        if (t > FROM + 144 && t < TO - 144)
            ck_assert_float_lt(gain, 0.75f);
    }
}
END_TEST

START_TEST(neither_blocks_nor_the_level_matter) {
    Random random = random_seeded(8);
    signals_noise(in, LENGTH, 0.1, &random);
    signals_band_noise(in + FROM, TO - FROM, RATE, 2000.0, 10000.0, 0.1, &random);
    run(out, 3);
    run(other, 4);
    ck_assert(signals_same_bits(out, other, LENGTH));
    signals_scale(in, LENGTH, 0x1p-10);
    run(other, 4);
    signals_scale(other, LENGTH, 0x1p10);
    ck_assert(signals_same_bits(out, other, LENGTH));
}
END_TEST

START_TEST(silence_is_left_alone) {
    signals_silence(in, LENGTH);
    run(out, 5);
    ck_assert(signals_same_bits(in, out, LENGTH));
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("hiss_duck");
    tcase_add_test(tcase, sibilants_go_down_by_6_db_and_come_back);
    tcase_add_test(tcase, the_gain_is_there_when_the_sibilant_is);
    tcase_add_test(tcase, neither_blocks_nor_the_level_matter);
    tcase_add_test(tcase, silence_is_left_alone);
    return run_tcase(tcase, "hiss_duck");
}
