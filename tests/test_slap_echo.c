/* SPDX-License-Identifier: ISC */
/* slap-echo, driven through its plugin_spec as the shell drives it. */
/* NOLINTNEXTLINE(bugprone-suspicious-include): to reach its tables. */
#include "../plugins/slap-echo/slap-echo_plugin.c"

#include "run_spec.h"
#include "run_tcase.h"
#include "signals.h"

#include <check.h>
#include <stdio.h>

enum { RATE = 48000, LENGTH = 6 * RATE, BURST = 2400, TWO = 2 * BURST, FOUR = 4 * BURST };
static float in[2][LENGTH], out[2][LENGTH], other[2][LENGTH];

/* Open filters, no diffusion. */
static SpecRun plain(float time_ms, float feedback) {
    SpecRun spec = spec_run(&plugin_spec, RATE, 2);
    spec.control[TIME] = time_ms;
    spec.control[FEEDBACK] = feedback;
    spec.control[LOW_CUT] = 20.0f;
    spec.control[HIGH_CUT] = 20000.0f;
    return spec;
}

static void run(SpecRun *spec, float to[2][LENGTH]) {
    const float *const i[2] = {in[0], in[1]};
    float *const o[2] = {to[0], to[1]};
    spec_run_over(spec, i, o, LENGTH);
}

/* 50 ms of noise between 500 Hz and 4 kHz, which the open filters leave alone, peaks under -12
 * dBFS. */
static void burst(void) {
    Random random = random_seeded(41);
    for (unsigned c = 0; c < 2; c++)
        signals_silence(in[c], LENGTH);
    signals_band_noise(in[0], BURST, RATE, 500.0, 4000.0, 0.05, &random);
    signals_fade_ends(in[0], BURST, 480);
    memcpy(in[1], in[0], sizeof in[0]);
}

/* How many frames after `at` the burst is most like what is there, within 50. */
static long place_of(const float *audio, size_t at) {
    long best = 0;
    double most = 0.0;
    for (long off = -50; off <= 50; off++) {
        const float *from = audio + (size_t)((long)at + off);
        double like = 0.0;
        for (size_t t = 0; t < BURST; t++)
            like += (double)from[t] * (double)in[0][t];
        if (like > most) {
            most = like;
            best = off;
        }
    }
    return best;
}

START_TEST(echoes_come_in_time_and_as_loud_as_set) {
    /* The k-th after k times the time, to the frame, the time rounded to whole frames, and the
     * low-pass's own delay once a round: at most 2.61 / (2 pi 20 kHz) = 21 us (Butterworth, 4th
     * order, far below its corner), 1 frame. Its level is feedback^(k - 1) within half a dB. */
    burst();
    for (float time = 60.0f; time < 500.0f; time *= 1.7f)
        for (float feedback = 30.0f; feedback < 91.0f; feedback += 30.0f) {
            SpecRun spec = plain(time, feedback);
            run(&spec, out);
            for (size_t k = 1; k <= 6; k++) {
                size_t at = (size_t)lrint(1e-3 * (double)time * RATE) * k;
                double law = 20.0 * log10(0.01 * (double)feedback) * ((double)k - 1.0);
                double level = signals_rms_db(out[0] + at, BURST) - signals_rms_db(in[0], BURST);
                ck_assert_int_ge(place_of(out[0], at), -1);
                ck_assert_int_le(place_of(out[0], at), 1 + (long)k);
                ck_assert_double_eq_tol(level, law, 0.5);
            }
        }
}
END_TEST

START_TEST(with_a_tempo_the_division_counts) {
    /* 60000 / BPM a quarter; dotted x 1.5, triplet x 2/3 (common practice). */
    static const struct {
        float tempo, division;
        double ms;
    } cases[] = {{120, 4, 250.0},    {120, 7, 500.0},
                 {120, 6, 375.0},    {90, 5, 444.4444},
                 {128, 1, 117.1875}, {100, 2, 200.0},
                 {100, 8, 900.0},    {100, 9, 1200.0},
                 {60, 10, 2000.0},   /* 4 s, halved */ {300, 0, 33.3333},
                 {174, 3, 129.3103}};
    burst();
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        SpecRun spec = plain(700.0f, 0.0f);
        spec.control[TEMPO] = cases[i].tempo;
        spec.control[DIVISION] = cases[i].division;
        run(&spec, out);
        size_t at = (size_t)lrint(1e-3 * cases[i].ms * RATE);
        ck_assert_int_le(labs(place_of(out[0], at)), 1);
        ck_assert_double_eq_tol(signals_rms_db(out[0] + at, BURST), signals_rms_db(in[0], BURST),
                                0.5);
    }
    for (float tempo = 0.01f; tempo < 301.0f; tempo *= 3.0f) /* none leaves the range */
        for (int division = 0; division < N_NOTES; division++) {
            const float control[N_CONTROLS] = {
                [TIME] = 700.0f, [TEMPO] = tempo, [DIVISION] = (float)division};
            double ms = time_ms(control);
            ck_assert(ms >= (double)SHORTEST_MS && ms <= (double)LONGEST_MS);
        }
}
END_TEST

