/* SPDX-License-Identifier: ISC */
#include "aliases.h"
#include "run_tcase.h"
#include "signals.h"
#include "singer.h"
#include "sound/drive.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { RATE = 48000, LENGTH = 4 * RATE };
static float in[2][LENGTH], out[2][LENGTH], other[2][LENGTH];

static void run(Drive *drive, float audio[2][LENGTH], size_t from, size_t n) {
    const float *const i[2] = {in[0] + from, in[1] + from};
    float *const o[2] = {audio[0] + from, audio[1] + from};
    drive_process(drive, i, o, n);
}

static void run_new(float audio[2][LENGTH], unsigned channels, unsigned stages, float drive_db,
                    float character) {
    static Drive drive;
    drive_prepare(&drive, RATE, channels, stages);
    drive_set(&drive, &(DriveParams){drive_db, character});
    run(&drive, audio, 0, LENGTH);
}

static double push(double drive_db) {
    return DRIVE_PUSH * (pow(10.0, drive_db / 20.0) - 1.0);
}

static void square(double hz, float height) {
    for (size_t t = 0; t < LENGTH; t++)
        in[0][t] = fmod(hz * (double)t / RATE, 1.0) < 0.5 ? height : -height;
}

START_TEST(without_drive_it_is_a_delay) {
    /* At 1 kHz: the mean of two frames takes 1 - cos(pi 1000 / 192000) = 1.3e-4 and half a frame of
     * the high rate turns by 2 pi 1000 / 384000 = 0.0164; the high-pass by 15 / 1000 = 0.015 the
     * other way. */
    static Drive drive;
    drive_prepare(&drive, RATE, 1, 2);
    signals_sine(in[0], LENGTH, RATE, 1000.0, 0.5, 0.0);
    run(&drive, out, 0, LENGTH);
    size_t delay = drive_delay(&drive);
    ck_assert_double_le(
        signals_largest_difference(out[0] + RATE + delay, in[0] + RATE, LENGTH - 2 * RATE),
        0.5 * 5e-3);
}
END_TEST

START_TEST(what_is_as_large_as_the_level_passes) {
    /* A square of 200 Hz is nowhere else than at its own RMS: the middle of its flats stays where
     * it is, apart from the high-pass at 15 Hz, which lets a flat sag by 2 pi 15 / 400 = 0.24 about
     * its middle, and 2 %. */
    for (float db = 0.0f; db <= 36.0f; db += 12.0f)
        for (float height = 0.01f; height < 0.9f; height *= 4.0f) {
            square(200.0, height);
            run_new(out, 1, 3, db, 0.0f);
            size_t middle = RATE + RATE / 800 + 37; /* of a flat */
            ck_assert_double_eq_tol((double)out[0][middle], (double)height, 0.02 * (double)height);
        }
}
END_TEST

START_TEST(what_is_small_is_raised_by_the_root_of_1_and_the_push_squared) {
    /* A loud square first sets the level; a sine 40 dB under it follows. Within 60 ms the level
     * falls by 60 / 2000 / 2 = 1.5 %, and so does where the curve bends, not its slope. */
    for (double db = 6.0; db <= 36.0; db += 6.0) {
        square(200.0, 0.5f);
        signals_sine(in[0] + RATE, LENGTH - RATE, RATE, 1000.0, 0.005, 0.0);
        run_new(out, 1, 3, (float)db, 0.0f);
        double k = push(db), a = 0.01 * k; /* bends by (k x / L)^2 / 2 . 3/4 */
        double gain =
            signals_tone_amplitude(out[0] + RATE + RATE / 100, RATE / 20, RATE, 1000.0) / 0.005;
        ck_assert_double_eq_tol(20.0 * log10(gain / sqrt(1.0 + k * k)), 0.0, 0.05 + 4.0 * a * a);
    }
}
END_TEST

static void sing(SingerVoice voice, uint64_t seed, double scale) {
    SingerTake take;
    SingerParams params = singer_params(voice, RATE, seed);
    params.phrases = 2;
    ck_assert(singer_take(&params, &take));
    for (size_t t = 0; t < LENGTH; t++)
        in[0][t] = (float)scale * take.mix[(t + RATE / 2) % take.n];
    singer_free(&take);
}

START_TEST(quiet_and_loud_takes_are_bent_alike) {
    for (uint64_t seed = 1; seed <= 4; seed++) {
        SingerVoice voice = seed % 2 ? SINGER_WOMAN : SINGER_MAN;
        sing(voice, seed, 1.0);
        run_new(out, 1, 2, 18.0f, 0.5f);
        sing(voice, seed, 1.0 / 16.0);
        run_new(other, 1, 2, 18.0f, 0.5f);
        signals_scale(other[0], LENGTH, 16.0);
        /* from 100 ms on, when the level has left the bottom it starts at */
        double rms = signals_rms_db(out[0] + RATE, LENGTH - RATE);
        double off = signals_difference_db(out[0] + RATE, other[0] + RATE, LENGTH - RATE);
        ck_assert_double_le(off, rms - 60.0);
    }
}
END_TEST

static double crest_db(const float *audio, size_t n) {
    return signals_peak_db(audio, n) - signals_rms_db(audio, n);
}

