/* SPDX-License-Identifier: ISC */
#include "filter/eq_sections.h"
#include "run_tcase.h"
#include "signals.h"

#include <check.h>
#include <float.h>
#include <math.h>
#include <string.h>

enum { LENGTH = 48000 };
static const double RATE = 48000.0;
static float in[2][LENGTH], out[2][LENGTH], again[2][LENGTH];

static void play(EqSections *eq, float (*to)[LENGTH], size_t at, size_t n) {
    const float *from[2] = {in[0] + at, in[1] + at};
    float *into[2] = {to[0] + at, to[1] + at};
    eq_sections_process(eq, from, into, n);
}

static Matched bell(double hz, double gain_db) {
    return matched_bell(RATE, hz, 2.0, gain_db);
}

static Matched any_filter(Random *random, double rate_hz) {
    double gain_db = random_range(random, -15.0, 9.0);
    if (random_below(random, 4) == 0)
        return matched_high_shelf(rate_hz, random_range(random, 4000.0, 16000.0), gain_db);
    double hz = 60.0 * pow(50.0, random_unit(random));
    return matched_bell(rate_hz, hz, matched_q(random_range(random, 0.1, 3.0)), gain_db);
}

/* The same by the difference equation, in double. */
static void direct(const Matched *f, const double *x, double *y, size_t n) {
    double x1 = 0.0, x2 = 0.0, y1 = 0.0, y2 = 0.0;
    for (size_t i = 0; i < n; i++) {
        double now = x[i];
        double value = f->b0 * now + f->b1 * x1 + f->b2 * x2 - f->a1 * y1 - f->a2 * y2;
        x2 = x1, x1 = now, y2 = y1, y1 = value;
        y[i] = value;
    }
}

/* Noise through all four, at the lowest and the highest rate. Rounding: each of some ten sums is
 * 2^-24 off, and the narrowest, lowest bell keeps what it has for 1/d frames, 1e4 at 192 kHz, so
 * that deviations add up to 2^-24 sqrt(10 * 1e4) = 2e-5: -94 dB of the loudest. */
START_TEST(it_is_the_filter_that_was_designed) {
    static double x[LENGTH], y[LENGTH];
    for (uint64_t seed = 1; seed <= 24; seed++) {
        Random random = random_seeded(seed);
        double rate_hz = seed % 2 ? 8000.0 : 192000.0;
        EqSections eq;
        eq_sections_prepare(&eq, rate_hz);
        signals_noise(in[0], LENGTH, 0.1, &random);
        for (size_t i = 0; i < LENGTH; i++)
            y[i] = (double)in[0][i];
        memcpy(in[1], in[0], sizeof in[1]);
        for (unsigned s = 0; s < EQ_SECTIONS; s++) {
            Matched f = any_filter(&random, rate_hz);
            eq_sections_aim(&eq, s, &f);
            memcpy(x, y, sizeof x);
            direct(&f, x, y, LENGTH);
        }
        play(&eq, out, 0, LENGTH);
        for (size_t i = 0; i < LENGTH; i++)
            again[0][i] = (float)y[i];
        double off = signals_difference_db(out[0], again[0], LENGTH);
        double level = signals_rms_db(again[0], LENGTH);
        ck_assert_msg(off <= level - 94.0, "seed %d: %.1f dB off, level %.1f dB", (int)seed, off,
                      level);
        ck_assert(signals_same_bits(out[0], out[1], LENGTH));
    }
}
END_TEST

START_TEST(with_nothing_at_work_the_input_passes_bit_for_bit) {
    EqSections eq;
    Random random = random_seeded(3);
    eq_sections_prepare(&eq, RATE);
    signals_noise(in[0], LENGTH, 0.1, &random);
    signals_noise(in[1], LENGTH, 0.1, &random);
    in[0][7] = -0.0f;
    in[1][9] = 1e-39f;
    in[0][LENGTH - 7] = -0.0f; /* what adds nothing to it makes a 0 of it */
    play(&eq, out, 0, LENGTH);
    ck_assert(signals_same_bits(in[0], out[0], LENGTH) && signals_same_bits(in[1], out[1], LENGTH));
    /* And again once all that worked has faded out. */
    Matched cut = bell(300.0, -9.0);
    eq_sections_aim(&eq, 1, &cut);
    play(&eq, out, 0, LENGTH / 2);
    ck_assert(!signals_same_bits(in[0], out[0], LENGTH / 2));
    eq_sections_aim(&eq, 1, NULL);
    play(&eq, out, 0, LENGTH);
    ck_assert(!signals_same_bits(in[0], out[0], eq.fade));
    ck_assert(signals_same_bits(in[0] + eq.fade, out[0] + eq.fade, LENGTH - eq.fade));
}
END_TEST

