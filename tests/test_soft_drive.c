/* SPDX-License-Identifier: ISC */
/* The whole chain of soft-drive, driven through its plugin_spec as the shell drives it. */
/* NOLINTNEXTLINE(bugprone-suspicious-include): to reach its tables. */
#include "../plugins/soft-drive/soft-drive_plugin.c"

#include "run_spec.h"
#include "run_tcase.h"
#include "signals.h"
#include "sing_into.h"

#include <check.h>
#include <stdio.h>
#include <stdlib.h>

enum { RATE = 48000, LENGTH = 4 * RATE };
static float in[2][LENGTH], out[2][LENGTH], other[2][LENGTH];

static void run(SpecRun *spec, float to[2][LENGTH]) {
    const float *const i[2] = {in[0], in[1]};
    float *const o[2] = {to[0], to[1]};
    spec_run_over(spec, i, o, LENGTH);
}

static void sing(uint64_t seed) {
    sing_into(in[0], LENGTH, RATE, seed);
}

START_TEST(a_voice_comes_out_as_loud_as_it_went_in) {
    for (uint64_t seed = 1; seed <= 4; seed++) {
        sing(seed);
        for (float drive = 6.0f; drive <= 36.0f; drive += 10.0f)
            for (float character = 0.0f; character <= 100.0f; character += 100.0f)
                for (float tone = -6.0f; tone <= 6.0f; tone += 6.0f) {
                    SpecRun spec = spec_run(&plugin_spec, RATE, 1);
                    spec.control[DRIVE] = drive;
                    spec.control[CHARACTER] = character;
                    spec.control[TONE] = tone;
                    run(&spec, out);
                    double off = signals_rms_db(out[0], LENGTH) - signals_rms_db(in[0], LENGTH);
                    printf("seed %d, drive %2g, character %3g, tone %+g: %+.2f dB\n", (int)seed,
                           (double)drive, (double)character, (double)tone, off);
                    ck_assert_double_le(fabs(off), 1.0);
                }
    }
}
END_TEST

START_TEST(without_blend_or_without_anything_to_do_it_is_the_input_to_the_bit) {
    sing(2);
    in[0][100] = -0.0f, in[0][101] = 1e-40f;
    SpecRun spec = spec_run(&plugin_spec, RATE, 1);
    spec.control[DRIVE] = 24.0f;
    spec.control[BLEND] = 0.0f;
    run(&spec, out);
    ck_assert(signals_same_bits(in[0], out[0], LENGTH));
    spec = spec_run(&plugin_spec, RATE, 1);
    spec.control[DRIVE] = 0.0f;
    run(&spec, out);
    ck_assert(signals_same_bits(in[0], out[0], LENGTH));
}
END_TEST

START_TEST(driven_and_dry_are_aligned) {
    /* At half the blend a comb would take its teeth out of noise; the two differ by a 16th of a
     * frame and by what the curve does, so that no octave loses 0.5 dB at little drive. */
    Random random = random_seeded(95);
    signals_noise(in[0], LENGTH, 0.1, &random);
    SpecRun spec = spec_run(&plugin_spec, RATE, 1);
    spec.control[DRIVE] = 1.0f;
    spec.control[BLEND] = 50.0f;
    run(&spec, out);
    for (double low = 60.0; low < 10000.0; low *= 2.0) {
        double before = signals_band_db(in[0], LENGTH, RATE, low, 2.0 * low);
        double after = signals_band_db(out[0], LENGTH, RATE, low, 2.0 * low);
        ck_assert_double_eq_tol(after, before, 0.5);
    }
}
END_TEST

START_TEST(tone_tilts_the_driven_sound) {
    /* Little drive, so that the tilt is nearly alone: 12 dB between far below and far above 1 kHz
     * at tone 6, less what a first-order tilt has not reached at 100 Hz and 10 kHz, 0.2 dB each. */
    Random random = random_seeded(96);
    signals_noise(in[0], LENGTH, 0.05, &random);
    SpecRun spec = spec_run(&plugin_spec, RATE, 1);
    spec.control[DRIVE] = 0.5f;
    spec.control[TONE] = 6.0f;
    run(&spec, out);
    double low = signals_band_db(out[0], LENGTH, RATE, 60.0, 100.0) -
                 signals_band_db(in[0], LENGTH, RATE, 60.0, 100.0);
    double high = signals_band_db(out[0], LENGTH, RATE, 9000.0, 15000.0) -
                  signals_band_db(in[0], LENGTH, RATE, 9000.0, 15000.0);
    ck_assert_double_eq_tol(high - low, 12.0, 0.6);
}
END_TEST

START_TEST(cutting_changes_no_bit) {
    sing(3);
    SpecRun spec = spec_run(&plugin_spec, RATE, 1);
    spec.control[DRIVE] = 18.0f;
    spec.control[CHARACTER] = 50.0f;
    spec.control[TONE] = 2.0f;
    spec.control[BLEND] = 70.0f;
    run(&spec, out);
    const size_t chunks[] = {1, 63, 65, 200};
    for (int k = 0; k < 4; k++) {
        spec.chunk = chunks[k];
        run(&spec, other);
        ck_assert(signals_same_bits(out[0], other[0], LENGTH));
    }
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("soft_drive");
    tcase_add_test(tcase, a_voice_comes_out_as_loud_as_it_went_in);
    tcase_add_test(tcase, without_blend_or_without_anything_to_do_it_is_the_input_to_the_bit);
    tcase_add_test(tcase, driven_and_dry_are_aligned);
    tcase_add_test(tcase, tone_tilts_the_driven_sound);
    tcase_add_test(tcase, cutting_changes_no_bit);
    tcase_set_timeout(tcase, 120);
    return run_tcase(tcase, "soft_drive");
}
