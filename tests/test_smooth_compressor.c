/* SPDX-License-Identifier: ISC */
/* smooth-compressor, driven through its plugin_spec as the shell drives it: what each control does
 * to tones, and what it does to a voice that it does not know yet. */
/* NOLINTNEXTLINE(bugprone-suspicious-include): to reach its tables and its struct. */
#include "../plugins/smooth-compressor/smooth-compressor_plugin.c"

#include "run_tcase.h"
#include "signals.h"

#include <check.h>
#include <string.h>

enum { RATE = 48000, LENGTH = 6 * RATE };
static SmoothCompressor compressor;
static float in[2][LENGTH], out[2][LENGTH], control[N_CONTROLS], reduction[LENGTH];

static void set_defaults(void) {
    for (int i = 0; i < N_CONTROLS; i++)
        control[i] = CONTROLS[i].initial;
}

static void set_full_scale(float threshold_db, float ratio, float knee_db) {
    set_defaults();
    control[REFERENCE] = 1.0f;
    control[THRESHOLD] = threshold_db;
    control[RATIO] = ratio;
    control[KNEE] = knee_db;
}

/* reduction[]: the meter, one value for each stretch of 64 frames. */
static void play(unsigned channels) {
    enum { STRETCH = 64 };
    float meter[N_METERS];
    memset(&compressor, 0, sizeof compressor);
    ck_assert(plugin_spec.prepare(&compressor, RATE, channels, NULL));
    plugin_spec.reset(&compressor);
    plugin_spec.set(&compressor, control);
    for (size_t at = 0; at < LENGTH; at += STRETCH) {
        const float *const i[2] = {in[0] + at, in[1] + at};
        float *const o[2] = {out[0] + at, out[1] + at};
        const Io io = {.n = STRETCH,
                       .channels = channels,
                       .in = i,
                       .dry = i,
                       .out = o,
                       .meter = meter,
                       .reduction_db = &reduction[at / STRETCH]};
        plugin_spec.process(&compressor, &io);
    }
}

static double settled_gain(void) {
    const size_t from = LENGTH / 2;
    return signals_rms_db(out[0] + from, LENGTH - from) -
           signals_rms_db(in[0] + from, LENGTH - from);
}

static double tone_out_db(double hz, double in_db) {
    signals_sine(in[0], LENGTH, RATE, hz, pow(10.0, in_db / 20.0), 0.0);
    play(1);
    return in_db + settled_gain();
}

START_TEST(the_static_law_is_that_of_the_handbook) {
    /* Giannoulis, Massberg and Reiss 2012, eq. 4, worked out by hand. Peaks are held by a release
     * of 160 ms; between those of a tone of 1 kHz, 0.5 ms apart, 0.3 % of the reduction goes. */
    const double points[][2] = {{-30.0, -30.0},    {-25.0, -25.0},    {-22.0, -22.3375},
                                {-20.0, -20.9375}, {-18.0, -19.8375}, {-15.0, -18.75},
                                {-10.0, -17.5},    {0.0, -15.0}};
    set_full_scale(-20.0f, 4.0f, 10.0f);
    for (int i = 0; i < 8; i++) {
        ck_assert_double_eq_tol(tone_out_db(1000.0, points[i][0]), points[i][1], 0.05);
        /* At 100 Hz they are 5 ms apart: 3 %, half of it on average, 0.23 dB of 15. */
        ck_assert_double_eq_tol(tone_out_db(100.0, points[i][0]), points[i][1], 0.2);
    }
}
END_TEST

START_TEST(a_tone_of_100_hz_taken_down_by_10_db_is_hardly_distorted) {
    double harmonics = 0.0;
    set_full_scale(-20.0f, 3.0f, 8.0f);
    ck_assert_double_eq_tol(tone_out_db(100.0, -5.0), -15.0, 0.2);
    const float *late = out[0] + LENGTH / 2;
    double first = signals_tone_amplitude(late, LENGTH / 2, RATE, 100.0);
    for (int k = 2; k <= 20; k++) {
        double partial = signals_tone_amplitude(late, LENGTH / 2, RATE, 100.0 * k);
        harmonics += partial * partial;
    }
    ck_assert_double_le(sqrt(harmonics) / first, 0.001);
}
END_TEST

