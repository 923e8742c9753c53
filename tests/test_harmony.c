/* SPDX-License-Identifier: ISC */
/* The whole chain of harmony, driven through its plugin_spec as the shell drives it. */
/* NOLINTNEXTLINE(bugprone-suspicious-include): to reach its tables. */
#include "../plugins/harmony/harmony_plugin.c"

#include "run_spec.h"
#include "run_tcase.h"
#include "signals.h"
#include "sing_into.h"

#include <check.h>
#include <stdio.h>
#include <stdlib.h>

enum { RATE = 48000, LENGTH = 4 * RATE, LONG = 3 * RATE / 2 };
static float in[2][LENGTH], out[2][LENGTH], other[2][LENGTH];

static void run(SpecRun *spec) {
    const float *const i[2] = {in[0], in[1]};
    float *const o[2] = {out[0], out[1]};
    spec_run_over(spec, i, o, LENGTH);
}

static double hz_of(double note) {
    return 440.0 * exp2((note - 69.0) / 12.0);
}

static void tone(double note) {
    signals_harmonics(in[0], LENGTH, RATE, hz_of(note), 5000.0, -6.0, 0.1);
}

/* How much of partials 2 to 6 of that note there is, over what lies between them. */
static double partials(double note) {
    double there = 0.0, beside = 0.0;
    for (int k = 2; k <= 6; k++) {
        there += signals_tone_amplitude(out[0] + 2 * (size_t)RATE, LONG, RATE, hz_of(note) * k);
        beside +=
            signals_tone_amplitude(out[0] + 2 * (size_t)RATE, LONG, RATE, hz_of(note) * (k + 0.5));
    }
    return there / beside;
}

static SpecRun strict(void) {
    SpecRun spec = spec_run(&plugin_spec, RATE, 1);
    spec.control[LOOSENESS] = 0.0f;
    return spec;
}

START_TEST(with_blend_at_0_it_is_the_input_to_the_bit) {
    sing_into(in[0], LENGTH, RATE, 1);
    in[0][100] = -0.0f, in[0][101] = 1e-40f;
    SpecRun spec = spec_run(&plugin_spec, RATE, 1);
    spec.control[BLEND] = 0.0f;
    run(&spec);
    ck_assert(signals_same_bits(in[0], out[0], LENGTH));
}
END_TEST

START_TEST(key_scale_and_steps_choose_the_note) {
    static const struct {
        float key, scale, steps;
        double sung, wanted;
    } asked[] = {
        {0, SCALE_MAJOR, 2, 60.0, 64.0},          {0, SCALE_MAJOR, 2, 62.3, 65.0},
        {0, SCALE_MAJOR, -5, 64.0, 55.0},         {10, SCALE_MAJOR, 2, 60.0, 63.0},
        {0, SCALE_NATURAL_MINOR, 2, 59.8, 63.0},  {0, SCALE_CHROMATIC, 5, 59.9, 65.0},
        {9, SCALE_HARMONIC_MINOR, 4, 64.0, 71.0}, {0, SCALE_MAJOR, 7, 55.0, 67.0},
    };
    for (size_t i = 0; i < sizeof asked / sizeof *asked; i++) {
        tone(asked[i].sung);
        SpecRun spec = strict();
        spec.control[KEY] = asked[i].key;
        spec.control[SCALE] = asked[i].scale;
        spec.control[STEPS] = asked[i].steps;
        run(&spec);
        double there = partials(asked[i].wanted);
        printf("%.1f to %.0f: %.0f\n", asked[i].sung, asked[i].wanted, there);
        ck_assert_double_gt(there, 30.0);
    }
}
END_TEST

START_TEST(the_tuning_is_the_bands) {
    tone(60.0);
    SpecRun spec = strict();
    spec.control[TUNING] = 446.0f;
    run(&spec);
    ck_assert_double_gt(partials(64.0 + 12.0 * log2(446.0 / 440.0)), 30.0);
}
END_TEST

/* A line that wanders by some cents is no line any more. */
/* A voice that goes on at another pitch every 0.1 to 0.3 s, without a gap, and whose every second
 * period is weaker in half of these stretches. Grains of a voice on the edge of breaking are cut
 * where they hold least, or meet half a turn apart, and where depends on when a run of periods was
 * found. */
static void breaking_voice(uint64_t seed) {
    Random random = random_seeded(seed);
    double phase = 0.0, hz = 200.0, weak = 1.0;
    for (size_t t = 0, left = 0; t < LENGTH; t++, left--) {
        if (left == 0) {
            left = (size_t)(random_range(&random, 0.1, 0.3) * RATE);
            hz = 120.0 * exp2(1.5 * random_unit(&random));
            weak = random_unit(&random) < 0.5 ? 1.0 : random_range(&random, 0.4, 0.9);
        }
        phase = fmod(phase + hz / RATE, 2.0);
        double x = 0.0;
        for (int k = 1; k < 20; k++)
            x += cos(2.0 * PI * k * phase) / k;
        in[0][t] = (float)(0.05 * (phase < 1.0 ? 1.0 : weak) * x);
    }
}