START_TEST(spread_makes_the_right_side_later) {
    burst();
    SpecRun spec = plain(200.0f, 0.0f);
    spec.control[SPREAD] = 100.0f;
    run(&spec, out);
    ck_assert_int_le(labs(place_of(out[0], 9600)), 1);
    ck_assert_int_le(labs(place_of(out[1], 11520)), 1);
}
END_TEST

START_TEST(each_round_passes_the_filters_again) {
    /* Butterworth, 12 dB an octave at 500 Hz: at 250 Hz 10 lg(1 + 16) = 12.3 dB a round. */
    signals_silence(in[0], LENGTH);
    signals_sine(in[0], FOUR, RATE, 250.0, 0.1, 0.0);
    signals_fade_ends(in[0], FOUR, BURST);
    memcpy(in[1], in[0], sizeof in[0]);
    SpecRun spec = plain(400.0f, 90.0f);
    spec.control[LOW_CUT] = 500.0f;
    run(&spec, out);
    double first = signals_tone_amplitude(&out[0][19200 + BURST], TWO, RATE, 250.0);
    double second = signals_tone_amplitude(&out[0][38400 + BURST], TWO, RATE, 250.0);
    ck_assert_double_eq_tol(20.0 * log10(first / 0.1), -12.3, 0.3);
    ck_assert_double_eq_tol(20.0 * log10(second / first), -12.3 - 0.92, 0.3);
}
END_TEST

START_TEST(it_is_bounded_at_any_setting) {
    /* What goes round is under |x| + 0.95. The filters ring over that by no more than the sum of
     * their responses' magnitudes, 8.9 dB (edge_filter.h), six all-passes of 0.6 by up to (1 + 2 x
     * 0.6) each, were every one of their echoes in step, which no signal does: a noise of +-1 and a
     * tone in step are tried, and 20 dB asked for, 40 dB under what the loop alone would grow
     * to. */
    Random random = random_seeded(42);
    double worst = 0.0;
    for (int tone = 0; tone < 2; tone++)
        for (int k = 0; k < 6; k++) {
            SpecRun spec = plain(20.0f + 30.0f * (float)k, 95.0f);
            spec.control[DIFFUSION] = k % 2 ? 100.0f : 0.0f;
            spec.control[HIGH_CUT] = k % 3 ? 20000.0f : 3000.0f;
            for (unsigned c = 0; c < 2; c++)
                for (size_t t = 0; t < LENGTH; t++)
                    in[c][t] = tone                         ? (t / 60 % 2 ? 1.0f : -1.0f)
                               : random_unit(&random) < 0.5 ? -1.0f
                                                            : 1.0f;
            run(&spec, out);
            worst = fmax(worst, signals_peak(out[0], LENGTH));
            ck_assert(signals_all_finite(out[0], LENGTH) && signals_all_finite(out[1], LENGTH));
        }
    printf("largest: %.2f\n", worst);
    ck_assert_double_le(worst, 10.0);
}
END_TEST

START_TEST(diffusion_keeps_the_energy_and_spreads_it) {
    burst();
    SpecRun spec = plain(300.0f, 0.0f);
    run(&spec, out);
    spec.control[DIFFUSION] = 100.0f;
    run(&spec, other);
    ck_assert_double_eq_tol(signals_rms_db(other[0], LENGTH), signals_rms_db(out[0], LENGTH), 0.5);
    ck_assert_double_le(signals_rms_db(&other[0][14400], BURST),
                        signals_rms_db(&out[0][14400], BURST) - 3.0);
}
END_TEST

START_TEST(cutting_changes_no_bit) {
    Random random = random_seeded(43);
    for (unsigned c = 0; c < 2; c++)
        signals_noise(in[c], LENGTH, 0.1, &random);
    SpecRun spec = plain(20.0f, 90.0f);
    spec.control[DIFFUSION] = 50.0f;
    spec.control[SPREAD] = 100.0f;
    run(&spec, out);
    const size_t chunks[] = {1, 127, 200};
    for (int k = 0; k < 3; k++) {
        spec.chunk = chunks[k];
        run(&spec, other);
        ck_assert(signals_same_bits(out[0], other[0], LENGTH));
        ck_assert(signals_same_bits(out[1], other[1], LENGTH));
    }
    spec.control[BLEND] = 0.0f;
    run(&spec, out);
    ck_assert(signals_same_bits(in[0], out[0], LENGTH) && signals_same_bits(in[1], out[1], LENGTH));
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("slap_echo");
    tcase_add_test(tcase, echoes_come_in_time_and_as_loud_as_set);
    tcase_add_test(tcase, with_a_tempo_the_division_counts);
    tcase_add_test(tcase, spread_makes_the_right_side_later);
    tcase_add_test(tcase, each_round_passes_the_filters_again);
    tcase_add_test(tcase, it_is_bounded_at_any_setting);
    tcase_add_test(tcase, diffusion_keeps_the_energy_and_spreads_it);
    tcase_add_test(tcase, cutting_changes_no_bit);
    tcase_set_timeout(tcase, 60);
    return run_tcase(tcase, "slap_echo");
}
