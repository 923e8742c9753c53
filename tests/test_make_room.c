/* SPDX-License-Identifier: ISC */
/* make-room, driven through its plugin_spec as the shell drives it. The backing is noise, so that
 * what comes out over what went in, band by band, is the gain. */
/* NOLINTNEXTLINE(bugprone-suspicious-include): to reach its tables. */
#include "../plugins/make-room/make-room_plugin.c"

#include "run_tcase.h"
#include "signals.h"
#include "singer.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

enum { RATE = 48000, LENGTH = 4 * RATE, LAST = RATE };
static float in[LENGTH], key[LENGTH], out[LENGTH], other[LENGTH];
static float silence[LENGTH];
static float control[N_CONTROLS];

static void defaults(void) {
    for (size_t i = 0; i < N_CONTROLS; i++)
        control[i] = CONTROLS[i].initial;
}

/* Mono; `moved`, if not NULL, are the controls of the second half. Returns the largest
 * reduction. */
static float run(const float *lead, const float *moved, float *to, size_t chunk) {
    static MakeRoom room;
    Arena arena = {.base = NULL};
    float reduction = 0.0f, most = 0.0f;
    memset(&room, 0, sizeof room);
    ck_assert(prepare(&room, RATE, 1, &arena));
    reset(&room);
    set(&room, control);
    for (size_t at = 0; at < LENGTH; at += chunk) {
        size_t n = LENGTH - at < chunk ? LENGTH - at : chunk;
        const float *i[1] = {in + at}, *k[1] = {lead + at};
        float *o[1] = {to + at};
        if (moved && at == LENGTH / 2)
            set(&room, moved);
        process(&room, &(Io){.n = n,
                             .channels = 1,
                             .in = i,
                             .dry = i,
                             .key = k,
                             .out = o,
                             .reduction_db = &reduction});
        most = maths_larger(most, reduction);
    }
    return most;
}

static void backing(void) {
    Random random = random_seeded(51);
    signals_noise(in, LENGTH, 0.05, &random);
}

/* Gain of a third of an octave around hz in the last second, dB. */
static double gain_at(double hz) {
    double low = hz * pow(2.0, -1.0 / 6.0), high = hz * pow(2.0, 1.0 / 6.0);
    static float a[LENGTH], b[LENGTH];
    signals_band_filter(in, a, LENGTH, RATE, low, high);
    signals_band_filter(out, b, LENGTH, RATE, low, high);
    return signals_rms_db(b + LENGTH - LAST, LAST) - signals_rms_db(a + LENGTH - LAST, LAST);
}

START_TEST(no_key_changes_no_bit) {
    backing();
    defaults();
    ck_assert(run(silence, NULL, out, 256) == 0.0f);
    ck_assert(signals_same_bits(in, out, LENGTH));
}
END_TEST

START_TEST(only_the_bands_of_the_lead_go_down) {
    /* A lead of one narrow band, wherever it lies among the bands: the backing goes down there by
     * three fifths of `depth` to all of it, as a mean over a third of an octave (a deep cut is
     * narrow), and by under a fifth from two octaves away on. */
    Random random = random_seeded(52);
    backing();
    for (double hz = 500.0; hz < 4001.0; hz *= 2.0)
        for (float depth = 3.0f; depth < 19.0f; depth *= 2.0f) {
            defaults();
            control[DEPTH] = depth;
            control[SHARPNESS] = 100.0f;
            signals_band_noise(key, LENGTH, RATE, hz / 1.1, hz * 1.1, 0.1, &random);
            run(key, NULL, out, 256);
            double there = gain_at(hz);
            printf("lead at %g Hz, depth %g: %.2f dB there, %.2f and %.2f two octaves off\n", hz,
                   (double)depth, there, gain_at(hz / 4.0), gain_at(hz * 4.0));
            ck_assert_double_le(there, -0.6 * (double)depth);
            ck_assert_double_ge(there, -1.05 * (double)depth);
            ck_assert_double_ge(gain_at(hz / 4.0), -0.2 * (double)depth);
            ck_assert_double_ge(gain_at(hz * 4.0), -0.2 * (double)depth);
        }
}
END_TEST

