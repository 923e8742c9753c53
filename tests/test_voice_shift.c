/* SPDX-License-Identifier: ISC */
/* The whole chain of voice-shift, driven through its plugin_spec as the shell drives it. */
/* NOLINTNEXTLINE(bugprone-suspicious-include): to reach its tables. */
#include "../plugins/voice-shift/voice-shift_plugin.c"

#include "run_spec.h"
#include "run_tcase.h"
#include "signals.h"
#include "sing_into.h"

#include <check.h>
#include <stdio.h>
#include <stdlib.h>

enum { RATE = 48000, LENGTH = 4 * RATE };
static float in[2][LENGTH], out[2][LENGTH];

static void run(SpecRun *spec) {
    const float *const i[2] = {in[0], in[1]};
    float *const o[2] = {out[0], out[1]};
    spec_run_over(spec, i, o, LENGTH);
}

static void sing(uint64_t seed) {
    sing_into(in[0], LENGTH, RATE, seed);
}

START_TEST(with_nothing_to_do_it_is_the_input_to_the_bit) {
    sing(1);
    in[0][100] = -0.0f, in[0][101] = 1e-40f;
    SpecRun spec = spec_run(&plugin_spec, RATE, 1);
    run(&spec);
    ck_assert(signals_same_bits(in[0], out[0], LENGTH));
    spec.control[SEMITONES] = 7.0f;
    spec.control[BLEND] = 0.0f;
    run(&spec);
    ck_assert(signals_same_bits(in[0], out[0], LENGTH));
}
END_TEST

/* A harmonic tone of 200 Hz, as a voice at rest: its partials go, those of the new pitch come. */
START_TEST(a_tone_is_moved_by_semitones_and_cents) {
    const double hz = 200.0;
    static const float semitones[] = {-12.0f, -5.0f, 4.0f, 12.0f};
    for (int i = 0; i < 4; i++) {
        double moved = hz * exp2(((double)semitones[i] + 0.5) / 12.0);
        signals_harmonics(in[0], LENGTH, RATE, hz, 6000.0, -6.0, 0.1);
        SpecRun spec = spec_run(&plugin_spec, RATE, 1);
        spec.control[SEMITONES] = semitones[i];
        spec.control[CENTS] = 50.0f;
        run(&spec);
        for (int k = 2; k <= 6; k++) {
            double there = signals_tone_amplitude(out[0] + RATE, RATE, RATE, moved * k);
            double beside = signals_tone_amplitude(out[0] + RATE, RATE, RATE, moved * (k + 0.5));
            ck_assert_double_gt(there, 30.0 * beside);
        }
    }
}
END_TEST

/* Three tones with no period in common that is looked for. The joints of the taps spread each tone
 * by some 36 Hz; halves that do not go together lose 1.3 dB on the mean, and more where they
 * cancel. */
START_TEST(a_chord_is_moved_too) {
    static const double chord[] = {200.0, 282.84, 341.0};
    signals_silence(in[0], LENGTH);
    for (int i = 0; i < 3; i++)
        signals_sine_add(in[0], LENGTH, RATE, chord[i], 0.1, (double)i);
    SpecRun spec = spec_run(&plugin_spec, RATE, 1);
    spec.control[SEMITONES] = 12.0f;
    run(&spec);
    size_t n = LENGTH - (size_t)RATE;
    double was = signals_rms_db(in[0] + RATE, n);
    double there = signals_band_db(out[0] + RATE, n, RATE, 370.0, 720.0);
    double left = signals_band_db(out[0] + RATE, n, RATE, 180.0, 350.0);
    printf("%.1f dB an octave up, %.1f dB left\n", there - was, left - was);
    ck_assert_double_gt(there, was - 4.0);
    ck_assert_double_lt(left, there - 8.0);
}
END_TEST

/* As long and as high as an /s/ is held at most. */
START_TEST(a_hiss_passes_as_it_is) {
    Random random = random_seeded(8);
    signals_silence(in[0], LENGTH);
    signals_band_noise(in[0] + RATE, RATE / 2, RATE, 4500.0, 10000.0, 0.1, &random);
    SpecRun spec = spec_run(&plugin_spec, RATE, 1);
    spec.control[SEMITONES] = 12.0f;
    run(&spec);
    ck_assert(signals_same_bits(in[0], out[0], LENGTH));
}
END_TEST

START_TEST(both_sides_are_moved_alike) {
    sing(2);
    for (size_t t = 0; t < LENGTH; t++)
        in[1][t] = 0.25f * in[0][t];
    SpecRun spec = spec_run(&plugin_spec, RATE, 2);
    spec.control[SEMITONES] = 5.0f;
    spec.control[FORMANT] = 2.0f;
    run(&spec);
    for (size_t t = 0; t < LENGTH; t++)
        ck_assert_float_eq(out[1][t], 0.25f * out[0][t]);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("voice_shift");
    tcase_add_test(tcase, with_nothing_to_do_it_is_the_input_to_the_bit);
    tcase_add_test(tcase, a_tone_is_moved_by_semitones_and_cents);
    tcase_add_test(tcase, a_chord_is_moved_too);
    tcase_add_test(tcase, a_hiss_passes_as_it_is);
    tcase_add_test(tcase, both_sides_are_moved_alike);
    tcase_set_timeout(tcase, 60);
    return run_tcase(tcase, "voice_shift");
}
