/* SPDX-License-Identifier: ISC */
#include "run_tcase.h"
#include "signals.h"
#include "sound/grains.h"

#include <check.h>
#include <math.h>
#include <string.h>

enum { LENGTH = 8192, FROM = 1000, N = 4096 };
static unsigned char memory[1 << 20];
static float in[LENGTH], out[N], other[N];
static PastSound past;

static void prepare(void) {
    Arena arena = arena_over(memory, sizeof memory);
    Random random = random_seeded(3);
    ck_assert(past_sound_prepare(&past, 1, LENGTH, &arena));
    past_sound_reset(&past);
    signals_noise(in, LENGTH, 0.3, &random);
    const float *const channel[] = {in};
    for (size_t at = 0; at < LENGTH; at += 256)
        past_sound_write(&past, channel, at, 256);
}

/* Grains of unequal periods, set down where they were, in pieces of at most `most` frames. */
static void play(double speed, size_t most, float *to) {
    static Grains grains;
    float *const channel[] = {to};
    double period = 100.3, place = FROM + 300.7;
    memset(to, 0, N * sizeof *to);
    grains_reset(&grains);
    for (size_t at = 0; at < N;) {
        while (place - period < (double)(FROM + at + most) && place < FROM + N - 200) {
            double after = period < 140.0 ? period * 1.07 : 90.1;
            grains_add(&grains, &(Grain){place, place, period, after, speed, 1.0f});
            place += after;
            period = after;
        }
        size_t n = most < N - at ? most : N - at;
        grains_process(&grains, &past, FROM + (int64_t)at, channel, at, n);
        at += n;
    }
}

/* Two halves of windows and two products, each rounded: 4 half units of numbers up to 1.5. */
START_TEST(grains_set_down_where_they_were_make_the_sound_again) {
    prepare();
    play(1.0, 256, out);
    for (size_t i = 400; i < N - 500; i++)
        ck_assert_float_eq_tol(out[i], in[FROM + i], 1.2e-6f);
}
END_TEST

START_TEST(any_cutting_gives_the_same_bits) {
    prepare();
    for (double speed = 0.7; speed < 1.6; speed += 0.15) {
        play(speed, 256, out);
        play(speed, 1, other);
        ck_assert(signals_same_bits(out, other, N));
        play(speed, 37, other);
        ck_assert(signals_same_bits(out, other, N));
    }
}
END_TEST

START_TEST(no_more_than_there_is_room_for_sound_at_once) {
    static Grains grains;
    prepare();
    grains_reset(&grains);
    for (int i = 0; i < 2 * GRAINS_MOST; i++)
        grains_add(&grains, &(Grain){FROM + 50.0, FROM + 50.0, 50.0, 50.0, 1.0, 1.0f});
    ck_assert_uint_eq(grains.state.count, GRAINS_MOST);
    float *const channel[] = {out};
    grains_process(&grains, &past, FROM, channel, 0, 256);
    ck_assert_uint_eq(grains.state.count, 0);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("grains");
    tcase_add_test(tcase, grains_set_down_where_they_were_make_the_sound_again);
    tcase_add_test(tcase, any_cutting_gives_the_same_bits);
    tcase_add_test(tcase, no_more_than_there_is_room_for_sound_at_once);
    return run_tcase(tcase, "grains");
}