START_TEST(a_voice_makes_room_where_it_is_and_none_when_it_rests) {
    SingerTake take;
    SingerParams params = singer_params(SINGER_WOMAN, RATE, 3);
    params.phrases = 1;
    ck_assert(singer_take(&params, &take));
    signals_silence(key, LENGTH);
    for (size_t t = 0; t < LENGTH / 2 && t + RATE / 2 < take.n; t++)
        key[t] = take.mix[t + RATE / 2];
    singer_free(&take);
    backing();
    defaults();
    float most = run(key, NULL, out, 256);
    ck_assert_float_le(most, 6.05f);
    ck_assert_float_ge(most, 5.5f);
    /* Two seconds of rest later, eight times the release, 6 dB e^-7 are left: 0.005 dB. */
    size_t end = LENGTH - RATE / 4;
    double off =
        signals_difference_db(in + end, out + end, RATE / 4) - signals_rms_db(in + end, RATE / 4);
    printf("at rest off by %.1f dB\n", off);
    ck_assert_double_le(off, -55.0);
}
END_TEST

START_TEST(the_leads_loudness_does_not_matter) {
    Random random = random_seeded(53);
    backing();
    defaults();
    signals_band_noise(key, LENGTH, RATE, 900.0, 1100.0, 0.3, &random);
    run(key, NULL, out, 256);
    double loud = gain_at(1000.0);
    signals_scale(key, LENGTH, 0.1);
    run(key, NULL, out, 256);
    ck_assert_double_eq_tol(gain_at(1000.0), loud, 0.3);
}
END_TEST

START_TEST(a_sibilant_above_the_range_moves_nothing_far_below) {
    /* A vowel, noise from 400 to 900 Hz, and then /s/, noise from 7 kHz on, 10 dB under it; the
     * range ends at 5 kHz. */
    Random random = random_seeded(54);
    backing();
    defaults();
    signals_band_noise(key, LENGTH / 2, RATE, 400.0, 900.0, 0.1, &random);
    signals_band_noise(key + LENGTH / 2, LENGTH / 2, RATE, 7000.0, 12000.0, 0.03, &random);
    run(key, NULL, out, 256);
    printf("under /s/: %.2f dB at 1 kHz, %.2f at 2\n", gain_at(1000.0), gain_at(2000.0));
    ck_assert_double_ge(gain_at(1000.0), -0.5);
    ck_assert_double_ge(gain_at(2000.0), -1.5);
}
END_TEST

START_TEST(the_range_moves_without_a_click) {
    /* A tone of 440 Hz as backing, a lead that has all bands down, and the range moved while it
     * sounds: nothing above 8 kHz over -70 dB of the tone. */
    Random random = random_seeded(55);
    signals_sine(in, LENGTH, RATE, 440.0, 0.3, 0.0);
    signals_fade_ends(in, LENGTH, 4800);
    signals_noise(key, LENGTH, 0.1, &random);
    defaults();
    control[DEPTH] = 18.0f;
    float moved[N_CONTROLS];
    memcpy(moved, control, sizeof moved);
    moved[LOW] = 1500.0f;
    moved[HIGH] = 9000.0f;
    run(key, moved, out, 250);
    signals_band_filter(out, other, LENGTH, RATE, 8000.0, 1e9);
    double over = signals_peak_db(other, LENGTH) - signals_peak_db(in, LENGTH);
    printf("above 8 kHz: %.1f dB\n", over);
    ck_assert_double_le(over, -70.0);
}
END_TEST

START_TEST(cutting_changes_no_bit) {
    Random random = random_seeded(56);
    backing();
    signals_noise(key, LENGTH, 0.1, &random);
    defaults();
    float moved[N_CONTROLS];
    memcpy(moved, control, sizeof moved);
    moved[LOW] = 700.0f;
    moved[DEPTH] = 12.0f;
    run(key, moved, out, 250);
    run(key, moved, other, 1);
    ck_assert(signals_same_bits(out, other, LENGTH));
    run(key, moved, other, 64);
    ck_assert(signals_same_bits(out, other, LENGTH));
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("make_room");
    tcase_add_test(tcase, no_key_changes_no_bit);
    tcase_add_test(tcase, only_the_bands_of_the_lead_go_down);
    tcase_add_test(tcase, a_voice_makes_room_where_it_is_and_none_when_it_rests);
    tcase_add_test(tcase, the_leads_loudness_does_not_matter);
    tcase_add_test(tcase, a_sibilant_above_the_range_moves_nothing_far_below);
    tcase_add_test(tcase, the_range_moves_without_a_click);
    tcase_add_test(tcase, cutting_changes_no_bit);
    tcase_set_timeout(tcase, 60);
    return run_tcase(tcase, "make_room");
}