START_TEST(it_is_as_loud_as_the_lead_at_every_moment) {
    enum { HOP = RATE / 10 };
    for (uint64_t seed = 1; seed <= 3; seed++) {
        double most = 0.0;
        breaking_voice(seed);
        SpecRun spec = strict();
        run(&spec);
        for (size_t at = HOP; at + HOP <= LENGTH - HOP; at += HOP)
            most = fmax(most,
                        fabs(signals_rms_db(out[0] + at, HOP) - signals_rms_db(in[0] + at, HOP)));
        printf("seed %u: %.2f dB off at most\n", (unsigned)seed, most);
        ck_assert_double_le(most, 1.0);
    }
}
END_TEST

START_TEST(looseness_moves_what_stood_still) {
    double lines[2];
    tone(60.0);
    for (int k = 0; k < 2; k++) {
        SpecRun spec = strict();
        spec.control[LOOSENESS] = k ? 100.0f : 0.0f;
        run(&spec);
        lines[k] = partials(64.0);
    }
    ck_assert_double_gt(lines[0], 30.0);
    ck_assert_double_lt(lines[1], 0.3 * lines[0]);
}
END_TEST

/* Partials of the new note end where those of the lead do, at 5 kHz; half an octave of formants
 * puts that end at 7 kHz. */
/* Clicks are not voiced, and come as late as the voice is: from 0 to 2 x 20 ms x looseness^2, a
 * frame of rounding. A second singer who is always late is not loose, and of a word's first sound
 * he would be heard to lose some. */
START_TEST(looseness_wanders_in_time_from_the_lead_on) {
    static const float loose[] = {0.0f, 30.0f, 100.0f};
    for (int i = 0; i < 3; i++) {
        SpecRun spec = spec_run(&plugin_spec, RATE, 1);
        spec.control[LOOSENESS] = loose[i];
        signals_silence(in[0], LENGTH);
        for (size_t at = RATE / 4; at + RATE / 4 < LENGTH; at += RATE / 4)
            in[0][at] = 0.5f;
        run(&spec);
        double least = 1e9, most = -1e9;
        for (size_t at = RATE / 4; at + RATE / 4 < LENGTH; at += RATE / 4) {
            size_t peak = at - RATE / 100;
            for (size_t t = peak; t < at + RATE / 4; t++)
                peak = fabsf(out[0][t]) > fabsf(out[0][peak]) ? t : peak;
            least = fmin(least, 1000.0 * ((double)peak - (double)at) / RATE);
            most = fmax(most, 1000.0 * ((double)peak - (double)at) / RATE);
        }
        double bound = 40.0 * (double)(loose[i] * loose[i]) * 1e-4;
        printf("looseness %.0f: %.2f to %.2f ms late\n", (double)loose[i], least, most);
        ck_assert(least >= -0.03 && most <= bound + 0.03);
        ck_assert(loose[i] == 0.0f || most - least > 0.1 * bound);
    }
}
END_TEST

START_TEST(formants_move_by_themselves) {
    double hz = hz_of(64.0) * 18.0, db[2]; /* 5.9 kHz */
    tone(60.0);
    for (int k = 0; k < 2; k++) {
        SpecRun spec = strict();
        spec.control[FORMANT] = k ? 6.0f : 0.0f;
        run(&spec);
        double low =
            signals_tone_amplitude(out[0] + 2 * (size_t)RATE, LONG, RATE, hz_of(64.0) * 9.0);
        db[k] =
            20.0 * log10(signals_tone_amplitude(out[0] + 2 * (size_t)RATE, LONG, RATE, hz) / low);
    }
    printf("at 5.9 kHz %.1f -> %.1f dB\n", db[0], db[1]);
    ck_assert_double_lt(db[0], -40.0);
    ck_assert_double_gt(db[1], -20.0); /* the slope of the tone, 6 dB an octave, goes along */
}
END_TEST

START_TEST(both_channels_are_sung_alike_however_blocks_are_cut) {
    sing_into(in[0], LENGTH, RATE, 2);
    for (size_t t = 0; t < LENGTH; t++)
        in[1][t] = 0.25f * in[0][t];
    SpecRun spec = spec_run(&plugin_spec, RATE, 2);
    run(&spec);
    for (size_t t = 0; t < LENGTH; t++)
        ck_assert_float_eq(out[1][t], 0.25f * out[0][t]);
    memcpy(other, out, sizeof out);
    spec.chunk = 37;
    run(&spec);
    ck_assert(signals_same_bits(out[0], other[0], LENGTH));
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("harmony");
    tcase_add_test(tcase, with_blend_at_0_it_is_the_input_to_the_bit);
    tcase_add_test(tcase, key_scale_and_steps_choose_the_note);
    tcase_add_test(tcase, the_tuning_is_the_bands);
    tcase_add_test(tcase, it_is_as_loud_as_the_lead_at_every_moment);
    tcase_add_test(tcase, looseness_moves_what_stood_still);
    tcase_add_test(tcase, looseness_wanders_in_time_from_the_lead_on);
    tcase_add_test(tcase, formants_move_by_themselves);
    tcase_add_test(tcase, both_channels_are_sung_alike_however_blocks_are_cut);
    tcase_set_timeout(tcase, 60);
    return run_tcase(tcase, "harmony");
}