static float energy(const EqSections *eq, unsigned s) {
    return eq->state.ic1[s][0] * eq->state.ic1[s][0] + eq->state.ic2[s][0] * eq->state.ic2[s][0];
}

/* New goals at any frame, so that the coefficients are mixtures of mixtures: without input the
 * states never grow. Rounding: six operations of 2^-24 each on numbers no larger than the states,
 * twice that in the square. */
START_TEST(no_fade_makes_energy) {
    Random random = random_seeded(11);
    EqSections eq;
    eq_sections_prepare(&eq, RATE);
    for (unsigned s = 0; s < EQ_SECTIONS; s++) {
        Matched f = any_filter(&random, RATE);
        eq_sections_aim(&eq, s, &f);
    }
    signals_noise(in[0], 1000, 1.0, &random);
    memcpy(in[1], in[0], sizeof in[1]);
    play(&eq, out, 0, 1000);
    memset(in, 0, sizeof in);
    for (size_t i = 0; i < LENGTH; i++) {
        float before = energy(&eq, 0);
        if (random_below(&random, 20) == 0) {
            Matched f = any_filter(&random, RATE);
            eq_sections_aim(&eq, 0, &f);
        }
        play(&eq, out, i, 1);
        /* The first section has no input; the others have its output. */
        ck_assert_float_le(energy(&eq, 0), before * (1.0f + 12.0f * FLT_EPSILON));
        if (energy(&eq, 0) < 1e-20f) /* rung out: again */
            eq.state.ic1[0] = simd_all(1.0f);
    }
}
END_TEST

/* The largest of what is above 8 kHz (48 dB an octave) after the filter has been set. */
static double click_db(double fade_ms, double from_hz, double from_db, double to_hz, double to_db) {
    EqSections eq;
    eq_sections_prepare(&eq, RATE);
    eq.fade = (size_t)lrint(fade_ms * 1e-3 * RATE);
    Matched before = bell(from_hz, from_db), after = bell(to_hz, to_db);
    if (from_db != 0.0)
        eq_sections_aim(&eq, 0, &before);
    play(&eq, out, 0, LENGTH / 2);
    eq_sections_aim(&eq, 0, to_db != 0.0 ? &after : NULL);
    play(&eq, out, LENGTH / 2, LENGTH / 2);
    signals_band_filter(out[0], again[0], LENGTH, RATE, 8000.0, 1e9);
    signals_band_filter(again[0], again[0], LENGTH, RATE, 8000.0, 1e9);
    return signals_peak_db(again[0] + LENGTH / 4, LENGTH / 2);
}

/* A tone of 300 Hz and amplitude 1, under the largest changes that there are. The output goes from
 * y0 to y1, at most 2.0 - 0.18 apart, on a line of T = 30 ms: a corner of |y1 - y0| / T in its
 * slope at either end, which leaves |y1 - y0| / (2 pi f T) above f: -58 dB. Seen: -77 and less.
 * Within a frame the same changes click at -57 to -20 dB. */
START_TEST(a_change_does_not_click) {
    static const double changes[][4] = {{300.0, 0.0, 300.0, -15.0},
                                        {300.0, -15.0, 300.0, 0.0},
                                        {300.0, -15.0, 300.0, 6.0},
                                        {60.0, 6.0, 3000.0, -15.0},
                                        {3000.0, -15.0, 300.0, 6.0}};
    signals_sine(in[0], LENGTH, RATE, 300.0, 1.0, 0.3);
    signals_fade_ends(in[0], LENGTH, 2000);
    memcpy(in[1], in[0], sizeof in[1]);
    for (int i = 0; i < 5; i++) {
        const double *c = changes[i];
        ck_assert_double_le(click_db(EQ_FADE_MS, c[0], c[1], c[2], c[3]), -58.0);
        ck_assert_double_ge(click_db(1.0 / 48.0, c[0], c[1], c[2], c[3]), -58.0);
    }
}
END_TEST