START_TEST(more_drive_less_crest) {
    for (uint64_t seed = 1; seed <= 4; seed++) {
        sing(seed % 2 ? SINGER_WOMAN : SINGER_MAN, seed, 1.0);
        double last = crest_db(in[0] + RATE, LENGTH - RATE), first = last;
        for (float db = 6.0f; db <= 36.0f; db += 6.0f) {
            run_new(out, 1, 3, db, 0.0f);
            double now = crest_db(out[0] + RATE, LENGTH - RATE);
            printf("%2.0f dB: crest %.2f dB\n", (double)db, now);
            ck_assert_double_le(now, last + 0.1);
            last = now;
        }
        ck_assert_double_le(last, first - 3.0);
    }
}
END_TEST

START_TEST(aliases_of_5_khz_under_24_db_are_80_db_down) {
    /* 4999 Hz, of which no alias is a harmonic. */
    for (int with = 0; with < 2; with++) {
        signals_sine(in[0], LENGTH, RATE, 4999.0, 1.0, 0.0);
        run_new(out, 1, 2, 24.0f, (float)with);
        double db = aliases_db(out[0] + LENGTH - ALIASES_FRAMES, RATE, 4999.0);
        printf("aliases %.1f dB\n", db);
        ck_assert_double_le(db, -80.0);
    }
}
END_TEST

START_TEST(character_adds_even_harmonics_and_no_constant) {
    signals_sine(in[0], LENGTH, RATE, 500.0, 0.3, 0.0);
    const float *late = out[0] + LENGTH - RATE;
    run_new(out, 1, 2, 12.0f, 0.0f);
    ck_assert_double_le(signals_tone_amplitude(late, RATE, RATE, 1000.0), 1e-5);
    double third = signals_tone_amplitude(late, RATE, RATE, 1500.0);
    ck_assert_double_ge(third, 0.3 * 0.01);
    run_new(out, 1, 2, 12.0f, 1.0f);
    ck_assert_double_ge(signals_tone_amplitude(late, RATE, RATE, 1000.0), third);
    double sum = 0.0;
    for (size_t t = 0; t < RATE; t++)
        sum += (double)late[t];
    ck_assert_double_le(fabs(sum / RATE), 1e-4);
    /* the other way round, the other half of the wave */
    memcpy(other, out, sizeof other);
    signals_scale(in[0], LENGTH, -1.0);
    run_new(out, 1, 2, 12.0f, -1.0f);
    for (size_t t = 0; t < LENGTH; t++)
        ck_assert(out[0][t] == -other[0][t]);
}
END_TEST

START_TEST(a_silent_channel_stays_silent_beside_a_loud_one) {
    sing(SINGER_WOMAN, 3, 1.0);
    memset(in[1], 0, sizeof in[1]);
    run_new(out, 2, 2, 24.0f, 1.0f);
    for (size_t t = 0; t < LENGTH; t++)
        ck_assert(out[1][t] == 0.0f);
}
END_TEST

START_TEST(bounded_at_60_dbfs_and_under_any_setting) {
    Random random = random_seeded(44);
    for (float db = 0.0f; db <= 36.0f; db += 9.0f) {
        for (size_t t = 0; t < LENGTH; t++)
            in[0][t] = random_unit(&random) < 0.5 ? -1000.0f : 1000.0f;
        run_new(out, 1, 3, db, 1.0f);
        ck_assert(signals_all_finite(out[0], LENGTH));
        /* the filters' ringing, sum |h| under 3, twice */
        ck_assert_double_le(signals_peak(out[0], LENGTH), 9000.0);
    }
}
END_TEST

START_TEST(cutting_changes_no_bit_while_settings_glide) {
    Random random = random_seeded(45);
    signals_noise(in[0], LENGTH, 0.2, &random);
    signals_noise(in[1], LENGTH, 0.1, &random);
    for (int pass = 0; pass < 2; pass++) {
        static Drive drive;
        drive_prepare(&drive, RATE, 2, 2);
        size_t at = 0;
        for (int part = 1; part <= 4; part++) {
            drive_set(&drive, &(DriveParams){12.0f * (float)(part % 3), 0.4f * (float)(part % 2)});
            for (size_t end = (size_t)part * LENGTH / 4; at < end;) {
                size_t n = pass ? random_below(&random, 700) : end - at;
                n = n < end - at ? n : end - at;
                run(&drive, pass ? other : out, at, n);
                at += n;
            }
        }
    }
    ck_assert(signals_same_bits(out[0], other[0], LENGTH));
    ck_assert(signals_same_bits(out[1], other[1], LENGTH));
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("drive");
    tcase_add_test(tcase, without_drive_it_is_a_delay);
    tcase_add_test(tcase, what_is_as_large_as_the_level_passes);
    tcase_add_test(tcase, what_is_small_is_raised_by_the_root_of_1_and_the_push_squared);
    tcase_add_test(tcase, quiet_and_loud_takes_are_bent_alike);
    tcase_add_test(tcase, more_drive_less_crest);
    tcase_add_test(tcase, aliases_of_5_khz_under_24_db_are_80_db_down);
    tcase_add_test(tcase, character_adds_even_harmonics_and_no_constant);
    tcase_add_test(tcase, a_silent_channel_stays_silent_beside_a_loud_one);
    tcase_add_test(tcase, bounded_at_60_dbfs_and_under_any_setting);
    tcase_add_test(tcase, cutting_changes_no_bit_while_settings_glide);
    tcase_set_timeout(tcase, 120);
    return run_tcase(tcase, "drive");
}
