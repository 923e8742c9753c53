/* SPDX-License-Identifier: ISC */
#include "reverb_measures.h"
#include "run_tcase.h"
#include "signals.h"
#include "sound/plate.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

enum { RATE = 48000, LENGTH = 3 * RATE, ROOM = 1 << 22, START = 4800 };
static float in[2][LENGTH], out[2][LENGTH], other[2][LENGTH];
static unsigned char memory[ROOM];

static Plate make(double rate_hz, unsigned channels, double decay_s) {
    static Plate plate;
    Arena arena = arena_over(memory, ROOM);
    memset(&plate, 0, sizeof plate);
    ck_assert(plate_prepare(&plate, rate_hz, channels, &arena));
    plate_set(&plate, &(PlateParams){decay_s, 8000.0, 0.2});
    plate_reset(&plate);
    return plate;
}

static void run(Plate *plate, float to[2][LENGTH], uint64_t cuts) {
    Random random = random_seeded(cuts);
    for (size_t at = 0; at < LENGTH;) {
        size_t n = cuts ? random_below(&random, 300) : LENGTH;
        n = n < LENGTH - at ? n : LENGTH - at;
        const float *const from[2] = {in[0] + at, in[1] + at};
        float *const into[2] = {to[0] + at, to[1] + at};
        plate_process(plate, from, into, n);
        at += n;
    }
}

static void impulse(void) {
    for (unsigned c = 0; c < 2; c++) {
        signals_silence(in[c], LENGTH);
        in[c][START] = 1.0f;
    }
}

START_TEST(it_is_there_at_once_and_has_no_hole) {
    /* In every 10 ms of the first 100 the energy is what an exponential tail has there, within 6
     * dB: below 2 kHz, where nothing is damped. */
    const double decays[] = {0.4, 0.9, 2.0};
    for (size_t d = 0; d < 3; d++) {
        Plate plate = make(RATE, 2, decays[d]);
        impulse();
        run(&plate, out, 1);
        ck_assert(signals_peak(out[0], START) == 0.0);
        ck_assert(signals_peak(out[0] + START, RATE / 1000) > 0.0);
        signals_band_filter(out[0], other[0], LENGTH, RATE, 0.0, 2000.0);
        double all = signals_rms_db(other[0], LENGTH) + 10.0 * log10((double)LENGTH);
        for (int k = 1; k < 10; k++) {
            size_t step = RATE / 100;
            double law = exp(-13.8155 * 0.01 * k / decays[d]) * (1.0 - exp(-0.138155 / decays[d]));
            double here = signals_rms_db(other[0] + START + step * (size_t)k, step) +
                          10.0 * log10((double)step) - all;
            ck_assert_double_eq_tol(here, 10.0 * log10(law), 6.0);
        }
    }
}
END_TEST

START_TEST(dense_soon_at_every_rate) {
    const double rates_hz[] = {22050.0, 44100.0, 48000.0};
    for (size_t k = 0; k < 3; k++) {
        Plate plate = make(rates_hz[k], 1, 1.0);
        impulse();
        run(&plate, out, 2);
        double ms = reverb_dense_ms(out[0], START, rates_hz[k]);
        printf("%g Hz: dense after %g ms\n", rates_hz[k], ms);
        ck_assert_double_le(ms, 60.0);
    }
}
END_TEST

START_TEST(cutting_changes_no_bit_and_in_may_be_out) {
    Random random = random_seeded(91);
    for (double rate_hz = 8000.0; rate_hz <= 192000.0; rate_hz *= 24.0)
        for (unsigned channels = 1; channels <= 2; channels++) {
            for (unsigned c = 0; c < 2; c++)
                signals_noise(in[c], LENGTH, 0.1, &random);
            Plate plate = make(rate_hz, channels, 1.0);
            run(&plate, out, 0);
            plate_reset(&plate);
            run(&plate, other, 3);
            plate_reset(&plate);
            run(&plate, in, 4);
            for (unsigned c = 0; c < channels; c++) {
                ck_assert(signals_same_bits(out[c], other[c], LENGTH));
                ck_assert(signals_same_bits(out[c], in[c], LENGTH));
            }
        }
}
END_TEST

START_TEST(too_little_memory_is_told) {
    static Plate plate;
    Arena arena = arena_over(memory, 4096);
    ck_assert(!plate_prepare(&plate, RATE, 2, &arena));
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("plate");
    tcase_add_test(tcase, it_is_there_at_once_and_has_no_hole);
    tcase_add_test(tcase, dense_soon_at_every_rate);
    tcase_add_test(tcase, cutting_changes_no_bit_and_in_may_be_out);
    tcase_add_test(tcase, too_little_memory_is_told);
    tcase_set_timeout(tcase, 60);
    return run_tcase(tcase, "plate");
}