START_TEST(a_change_takes_thirty_milliseconds_and_ends_at_its_goal) {
    EqSections eq;
    eq_sections_prepare(&eq, RATE);
    Matched cut = bell(300.0, -9.0), other = bell(900.0, 3.0);
    ck_assert_uint_eq(eq.fade, 1440);
    eq_sections_aim(&eq, 2, &cut);
    play(&eq, out, 0, 10); /* the first goals are met at once */
    ck_assert_mem_eq(&eq.state.now[2], &eq.state.goal[2], sizeof(EqSection));
    eq_sections_aim(&eq, 2, &other);
    play(&eq, out, 0, 1439);
    ck_assert_mem_ne(&eq.state.now[2], &eq.state.goal[2], sizeof(EqSection));
    play(&eq, out, 0, 1);
    ck_assert_mem_eq(&eq.state.now[2], &eq.state.goal[2], sizeof(EqSection));
}
END_TEST

static void play_with_changes(size_t block, float (*to)[LENGTH]) {
    EqSections eq;
    Random random = random_seeded(5);
    eq_sections_prepare(&eq, RATE);
    for (size_t at = 0; at < LENGTH;) {
        size_t until = at + 1 + random_below(&random, 3000);
        unsigned which = (unsigned)random_below(&random, EQ_SECTIONS);
        Matched f = any_filter(&random, RATE);
        eq_sections_aim(&eq, which, random_below(&random, 3) ? &f : NULL);
        until = until < LENGTH ? until : LENGTH;
        for (; at < until; at += block < until - at ? block : until - at)
            play(&eq, to, at, block < until - at ? block : until - at);
    }
}

START_TEST(cutting_blocks_changes_nothing) {
    Random random = random_seeded(6);
    signals_noise(in[0], LENGTH, 0.1, &random);
    signals_noise(in[1], LENGTH, 0.1, &random);
    play_with_changes(LENGTH, out);
    play_with_changes(37, again);
    ck_assert(signals_same_bits(out[0], again[0], LENGTH));
    ck_assert(signals_same_bits(out[1], again[1], LENGTH));
}
END_TEST

START_TEST(a_reset_forgets_the_sound_and_keeps_the_goals) {
    EqSections eq;
    Random random = random_seeded(8);
    eq_sections_prepare(&eq, RATE);
    signals_noise(in[0], LENGTH, 0.1, &random);
    memcpy(in[1], in[0], sizeof in[1]);
    Matched cut = bell(300.0, -9.0), boost = bell(500.0, 6.0);
    eq_sections_aim(&eq, 0, &cut);
    play(&eq, out, 0, LENGTH);
    eq_sections_aim(&eq, 1, &boost); /* a fade that the reset ends */
    play(&eq, again, 0, 100);
    eq_sections_aim(&eq, 1, NULL);
    eq_sections_reset(&eq);
    play(&eq, again, 0, LENGTH);
    ck_assert(signals_same_bits(out[0], again[0], LENGTH));
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("eq_sections");
    tcase_add_test(tcase, it_is_the_filter_that_was_designed);
    tcase_add_test(tcase, with_nothing_at_work_the_input_passes_bit_for_bit);
    tcase_add_test(tcase, no_fade_makes_energy);
    tcase_add_test(tcase, a_change_does_not_click);
    tcase_add_test(tcase, a_change_takes_thirty_milliseconds_and_ends_at_its_goal);
    tcase_add_test(tcase, cutting_blocks_changes_nothing);
    tcase_add_test(tcase, a_reset_forgets_the_sound_and_keeps_the_goals);
    tcase_set_timeout(tcase, 60); /* slow under valgrind */
    return run_tcase(tcase, "eq_sections");
}
