/* SPDX-License-Identifier: ISC */
#include "basic/decibel.h"
#include "measure/hum.h"
#include "run_tcase.h"
#include "signals.h"
#include "singer.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

enum { MEMORY = 1 << 18, SECONDS = 12 };
static unsigned char memory[MEMORY];
static float audio[SECONDS * 192000];

static Hum make(double rate_hz) {
    Hum hum;
    Arena arena = arena_over(memory, MEMORY);
    ck_assert(hum_prepare(&hum, rate_hz, &arena));
    return hum;
}

static double mean_square_db(double amplitude) {
    return 20.0 * log10(amplitude) - 3.0103;
}

static double db(double power) {
    return 10.0 * log10(power);
}

/* Mains are true to some 0.05 Hz (common practice): half a hertz off at the 8th harmonic. */
START_TEST(tones_in_noise_are_found_within_1_db_at_every_rate) {
    const double rates[] = {8000.0, 11025.0, 44100.0, 48000.0, 192000.0};
    for (size_t i = 0; i < 5; i++)
        for (int sixty = 0; sixty < 2; sixty++) {
            double mains = (sixty ? 60.0 : 50.0) + 0.05;
            size_t n = (size_t)(SECONDS * rates[i]);
            HumReading reading;
            Random random = random_seeded(31 + i);
            signals_noise(audio, n, 0.0003, &random);
            signals_sine_add(audio, n, rates[i], mains, 0.002, 0.1);
            signals_sine_add(audio, n, rates[i], 3.0 * mains, 0.001, 0.2);
            signals_sine_add(audio, n, rates[i], 8.0 * mains, 0.0005, 0.3);
            Hum hum = make(rates[i]);
            hum_process(&hum, audio, n);
            ck_assert(hum_reading(&hum, &reading));
            ck_assert(reading.found);
            ck_assert_double_eq(reading.mains_hz, sixty ? 60.0 : 50.0);
            ck_assert_double_eq_tol(db(reading.power[0]), mean_square_db(0.002), 1.0);
            ck_assert_double_eq_tol(db(reading.power[2]), mean_square_db(0.001), 1.0);
            ck_assert_double_eq_tol(db(reading.power[7]), mean_square_db(0.0005), 1.0);
            ck_assert(!reading.has[1] && !reading.has[3] && !reading.has[4]);
        }
}
END_TEST

/* 2 tones of 50 Hz and of 60 Hz, -50 dBFS each, under a man and a woman; and neither. */
START_TEST(hum_under_a_singer_is_found_within_1_db_and_only_there) {
    for (uint64_t seed = 1; seed <= 4; seed++) {
        SingerTake take;
        SingerParams params = singer_params(seed % 2 ? SINGER_WOMAN : SINGER_MAN, 16000.0, seed);
        params.phrases = 5;
        ck_assert(singer_take(&params, &take));
        HumReading reading;
        Hum clean = make(take.rate_hz);
        hum_process(&clean, take.mix, take.n);
        ck_assert(hum_reading(&clean, &reading));
        ck_assert(!reading.found);
        ck_assert_double_eq(reading.total, 0.0);
        double mains = seed > 2 ? 60.0 : 50.0;
        double amplitude = decibel_to_gain(-50.0 + 3.0103);
        signals_sine_add(take.mix, take.n, take.rate_hz, mains, amplitude, 0.0);
        signals_sine_add(take.mix, take.n, take.rate_hz, 3.0 * mains, amplitude, 0.5);
        Hum hum = make(take.rate_hz);
        hum_process(&hum, take.mix, take.n);
        ck_assert(hum_reading(&hum, &reading));
        printf("seed %llu: %.2f, %.2f dB\n", (unsigned long long)seed, db(reading.power[0]),
               db(reading.power[2]));
        ck_assert(reading.found);
        ck_assert_double_eq(reading.mains_hz, mains);
        ck_assert_double_eq_tol(db(reading.power[0]), -50.0, 1.0);
        ck_assert_double_eq_tol(db(reading.power[2]), -50.0, 1.0);
        singer_free(&take);
    }
}
END_TEST

START_TEST(noise_silence_and_short_takes_have_no_hum) {
    HumReading reading;
    Random random = random_seeded(8);
    Hum hum = make(48000.0);
    ck_assert(!hum_reading(&hum, &reading));
    signals_silence(audio, 192000);
    hum_process(&hum, audio, 192000);
    ck_assert(hum_reading(&hum, &reading));
    ck_assert(!reading.found);
    hum_reset(&hum);
    ck_assert(!hum_reading(&hum, &reading));
    const size_t n = (size_t)SECONDS * 48000;
    signals_noise(audio, n, 0.1, &random);
    hum_process(&hum, audio, n);
    ck_assert(hum_reading(&hum, &reading));
    ck_assert(!reading.found);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("hum");
    tcase_add_test(tcase, tones_in_noise_are_found_within_1_db_at_every_rate);
    tcase_add_test(tcase, hum_under_a_singer_is_found_within_1_db_and_only_there);
    tcase_add_test(tcase, noise_silence_and_short_takes_have_no_hum);
    tcase_set_timeout(tcase, 60);
    return run_tcase(tcase, "hum");
}