/* A level that jumps by 15 dB over the threshold and back: ratio 3 takes 10 dB. */
static void jump(float attack_ms, float release_ms, float program) {
    set_full_scale(-20.0f, 3.0f, 0.0f);
    control[ATTACK] = attack_ms;
    control[RELEASE] = release_ms;
    control[PROGRAM] = program;
    signals_sine(in[0], LENGTH, RATE, 2000.0, 0.01, 0.0);
    signals_sine(in[0] + RATE, LENGTH / 2, RATE, 2000.0, pow(10.0, -5.0 / 20.0), 0.0);
    play(1);
}

static double reduction_at(double seconds) {
    return (double)reduction[(size_t)(seconds * RATE / 64.0)];
}

START_TEST(attack_is_the_time_constant_of_turning_down) {
    for (float ms = 5.0f; ms <= 100.0f; ms *= 2.0f) {
        jump(ms, 300.0f, 0.0f);
        /* 1 - 1/e; the poles that soften it move that by less than their 0.67 ms. */
        double before = reduction_at(1.0 + 1e-3 * (double)ms - 1.5e-3);
        double after = reduction_at(1.0 + 1e-3 * (double)ms + 2.5e-3);
        ck_assert_double_le(before, 6.32);
        ck_assert_double_ge(after, 6.32);
    }
}
END_TEST

START_TEST(release_is_the_time_constant_of_coming_back) {
    for (float ms = 50.0f; ms <= 800.0f; ms *= 2.0f) {
        jump(10.0f, ms, 0.0f);
        /* The detector's closed form with tauA 10 ms: see test_release_memory.c. */
        double t = 1.5 * (double)ms, a = 10.0, r = (double)ms;
        double left = 10.0 * (r * exp(-t / r) - a * exp(-t / a)) / (r - a);
        ck_assert_double_eq_tol(reduction_at(4.0 + 1e-3 * t), left, 0.15);
    }
}
END_TEST

START_TEST(program_holds_its_share_after_a_phrase) {
    for (float program = 0.0f; program <= 100.0f; program += 25.0f) {
        jump(10.0f, 100.0f, program);
        /* 0.4 s later the quick stage has let go all but 2 %; the slow one, 10 ms of attack
         * behind, is at 1.2 exp(-390/600) - 0.2 exp(-390/100) = 0.622. */
        double quick = 10.0 * exp(-3.9) / 0.9, slow = 0.1 * (double)program * 0.622;
        ck_assert_double_eq_tol(reduction_at(4.4), fmax(quick, slow), 0.2);
    }
}
END_TEST

START_TEST(make_up_and_blend_are_gains) {
    set_full_scale(0.0f, 1.0f, 0.0f); /* nothing is taken */
    control[MAKEUP] = 6.0f;
    ck_assert_double_eq_tol(tone_out_db(1000.0, -20.0), -14.0, 0.001);
    control[BLEND] = 50.0f; /* the mean of 1 and 1.9953 */
    ck_assert_double_eq_tol(tone_out_db(1000.0, -20.0), -20.0 + 20.0 * log10(1.49763), 0.001);
    set_full_scale(-30.0f, 20.0f, 0.0f);
    control[BLEND] = 0.0f;
    tone_out_db(1000.0, -3.0);
    ck_assert(signals_same_bits(in[0], out[0], LENGTH));
}
END_TEST

/* ---- the voice's own level ---- */

static void sing_note(double level_db) {
    signals_harmonics(in[0], LENGTH, RATE, 200.0, 4000.0, -9.0, pow(10.0, level_db / 20.0));
    signals_fade_ends(in[0], LENGTH, RATE / 20);
}

/* A note at its usual level stands 4 dB over the default threshold, at the upper end of the knee:
 * (1 - 1/3) 4 = 2.67 dB. It must come to that without going further than the 0.67 dB more of a
 * level that is taken for 1 dB too low while the note sets in, for 50 ms. */
START_TEST(a_note_alone_is_at_its_usual_level) {
    for (double level_db = -60.0; level_db <= -12.0; level_db += 16.0) {
        float most = 0.0f;
        set_defaults();
        sing_note(level_db);
        play(1);
        for (size_t i = 0; i < LENGTH / 64; i++)
            most = fmaxf(most, reduction[i]);
        ck_assert_double_eq_tol(reduction_at(4.0), 2.67, 0.1);
        ck_assert_float_le(most, 2.67f + 0.67f);
    }
}
END_TEST

