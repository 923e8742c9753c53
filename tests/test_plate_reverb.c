/* SPDX-License-Identifier: ISC */
/* plate-reverb, driven through its plugin_spec as the shell drives it, with flush-to-zero as
 * there. */
/* NOLINTNEXTLINE(bugprone-suspicious-include): to reach its tables. */
#include "../plugins/plate-reverb/plate-reverb_plugin.c"

#include "basic/flush_zero.h"
#include "reverb_measures.h"
#include "run_spec.h"
#include "run_tcase.h"
#include "signals.h"

#include <check.h>
#include <stdio.h>

enum { RATE = 48000, LENGTH = 4 * RATE, START = 9600, LAST = 2 * RATE, FROM = LENGTH - LAST };
static float in[2][LENGTH], out[2][LENGTH], other[2][LENGTH];

static void run(SpecRun *spec, float to[2][LENGTH]) {
    const float *const i[2] = {in[0], in[1]};
    float *const o[2] = {to[0], to[1]};
    uint64_t found = flush_zero_begin();
    spec_run_over(spec, i, o, LENGTH);
    flush_zero_end(found);
}

/* A mono take in the stereo one, no pre-delay. */
static SpecRun impulse(float decay) {
    for (unsigned c = 0; c < 2; c++) {
        signals_silence(in[c], LENGTH);
        in[c][START] = 1.0f;
    }
    SpecRun spec = spec_run(&plugin_spec, RATE, 2);
    spec.control[DECAY] = decay;
    spec.control[PRE_DELAY] = 0.0f;
    return spec;
}

START_TEST(dense_within_60_ms) {
    for (float decay = 0.3f; decay < 7.0f; decay *= 2.0f) {
        SpecRun spec = impulse(decay);
        run(&spec, out);
        for (unsigned c = 0; c < 2; c++) {
            double ms = reverb_dense_ms(out[c], START, RATE);
            printf("decay %g side %u: dense after %g ms\n", (double)decay, c, ms);
            ck_assert_double_le(ms, 60.0);
        }
    }
}
END_TEST

START_TEST(a_mono_take_gets_two_sides) {
    /* 0.15, or twice by how much the correlation of two noises in a band B strays that die by 60 dB
     * in T: sqrt(6.9 / (B T)). */
    SpecRun spec = impulse(0.9f);
    run(&spec, out);
    for (double hz = 250.0; hz < 8001.0; hz *= 2.0) {
        double like = reverb_correlation(out[0], out[1], LENGTH, RATE, hz);
        printf("sides at %g Hz: %+.3f\n", hz, like);
        ck_assert_double_le(fabs(like), fmax(0.15, 2.0 * sqrt(6.9 / (0.707 * hz * 0.9))));
    }
    spec.control[WIDTH] = 0.0f;
    run(&spec, out);
    ck_assert(signals_same_bits(out[0], out[1], LENGTH));
}
END_TEST

START_TEST(loudness_is_that_of_the_header) {
    Random random = random_seeded(31);
    signals_band_noise(in[0], LENGTH, RATE, 400.0, 2000.0, 0.1, &random);
    memcpy(in[1], in[0], sizeof in[0]);
    for (unsigned channels = 1; channels <= 2; channels++)
        for (float width = 0.0f; width <= 100.0f; width += 50.0f)
            for (float decay = 0.2f; decay < 2.0f; decay *= 3.0f) {
                SpecRun spec = spec_run(&plugin_spec, RATE, channels);
                spec.control[DECAY] = decay;
                spec.control[WIDTH] = width;
                run(&spec, out);
                double off = signals_rms_db(&out[0][FROM], LAST) + 20.0 - PLATE_LEVEL_DB;
                printf("%u channels, width %g, decay %.1f: %+.2f dB\n", channels, (double)width,
                       (double)decay, off);
                ck_assert_double_le(fabs(off), 1.5);
            }
}
END_TEST

START_TEST(nothing_before_the_pre_delay) {
    SpecRun spec = impulse(0.9f);
    spec.control[PRE_DELAY] = 100.0f;
    run(&spec, out);
    ck_assert(signals_peak(out[0], START + RATE / 10) == 0.0);
    ck_assert(signals_peak(out[0] + START + RATE / 10, 48) > 0.0);
}
END_TEST

START_TEST(silence_ends_exactly) {
    SpecRun spec = impulse(0.6f); /* -240 dB after 2.4 s */
    run(&spec, out);
    ck_assert(signals_peak(out[0] + RATE, 1000) > 0.0);
    ck_assert(signals_peak(out[0] + LENGTH - RATE / 4, RATE / 4) == 0.0);
    ck_assert(signals_peak(out[1] + LENGTH - RATE / 4, RATE / 4) == 0.0);
}
END_TEST

START_TEST(without_blend_it_is_the_input_to_the_bit) {
    Random random = random_seeded(32);
    for (unsigned c = 0; c < 2; c++)
        signals_noise(in[c], LENGTH, 0.1, &random);
    SpecRun spec = spec_run(&plugin_spec, RATE, 2);
    spec.control[BLEND] = 0.0f;
    run(&spec, out);
    ck_assert(signals_same_bits(in[0], out[0], LENGTH) && signals_same_bits(in[1], out[1], LENGTH));
}
END_TEST

START_TEST(cutting_changes_no_bit) {
    Random random = random_seeded(33);
    for (unsigned c = 0; c < 2; c++)
        signals_noise(in[c], LENGTH, 0.1, &random);
    SpecRun spec = spec_run(&plugin_spec, RATE, 2);
    spec.control[MOTION] = 80.0f;
    run(&spec, out);
    const size_t chunks[] = {1, 31, 200};
    for (int k = 0; k < 3; k++) {
        spec.chunk = chunks[k];
        run(&spec, other);
        ck_assert(signals_same_bits(out[0], other[0], LENGTH));
        ck_assert(signals_same_bits(out[1], other[1], LENGTH));
    }
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("plate_reverb");
    tcase_add_test(tcase, dense_within_60_ms);
    tcase_add_test(tcase, a_mono_take_gets_two_sides);
    tcase_add_test(tcase, loudness_is_that_of_the_header);
    tcase_add_test(tcase, nothing_before_the_pre_delay);
    tcase_add_test(tcase, silence_ends_exactly);
    tcase_add_test(tcase, without_blend_it_is_the_input_to_the_bit);
    tcase_add_test(tcase, cutting_changes_no_bit);
    tcase_set_timeout(tcase, 60);
    return run_tcase(tcase, "plate_reverb");
}
