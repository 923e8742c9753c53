/* SPDX-License-Identifier: ISC */
#include "run_tcase.h"
#include "signals.h"
#include "sound/echo_loop.h"

#include <check.h>
#include <math.h>
#include <string.h>

enum { RATE = 48000, LENGTH = 2 * RATE, ROOM = 1 << 21, DELAY = 2000, MOST = 20000 };
static float in[2][LENGTH], out[2][LENGTH], other[2][LENGTH];
static unsigned char memory[ROOM];

static EchoLoop make(double rate_hz, unsigned channels, double feedback, double diffusion) {
    EchoLoop echo;
    Arena arena = arena_over(memory, ROOM);
    ck_assert(echo_loop_prepare(&echo, rate_hz, channels, MOST, &arena));
    echo_loop_reset(&echo);
    echo_loop_set(&echo, &(EchoLoopParams){.delay = {DELAY, DELAY},
                                           .feedback = feedback,
                                           .diffusion = diffusion,
                                           .low_hz = 20.0,
                                           .high_hz = 0.0});
    return echo;
}

static void run(EchoLoop *echo, float to[2][LENGTH], uint64_t cuts) {
    Random random = random_seeded(cuts);
    for (size_t at = 0; at < LENGTH;) {
        size_t n = cuts ? random_below(&random, 300) : LENGTH;
        n = n < LENGTH - at ? n : LENGTH - at;
        const float *const from[2] = {in[0] + at, in[1] + at};
        float *const into[2] = {to[0] + at, to[1] + at};
        echo_loop_process(echo, from, into, n);
        at += n;
    }
}

static void noise(double rms) {
    Random random = random_seeded(81);
    for (unsigned c = 0; c < 2; c++)
        signals_noise(in[c], LENGTH, rms, &random);
}

START_TEST(an_impulse_comes_back_every_delay_by_the_feedback) {
    /* The high-pass at 20 Hz takes 2 pi 20 sqrt 2 / 48000 = 0.4 % of an impulse's first frame, once
     * a round; the clip at 0.1 4/27 of a hundredth, 0.15 %. */
    for (double feedback = 0.2; feedback < 0.91; feedback += 0.35) {
        EchoLoop echo = make(RATE, 1, feedback, 0.0);
        signals_silence(in[0], LENGTH);
        in[0][0] = 0.1f;
        run(&echo, out, 3);
        for (size_t k = 1; k <= 8; k++)
            ck_assert_double_eq_tol((double)out[0][k * DELAY] /
                                        (0.1 * pow(feedback, (double)k - 1.0)),
                                    1.0, 0.006 * (double)k);
        ck_assert(signals_peak(out[0], DELAY) == 0.0);
    }
}
END_TEST

START_TEST(a_tone_in_step_grows_to_the_bound_and_no_further) {
    /* 240 Hz, 10 periods in 2000 frames: what goes round is under 0.5 + 0.95, the echoes the same
     * but for what the high-pass at 20 Hz overshoots, a twentieth. Without the bound it would be
     * 10. */
    EchoLoop echo = make(RATE, 1, 0.95, 0.0);
    signals_sine(in[0], LENGTH, RATE, 240.0, 0.5, 0.0);
    run(&echo, out, 4);
    double peak = signals_peak(out[0], LENGTH);
    ck_assert_double_le(peak, 1.45 * 1.05);
    ck_assert_double_ge(peak, 1.2);
}
END_TEST

START_TEST(diffusion_loses_nothing) {
    /* All-passes: the energy of a burst, smeared, but for what is not over yet. */
    Random random = random_seeded(82);
    signals_silence(in[0], LENGTH);
    signals_band_noise(in[0], RATE / 4, RATE, 200.0, 8000.0, 0.1, &random);
    EchoLoop echo = make(RATE, 1, 0.0, 0.0);
    run(&echo, out, 5);
    echo = make(RATE, 1, 0.0, 1.0);
    run(&echo, other, 5);
    ck_assert_double_eq_tol(signals_rms_db(other[0], LENGTH), signals_rms_db(out[0], LENGTH), 0.1);
    ck_assert_double_ge(signals_rms_db(other[0] + DELAY + RATE / 4, RATE / 20),
                        signals_rms_db(out[0] + DELAY + RATE / 4, RATE / 20) + 20.0);
}
END_TEST

START_TEST(cutting_changes_no_bit_and_in_may_be_out) {
    for (double rate_hz = 8000.0; rate_hz <= 192000.0; rate_hz *= 24.0) {
        noise(0.2);
        EchoLoop echo = make(rate_hz, 2, 0.9, 0.5);
        run(&echo, out, 0);
        echo = make(rate_hz, 2, 0.9, 0.5);
        run(&echo, other, 6);
        for (unsigned c = 0; c < 2; c++)
            ck_assert(signals_same_bits(out[c], other[c], LENGTH));
        echo = make(rate_hz, 2, 0.9, 0.5);
        run(&echo, in, 7);
        for (unsigned c = 0; c < 2; c++)
            ck_assert(signals_same_bits(out[c], in[c], LENGTH));
    }
}
END_TEST

START_TEST(a_reset_forgets) {
    noise(0.2);
    EchoLoop echo = make(RATE, 2, 0.9, 0.5);
    run(&echo, out, 0);
    echo_loop_reset(&echo);
    run(&echo, other, 0);
    for (unsigned c = 0; c < 2; c++)
        ck_assert(signals_same_bits(out[c], other[c], LENGTH));
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("echo_loop");
    tcase_add_test(tcase, an_impulse_comes_back_every_delay_by_the_feedback);
    tcase_add_test(tcase, a_tone_in_step_grows_to_the_bound_and_no_further);
    tcase_add_test(tcase, diffusion_loses_nothing);
    tcase_add_test(tcase, cutting_changes_no_bit_and_in_may_be_out);
    tcase_add_test(tcase, a_reset_forgets);
    return run_tcase(tcase, "echo_loop");
}
