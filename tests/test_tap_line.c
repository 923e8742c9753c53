/* SPDX-License-Identifier: ISC */
#include "run_tcase.h"
#include "signals.h"
#include "sound/tap_line.h"

#include <check.h>
#include <math.h>
#include <string.h>

enum { RATE = 48000, LENGTH = 48000, ROOM = 1 << 18, FADE = 1440, MOST = 8000 };
static float in[LENGTH], out[LENGTH], other[LENGTH];
static unsigned char memory[ROOM];

static TapLine make(void) {
    TapLine tap;
    Arena arena = arena_over(memory, ROOM);
    ck_assert(tap_line_prepare(&tap, RATE, MOST, &arena));
    tap_line_reset(&tap);
    return tap;
}

/* In stretches of 1 to 250 frames; `moves` new delays at the frames given. */
typedef struct {
    size_t frame, delay;
} Move;

static void run(TapLine *tap, const Move *moves, size_t n_moves, float *to, uint64_t cuts) {
    Random random = random_seeded(cuts);
    for (size_t at = 0, done = 0; at < LENGTH;) {
        for (; done < n_moves && moves[done].frame == at; done++)
            tap_line_set(tap, moves[done].delay);
        size_t n = 1 + random_below(&random, 250);
        size_t end = done < n_moves ? moves[done].frame : LENGTH;
        n = n < end - at ? n : end - at;
        tap_line_process(tap, in + at, to + at, n);
        at += n;
    }
}

START_TEST(at_rest_it_copies) {
    const size_t delays[] = {0, 1, 255, 5000, MOST};
    Random random = random_seeded(7);
    signals_noise(in, LENGTH, 0.3, &random);
    for (size_t k = 0; k < 5; k++) {
        TapLine tap = make();
        run(&tap, &(Move){0, delays[k]}, 1, out, k);
        ck_assert(signals_same_bits(out + delays[k], in, LENGTH - delays[k]));
        ck_assert(signals_peak(out, delays[k]) == 0.0);
    }
}
END_TEST

START_TEST(a_change_fades_and_is_there_after_30_ms) {
    Random random = random_seeded(8);
    signals_noise(in, LENGTH, 0.3, &random);
    TapLine tap = make();
    const Move moves[] = {{0, 1000}, {10000, 3000}, {10100, 200}, {10200, 4000}};
    run(&tap, moves, 4, out, 9);
    ck_assert(signals_same_bits(out + 9000, in + 8000, 1000));
    /* the first goal is reached, then the last of those that waited */
    float at_first = in[10000 + FADE - 1 - 3000];
    ck_assert(out[10000 + FADE - 1] == at_first);
    ck_assert(signals_same_bits(&out[10000 + 2 * FADE], &in[6000 + 2 * FADE], 20000));
    /* half way it is the mean of both */
    size_t mid = 10000 + FADE / 2 - 1;
    ck_assert_double_eq_tol((double)out[mid],
                            0.5 * ((double)in[mid - 1000] + (double)in[mid - 3000]), 1e-6);
}
END_TEST

START_TEST(a_constant_stays_and_a_tone_does_not_click) {
    for (size_t t = 0; t < LENGTH; t++)
        in[t] = 0.5f;
    TapLine tap = make();
    const Move moves[] = {{0, 1000}, {20000, 3000}};
    run(&tap, moves, 2, out, 1);
    for (size_t t = 4000; t < LENGTH; t++)
        ck_assert_double_eq_tol((double)out[t], 0.5, 1e-7);
    /* 500 Hz: what a fade of 30 ms adds above 8 kHz is over 80 dB down (its second derivative steps
     * by 6 / T^2: 6 / (2 pi 7500 0.03)^3 = 2e-9 of it; the rest is the filter's). */
    signals_sine(in, LENGTH, RATE, 500.0, 0.5, 0.0);
    tap = make();
    run(&tap, moves, 2, out, 1);
    signals_band_filter(out, other, LENGTH, RATE, 8000.0, 1e9);
    ck_assert_double_le(signals_peak_db(other + 12000, 20000), -80.0);
}
END_TEST

START_TEST(cutting_changes_no_bit) {
    Random random = random_seeded(10);
    signals_noise(in, LENGTH, 0.3, &random);
    const Move moves[] = {{0, 700}, {5000, 3000}, {5001, 30}, {9000, 0}, {20000, MOST}};
    TapLine a = make();
    run(&a, moves, 5, out, 1);
    a = make();
    run(&a, moves, 5, other, 2);
    ck_assert(signals_same_bits(out, other, LENGTH));
}
END_TEST

START_TEST(in_a_loop_it_reads_what_is_not_written_yet) {
    /* y[t] = x[t] + y[t - 300] / 2 in stretches of up to 250: echoes every 300 frames. */
    TapLine tap = make();
    tap_line_set(&tap, 300);
    signals_silence(in, LENGTH);
    in[0] = 1.0f;
    Random random = random_seeded(11);
    for (size_t at = 0; at < 9000;) {
        size_t n = 1 + random_below(&random, 250);
        tap_line_read_ahead(&tap, out + at, n);
        for (size_t i = 0; i < n; i++)
            out[at + i] = in[at + i] + 0.5f * out[at + i];
        tap_line_write(&tap, out + at, n);
        at += n;
    }
    for (size_t t = 0; t < 9000; t++)
        ck_assert(out[t] == (t % 300 ? 0.0f : ldexpf(1.0f, -(int)(t / 300))));
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("tap_line");
    tcase_add_test(tcase, at_rest_it_copies);
    tcase_add_test(tcase, a_change_fades_and_is_there_after_30_ms);
    tcase_add_test(tcase, a_constant_stays_and_a_tone_does_not_click);
    tcase_add_test(tcase, cutting_changes_no_bit);
    tcase_add_test(tcase, in_a_loop_it_reads_what_is_not_written_yet);
    return run_tcase(tcase, "tap_line");
}
