/* SPDX-License-Identifier: ISC */
#include "run_tcase.h"
#include "signals.h"
#include "sound/past_sound.h"

#include <check.h>
#include <math.h>

enum { LENGTH = 4096, TAKEN = 256 };
static unsigned char memory[1 << 20];
static float in[LENGTH], out[LENGTH];
static const double RATE = 48000.0;

static PastSound filled(void) {
    PastSound past;
    Arena arena = arena_over(memory, sizeof memory);
    ck_assert(past_sound_prepare(&past, 1, LENGTH, &arena));
    past_sound_reset(&past);
    const float *const channel[] = {in};
    for (size_t at = 0; at < LENGTH; at += TAKEN)
        past_sound_write(&past, channel, at, TAKEN);
    return past;
}

START_TEST(on_a_frame_it_is_that_frame_bit_for_bit) {
    Random random = random_seeded(1);
    signals_noise(in, LENGTH, 0.3, &random);
    PastSound past = filled();
    past_sound_read(&past, 0, 1000.0, 0, out, TAKEN);
    ck_assert(signals_same_bits(out, in + 1000, TAKEN));
    past_sound_read_at(&past, 0, 1000.0, 1.0, 0, out, TAKEN);
    ck_assert(signals_same_bits(out, in + 1000, TAKEN));
}
END_TEST

/* Against the sine itself, at 0.05 to 0.35 of the rate: within 0.5 dB, which is 6 % of it. */
START_TEST(between_frames_it_is_the_wave_that_the_frames_stand_for) {
    for (double hz = 0.05 * RATE; hz < 0.36 * RATE; hz += 0.03 * RATE)
        for (double start = 1000.0; start < 1001.0; start += 0.0937) {
            signals_sine(in, LENGTH, RATE, hz, 1.0, 0.3);
            PastSound past = filled();
            past_sound_read(&past, 0, start, 5, out, TAKEN);
            for (size_t i = 0; i < TAKEN; i++) {
                double t = start + 5.0 + (double)i;
                double wave = sin(2.0 * 3.14159265358979 * hz / RATE * t + 0.3);
                ck_assert_double_lt(fabs((double)out[i] - wave), 0.06);
            }
        }
}
END_TEST

/* Read twice as fast, 0.1 of the rate becomes 0.2, and 0.4, which would fold back to 0.2, is
 * gone. */
START_TEST(what_would_fold_back_is_taken_out_first) {
    for (double speed = 1.3; speed < 4.0; speed += 0.17) {
        double high = 0.5 * RATE / speed * 1.6, low = 0.5 * RATE / speed * 0.4;
        signals_sine(in, LENGTH, RATE, low, 1.0, 0.0);
        PastSound past = filled();
        past_sound_read_at(&past, 0, 1000.2, speed, 0, out, TAKEN);
        ck_assert_double_gt(signals_rms_db(out, TAKEN), -4.0);
        if (high >= 0.48 * RATE)
            continue;
        signals_sine(in, LENGTH, RATE, high, 1.0, 0.0);
        past = filled();
        past_sound_read_at(&past, 0, 1000.2, speed, 0, out, TAKEN);
        ck_assert_double_lt(signals_rms_db(out, TAKEN), -30.0);
    }
}
END_TEST

START_TEST(the_same_wherever_a_block_begins) {
    static float pieces[TAKEN];
    Random random = random_seeded(2);
    signals_noise(in, LENGTH, 0.3, &random);
    PastSound past = filled();
    past_sound_read_at(&past, 0, 1000.37, 1.37, 3, out, TAKEN);
    for (size_t at = 0, n = 1; at < TAKEN; at += n, n = n % 37 + 5) {
        n = n < TAKEN - at ? n : TAKEN - at;
        past_sound_read_at(&past, 0, 1000.37, 1.37, 3 + (int64_t)at, pieces + at, n);
    }
    ck_assert(signals_same_bits(out, pieces, TAKEN));
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("past_sound");
    tcase_add_test(tcase, on_a_frame_it_is_that_frame_bit_for_bit);
    tcase_add_test(tcase, between_frames_it_is_the_wave_that_the_frames_stand_for);
    tcase_add_test(tcase, what_would_fold_back_is_taken_out_first);
    tcase_add_test(tcase, the_same_wherever_a_block_begins);
    return run_tcase(tcase, "past_sound");
}
