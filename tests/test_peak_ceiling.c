/* SPDX-License-Identifier: ISC */
/* The whole chain of peak-ceiling, driven through its plugin_spec as the shell drives it. */
/* NOLINTNEXTLINE(bugprone-suspicious-include): to reach its tables. */
#include "../plugins/peak-ceiling/peak-ceiling_plugin.c"

#include "read_wave.h"
#include "run_spec.h"
#include "run_tcase.h"
#include "signals.h"
#include "singer.h"

#include <check.h>
#include <stdio.h>
#include <stdlib.h>

enum { LENGTH = 24000, EDGE = 3000 };
static ReadWave wave;
static float in[2][LENGTH], out[2][LENGTH], other[2][LENGTH];

static void run(SpecRun *spec, float to[2][LENGTH]) {
    const float *const i[2] = {in[0], in[1]};
    float *const o[2] = {to[0], to[1]};
    spec_run_over(spec, i, o, LENGTH);
}

/* ---- what is held down; silence on either side, so that nothing begins at the cut ---- */

enum { VOICE, NOISE, QUARTER, SQUARE, NEAR_NYQUIST, N_KINDS };

static void fill(int kind, double rate) {
    const size_t n = LENGTH - 2 * EDGE;
    float *x = in[0] + EDGE;
    Random random = random_seeded(90 + (uint64_t)kind);
    memset(in, 0, sizeof in);
    if (kind == VOICE) {
        SingerTake take;
        SingerParams params = singer_params(SINGER_WOMAN, rate, 7);
        params.phrases = 1;
        params.sibilants_db = 10.0;
        ck_assert(singer_take(&params, &take));
        size_t from = take.n > 2 * n ? take.n / 2 - n : 0;
        for (size_t t = 0; t < n; t++)
            x[t] = take.mix[(from + t) % take.n];
        signals_scale(x, n, 0.9 / signals_peak(x, n));
        singer_free(&take);
    } else if (kind == NOISE) {
        signals_noise(x, n, 0.3, &random);
    } else if (kind == QUARTER) {
        signals_sine(x, n, 1.0, 0.25, 1.0, PI / 4.0);
    } else if (kind == SQUARE) {
        for (size_t t = 0; t < n; t++)
            x[t] = fmod(441.0 * (double)t / rate, 1.0) < 0.5 ? 1.0f : -1.0f;
    } else {
        signals_sine(x, n, 1.0, 0.45, 1.0, 0.0);
    }
}

START_TEST(no_true_peak_is_over_the_ceiling) {
    static const char *const names[] = {"voice", "noise", "rate / 4", "square", "0.45 rate"};
    static const double rates[] = {44100.0, 48000.0, 88200.0, 96000.0};
    static const float settings[][2] = {{0, 0}, {12, 0}, {24, 0}, {6, 30}, {24, 100}};
    double rate = rates[_i];
    for (int kind = 0; kind < N_KINDS; kind++) {
        double worst = -100.0;
        fill(kind, rate);
        for (int s = 0; s < 5; s++) {
            SpecRun spec = spec_run(&plugin_spec, rate, 1);
            spec.control[DRIVE] = settings[s][0];
            spec.control[COLOUR] = settings[s][1];
            spec.control[CEILING] = -6.0f;
            run(&spec, out);
            worst = fmax(worst, read_wave_peak_db(&wave, out[0], LENGTH, 0.1) + 6.0);
            ck_assert_double_le(signals_peak_db(out[0], LENGTH), -6.0);
        }
        printf("%g Hz, %s: %+.3f dB\n", rate, names[kind], worst);
        ck_assert_double_le(worst, 0.05);
    }
}
END_TEST

START_TEST(under_the_ceiling_it_is_the_input_to_the_bit) {
    Random random = random_seeded(91);
    for (int c = 0; c < 2; c++)
        for (size_t t = 0; t < LENGTH; t++)
            in[c][t] = (float)random_range(&random, -0.3, 0.3);
    in[0][200] = -0.0f, in[0][201] = 1e-40f;
    SpecRun spec = spec_run(&plugin_spec, 48000.0, 2);
    run(&spec, out);
    ck_assert(signals_same_bits(in[0], out[0], LENGTH));
    ck_assert(signals_same_bits(in[1], out[1], LENGTH));
    ck_assert(spec.reduction_db == 0.0f);
}
END_TEST

START_TEST(drive_is_a_gain_and_colour_bends_where_the_limiter_rests) {
    signals_sine(in[0], LENGTH, 48000.0, 300.0, 0.2, 0.0);
    SpecRun spec = spec_run(&plugin_spec, 48000.0, 1);
    spec.control[CEILING] = 0.0f;
    spec.control[DRIVE] = 6.0f;
    run(&spec, out);
    ck_assert_double_eq_tol(signals_tone_amplitude(out[0] + 4800, 9600, 48000.0, 300.0),
                            0.2 * pow(10.0, 0.3), 1e-3);
    spec.control[DRIVE] = 0.0f;
    spec.control[COLOUR] = 100.0f;
    run(&spec, out);
    ck_assert(spec.reduction_db == 0.0f);
    /* x / sqrt(1 + x^2): H3 = A^3 / 8, and under 5 % less for the next term */
    ck_assert_double_eq_tol(signals_tone_amplitude(out[0] + 4800, 9600, 48000.0, 900.0),
                            0.2 * 0.2 * 0.2 / 8.0, 1e-4);
}
END_TEST

