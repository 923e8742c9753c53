/* SPDX-License-Identifier: ISC */
/* The whole chain of band-colour, driven through its plugin_spec as the shell drives it. */
/* NOLINTNEXTLINE(bugprone-suspicious-include): to reach its tables. */
#include "../plugins/band-colour/band-colour_plugin.c"

#include "aliases.h"
#include "run_spec.h"
#include "run_tcase.h"
#include "signals.h"
#include "sing_into.h"

#include <check.h>
#include <stdio.h>
#include <stdlib.h>

enum { RATE = 48000, LENGTH = 3 * RATE };
static float in[2][LENGTH], out[2][LENGTH], other[2][LENGTH];

static void run(SpecRun *spec, float to[2][LENGTH]) {
    const float *const i[2] = {in[0], in[1]};
    float *const o[2] = {to[0], to[1]};
    spec_run_over(spec, i, o, LENGTH);
}

static void sing(uint64_t seed) {
    sing_into(in[0], LENGTH, RATE, seed);
}

/* Gain at hz, in the settled half. */
static double gain_db(SpecRun *spec, double hz) {
    signals_sine(in[0], LENGTH, RATE, hz, 0.1, 0.2);
    run(spec, out);
    return 20.0 * log10(signals_tone_amplitude(out[0] + RATE, LENGTH - 2 * RATE, RATE, hz) / 0.1);
}

START_TEST(with_nothing_set_it_is_the_input_to_the_bit) {
    sing(1);
    in[0][100] = -0.0f, in[0][101] = 1e-40f;
    SpecRun spec = spec_run(&plugin_spec, RATE, 1);
    spec.control[CHARACTER] = 100.0f;
    spec.control[SPLIT] = 400.0f;
    run(&spec, out);
    ck_assert(signals_same_bits(in[0], out[0], LENGTH));
    ck_assert(spec.reduction_db == 0.0f);
}
END_TEST

START_TEST(all_bands_up_alike_is_flat) {
    for (double hz = 40.0; hz < 20000.0; hz *= 1.5) {
        SpecRun spec = spec_run(&plugin_spec, RATE, 1);
        for (int b = 0; b < BANDS; b++)
            spec.control[LEVEL + b] = 6.0f;
        ck_assert_double_eq_tol(gain_db(&spec, hz), 6.0, 0.01);
    }
}
END_TEST

START_TEST(levels_are_those_of_the_crossover_and_within_half_a_db_amid_their_band) {
    /* All bands are in phase, so that amplitudes add: sum of level times |LR4|, u being frequency
     * over split under the warp, |low| = 1 / (1 + u^4). Amid a band that is turned down its
     * neighbours still count, by 0.6 dB at -6 dB, so half a dB is asked of bands turned up. */
    const double amid[] = {50.0, 450.0, 2500.0, 14000.0}, split[] = {180.0, 1100.0, 5500.0};
    for (int b = 0; b < BANDS; b++)
        for (float level = -12.0f; level <= 12.0f; level += 6.0f)
            for (int at = 0; at < BANDS; at++) {
                double low[3], g = pow(10.0, (double)level / 20.0);
                for (int s = 0; s < 3; s++)
                    low[s] = 1.0 / (1.0 + pow(tan(PI * amid[at] / RATE) / tan(PI * split[s] / RATE),
                                              4.0));
                const double share[] = {low[1] * low[0], low[1] * (1.0 - low[0]),
                                        (1.0 - low[1]) * low[2], (1.0 - low[1]) * (1.0 - low[2])};
                SpecRun spec = spec_run(&plugin_spec, RATE, 1);
                spec.control[LEVEL + b] = level;
                double is = gain_db(&spec, amid[at]);
                ck_assert_double_eq_tol(is, 20.0 * log10(1.0 + (g - 1.0) * share[b]), 0.02);
                if (at == b && level >= 0.0f)
                    ck_assert_double_eq_tol(is, (double)level, 0.5);
            }
}
END_TEST

START_TEST(drive_leaves_the_level_of_a_band_and_takes_its_crest) {
    for (uint64_t seed = 1; seed <= 2; seed++)
        for (int b = 0; b < BANDS; b++) {
            /* The band by itself, the others 60 dB down by filters that are not the plugin's. */
            const double edges[] = {0.0, 180.0, 1100.0, 5500.0, 1e9};
            sing(seed);
            signals_band_filter(in[0], in[0], LENGTH, RATE, 1.2 * edges[b], edges[b + 1] / 1.2);
            signals_scale(in[0], LENGTH, 0.1 / signals_rms(in[0], LENGTH));
            double crest = signals_peak_db(in[0], LENGTH) - signals_rms_db(in[0], LENGTH);
            for (float drive = 12.0f; drive <= 24.0f; drive += 12.0f) {
                SpecRun spec = spec_run(&plugin_spec, RATE, 1);
                spec.control[DRIVE + b] = drive;
                run(&spec, out);
                double level = signals_rms_db(out[0], LENGTH) - signals_rms_db(in[0], LENGTH);
                double now = signals_peak_db(out[0], LENGTH) - signals_rms_db(out[0], LENGTH);
                printf("band %d, drive %g: level %+.2f dB, crest %.1f -> %.1f dB\n", b + 1,
                       (double)drive, level, crest, now);
                ck_assert_double_le(fabs(level), 0.5);
                ck_assert_double_le(now, crest - (double)drive / 24.0);
            }
        }
}
END_TEST

START_TEST(aliases_of_5_khz_under_24_db_are_80_db_down) {
    SpecRun spec = spec_run(&plugin_spec, RATE, 1);
    for (int b = 0; b < BANDS; b++)
        spec.control[DRIVE + b] = 24.0f;
    spec.control[CHARACTER] = 50.0f;
    signals_sine(in[0], LENGTH, RATE, 4999.0, 0.5, 0.0);
    run(&spec, out);
    double db = aliases_db(out[0] + RATE, RATE, 4999.0);
    printf("aliases %.1f dB\n", db);
    ck_assert_double_le(db, -80.0);
}
END_TEST

START_TEST(cutting_changes_no_bit) {
    sing(3);
    SpecRun spec = spec_run(&plugin_spec, RATE, 1);
    for (int b = 0; b < BANDS; b++)
        spec.control[DRIVE + b] = 6.0f * (float)b;
    spec.control[LEVEL] = 3.0f;
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
    TCase *tcase = tcase_create("band_colour");
    tcase_add_test(tcase, with_nothing_set_it_is_the_input_to_the_bit);
    tcase_add_test(tcase, all_bands_up_alike_is_flat);
    tcase_add_test(tcase, levels_are_those_of_the_crossover_and_within_half_a_db_amid_their_band);
    tcase_add_test(tcase, drive_leaves_the_level_of_a_band_and_takes_its_crest);
    tcase_add_test(tcase, aliases_of_5_khz_under_24_db_are_80_db_down);
    tcase_add_test(tcase, cutting_changes_no_bit);
    tcase_set_timeout(tcase, 120);
    return run_tcase(tcase, "band_colour");
}