/* 0.2 s of a murmur, then 20 dB more: after t of singing no more than 12 t dB stand over the usual
 * level, by 0.3 s 3.6 dB, of which with the 4 dB to the threshold 2/3 are taken. Without that bound
 * it would be 14.6 dB. */
START_TEST(a_voice_hardly_known_is_not_bitten) {
    float most = 0.0f;
    set_defaults();
    sing_note(-12.0);
    signals_scale(in[0], (size_t)(0.2 * RATE), 0.1);
    play(1);
    for (size_t i = 0; i < (size_t)(0.3 * RATE / 64.0); i++)
        most = fmaxf(most, reduction[i]);
    ck_assert_float_ge(most, 2.0f);
    ck_assert_float_le(most, 5.07f);
}
END_TEST

START_TEST(an_unknown_voice_is_left_alone) {
    set_defaults();
    control[THRESHOLD] = -60.0f;
    control[RATIO] = 20.0f;
    sing_note(-12.0);
    play(1);
    ck_assert(signals_same_bits(in[0], out[0], RATE / 20));
    ck_assert(!signals_same_bits(in[0], out[0], RATE / 2));
}
END_TEST

/* 32 dB apart; logarithms are right to 2.4e-5 dB. */
START_TEST(the_level_of_the_take_does_not_matter) {
    static float quiet[LENGTH];
    set_defaults();
    Random random = random_seeded(4);
    for (int pass = 0; pass < 2; pass++) {
        sing_note(-14.0);
        for (size_t at = 0; at < LENGTH; at += RATE / 4) { /* notes up to 9 dB apart */
            double gain = pow(10.0, -(double)(at / (RATE / 4) * 5 % 10) / 20.0);
            signals_scale(in[0] + at, RATE / 4, gain);
        }
        random = random_seeded(4);
        for (size_t i = 0; i < LENGTH; i++)
            in[0][i] += (float)(1e-4 * random_normal(&random));
        if (pass == 0)
            signals_scale(in[0], LENGTH, pow(10.0, -32.0 / 20.0));
        play(1);
        if (pass == 0)
            memcpy(quiet, out[0], sizeof quiet);
    }
    signals_scale(quiet, LENGTH, pow(10.0, 32.0 / 20.0));
    ck_assert_double_le(signals_difference_db(quiet, out[0], LENGTH),
                        signals_rms_db(out[0], LENGTH) - 80.0);
}
END_TEST

START_TEST(both_channels_get_one_gain) {
    set_full_scale(-30.0f, 4.0f, 6.0f);
    signals_sine(in[0], LENGTH, RATE, 700.0, 0.01, 0.0);
    signals_sine(in[1], LENGTH, RATE, 500.0, 0.5, 0.0); /* the louder takes both down */
    play(2);
    for (size_t i = LENGTH / 2; i < LENGTH; i++)
        ck_assert_double_eq_tol((double)out[0][i] * (double)in[1][i],
                                (double)out[1][i] * (double)in[0][i], 1e-8);
    ck_assert_double_le(settled_gain(), -10.0);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("smooth_compressor");
    tcase_add_test(tcase, the_static_law_is_that_of_the_handbook);
    tcase_add_test(tcase, a_tone_of_100_hz_taken_down_by_10_db_is_hardly_distorted);
    tcase_add_test(tcase, attack_is_the_time_constant_of_turning_down);
    tcase_add_test(tcase, release_is_the_time_constant_of_coming_back);
    tcase_add_test(tcase, program_holds_its_share_after_a_phrase);
    tcase_add_test(tcase, make_up_and_blend_are_gains);
    tcase_add_test(tcase, a_note_alone_is_at_its_usual_level);
    tcase_add_test(tcase, a_voice_hardly_known_is_not_bitten);
    tcase_add_test(tcase, an_unknown_voice_is_left_alone);
    tcase_add_test(tcase, the_level_of_the_take_does_not_matter);
    tcase_add_test(tcase, both_channels_get_one_gain);
    tcase_set_timeout(tcase, 120); /* slow under valgrind */
    return run_tcase(tcase, "smooth_compressor");
}