START_TEST(it_comes_back_to_the_input_after_a_peak) {
    signals_sine(in[0], LENGTH, 48000.0, 300.0, 0.3, 0.0);
    in[0][2000] = 3.0f;
    SpecRun spec = spec_run(&plugin_spec, 48000.0, 1);
    spec.control[RELEASE] = 10.0f;
    run(&spec, out);
    ck_assert_double_ge((double)spec.reduction_db, 8.0);
    /* 10 ms times ln(1e6) and the hold */
    const size_t back = 2000 + (size_t)48 * 170;
    ck_assert(signals_same_bits(in[0] + back, out[0] + back, LENGTH - back));
}
END_TEST

START_TEST(a_held_tone_is_not_distorted) {
    /* 100 Hz 6 dB over the ceiling: residue of the fundamental over the last 200 ms; asked -50
     * dB. */
    for (double hz = 60.0; hz < 250.0; hz += 40.0) {
        signals_sine(in[0], LENGTH, 48000.0, hz, 1.0, 0.0);
        SpecRun spec = spec_run(&plugin_spec, 48000.0, 1);
        spec.control[CEILING] = -6.0206f;
        run(&spec, out);
        const float *y =
            out[0] + LENGTH - 9600 - 480; /* whole periods of 20 Hz; clear of the end */
        double re = 0.0, im = 0.0, all = 0.0;
        for (size_t t = 0; t < 9600; t++) {
            double angle = 2.0 * PI * hz / 48000.0 * (double)t;
            re += (double)y[t] * cos(angle) / 4800.0, im += (double)y[t] * sin(angle) / 4800.0;
            all += (double)y[t] * (double)y[t] / 4800.0;
        }
        double residue = 10.0 * log10(fabs(all - re * re - im * im) / all + 1e-15);
        printf("%g Hz: %.1f dB\n", hz, residue);
        ck_assert_double_le(residue, -80.0);
        ck_assert_double_eq_tol(sqrt(re * re + im * im), 0.5, 0.001);
    }
}
END_TEST

START_TEST(both_channels_get_one_gain) {
    Random random = random_seeded(92);
    signals_noise(in[0], LENGTH, 0.5, &random);
    for (size_t t = 0; t < LENGTH; t++)
        in[1][t] = 0.25f * in[0][t];
    SpecRun spec = spec_run(&plugin_spec, 48000.0, 2);
    spec.control[DRIVE] = 6.0f;
    run(&spec, out);
    for (size_t t = 0; t < LENGTH; t++)
        ck_assert(out[1][t] == 0.25f * out[0][t]);
}
END_TEST

START_TEST(colour_leaves_less_to_the_gain) {
    fill(VOICE, 48000.0);
    float last = 100.0f;
    for (float colour = 0.0f; colour <= 100.0f; colour += 25.0f) {
        SpecRun spec = spec_run(&plugin_spec, 48000.0, 1);
        spec.control[DRIVE] = 12.0f;
        spec.control[COLOUR] = colour;
        run(&spec, out);
        printf("colour %g: the gain takes %.2f dB\n", (double)colour, (double)spec.reduction_db);
        ck_assert_float_lt(spec.reduction_db, last);
        last = spec.reduction_db;
    }
    ck_assert_double_le((double)last, 3.0);
}
END_TEST

START_TEST(the_meter_tells_the_true_peak_of_the_result) {
    signals_sine(in[0], LENGTH, 48000.0, 12000.0, 1.0, PI / 4.0);
    SpecRun spec = spec_run(&plugin_spec, 48000.0, 1);
    run(&spec, out);
    ck_assert_double_eq_tol((double)spec.meter[TRUE_PEAK], -1.0, 0.3);
    signals_scale(in[0], LENGTH, 0.25);
    run(&spec, out);
    ck_assert_double_eq_tol((double)spec.meter[TRUE_PEAK], -12.04, 0.3);
}
END_TEST

START_TEST(cutting_changes_no_bit) {
    fill(VOICE, 48000.0);
    SpecRun spec = spec_run(&plugin_spec, 48000.0, 1);
    spec.control[DRIVE] = 12.0f;
    spec.control[COLOUR] = 50.0f;
    run(&spec, out);
    const size_t chunks[] = {1, 63, 64, 65, 200};
    for (int k = 0; k < 5; k++) {
        spec.chunk = chunks[k];
        run(&spec, other);
        ck_assert(signals_same_bits(out[0], other[0], LENGTH));
    }
}
END_TEST

int main(void) {
    read_wave_prepare(&wave);
    TCase *tcase = tcase_create("peak_ceiling");
    tcase_add_loop_test(tcase, no_true_peak_is_over_the_ceiling, 0, 4);
    tcase_add_test(tcase, under_the_ceiling_it_is_the_input_to_the_bit);
    tcase_add_test(tcase, drive_is_a_gain_and_colour_bends_where_the_limiter_rests);
    tcase_add_test(tcase, it_comes_back_to_the_input_after_a_peak);
    tcase_add_test(tcase, a_held_tone_is_not_distorted);
    tcase_add_test(tcase, both_channels_get_one_gain);
    tcase_add_test(tcase, colour_leaves_less_to_the_gain);
    tcase_add_test(tcase, the_meter_tells_the_true_peak_of_the_result);
    tcase_add_test(tcase, cutting_changes_no_bit);
    tcase_set_timeout(tcase, 120);
    return run_tcase(tcase, "peak_ceiling");
}
