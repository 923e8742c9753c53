/* SPDX-License-Identifier: ISC */
#include "basic/maths.h"
#include "filter/wave_peak.h"
#include "read_wave.h"
#include "run_tcase.h"
#include "signals.h"
#include "singer.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { LENGTH = 1 << 15, SIDE = READ_WAVE_SIDE };
static float in[LENGTH], value[LENGTH], other[LENGTH];
static double wave[LENGTH]; /* the largest of each frame and the 15 places after it */

static void read_wave(const float *audio, size_t n) {
    static ReadWave reader;
    read_wave_prepare(&reader);
    for (size_t t = 0; t < n; t++)
        wave[t] = t >= SIDE && t + SIDE < n ? read_wave_at(&reader, audio, t) : 0.0;
}

static void run(WavePeak *peak, size_t n) {
    const float *const i[1] = {in};
    wave_peak_process(peak, i, value, n);
}

static double reading_db(size_t n) {
    WavePeak peak;
    wave_peak_prepare(&peak, 1);
    run(&peak, n);
    return signals_peak_db(value, n);
}

START_TEST(tech_3341_15_to_19) {
    /* EBU Tech 3341, cases 15 to 19: the true values; its tolerance is +0.2 / -0.4 dB, ours the
     * reading's own 0.01. */
    const struct {
        double share, amplitude, degrees, expected;
    } cases[] = {{1.0 / 4.0, 0.5, 0.0, -6.0206},
                 {1.0 / 4.0, 0.5, 45.0, -6.0206},
                 {1.0 / 6.0, 0.5, 60.0, -6.0206},
                 {1.0 / 8.0, 0.5, 67.5, -6.0206},
                 {1.0 / 4.0, 1.41, 45.0, 2.9844}};
    for (size_t i = 0; i < 5; i++) {
        signals_sine(in, LENGTH, 1.0, cases[i].share, cases[i].amplitude,
                     cases[i].degrees * PI / 180.0);
        signals_fade_ends(in, LENGTH, LENGTH / 10);
        ck_assert_double_eq_tol(reading_db(LENGTH), cases[i].expected, 0.01);
    }
}
END_TEST

START_TEST(sines_are_read_right_up_to_0_48_of_the_rate) {
    for (int k = 1; k <= 48; k++)
        for (int degrees = 0; degrees < 180; degrees += 60) {
            signals_sine(in, LENGTH, 1.0, 0.01 * k, 1.0, degrees * PI / 180.0);
            signals_fade_ends(in, LENGTH, LENGTH / 10);
            double most = -20.0 * log10(cos(PI * 0.01 * k / 16.0)) + 0.03;
            ck_assert_double_eq_tol(reading_db(LENGTH), 0.0, most);
        }
}
END_TEST

/* Each place of the wave is in the value that covers it, as far as `loss` dB, where it is large. */
static void covers(size_t n, double loss) {
    WavePeak peak;
    wave_peak_prepare(&peak, 1);
    run(&peak, n);
    read_wave(in, n);
    size_t delay = wave_peak_delay(&peak);
    double large = 0.2 * signals_peak(in, n), worst = 0.0;
    for (size_t t = SIDE; t + SIDE + delay + 1 < n; t++) {
        if (wave[t] < large)
            continue;
        /* a peak at the end of a frame may be read as of its neighbour */
        double read = fmax(fmax((double)value[t + delay - 1], (double)value[t + delay]),
                           (double)value[t + delay + 1]);
        worst = fmax(worst, 20.0 * log10(wave[t] / read));
    }
    printf("at most %.4f dB under an interpolation by another filter\n", worst);
    ck_assert_double_le(worst, loss);
}

START_TEST(a_voice_is_read_as_by_a_long_sinc) {
    for (uint64_t seed = 1; seed <= 2; seed++) {
        SingerTake take;
        SingerParams params = singer_params(seed % 2 ? SINGER_WOMAN : SINGER_MAN, 48000.0, seed);
        params.phrases = 1;
        ck_assert(singer_take(&params, &take));
        size_t n = take.n < LENGTH ? take.n : LENGTH, from = (take.n - n) / 2;
        memcpy(in, take.mix + from, n * sizeof *in);
        covers(n, 0.01);
        singer_free(&take);
    }
}
END_TEST

START_TEST(noise_up_to_0_46_of_the_rate_is_read_as_by_a_long_sinc) {
    Random random = random_seeded(31);
    signals_band_noise(in, LENGTH, 48000.0, 0.0, 0.44 * 48000.0, 0.2, &random);
    covers(LENGTH, 0.05);
}
END_TEST

START_TEST(the_largest_of_both_channels_counts) {
    static float quiet[LENGTH];
    Random random = random_seeded(32);
    signals_noise(in, LENGTH, 0.1, &random);
    WavePeak one, two;
    wave_peak_prepare(&one, 1);
    wave_peak_prepare(&two, 2);
    run(&one, LENGTH);
    memset(quiet, 0, sizeof quiet);
    const float *const pair[2] = {quiet, in};
    wave_peak_process(&two, pair, other, LENGTH);
    ck_assert(signals_same_bits(value, other, LENGTH));
}
END_TEST

START_TEST(cutting_changes_no_bit) {
    Random random = random_seeded(33);
    signals_noise(in, LENGTH, 0.1, &random);
    WavePeak peak;
    wave_peak_prepare(&peak, 1);
    run(&peak, LENGTH);
    wave_peak_reset(&peak);
    for (size_t at = 0; at < LENGTH;) {
        size_t n = random_below(&random, 300);
        n = n < LENGTH - at ? n : LENGTH - at;
        const float *const i[1] = {in + at};
        wave_peak_process(&peak, i, other + at, n);
        at += n;
    }
    ck_assert(signals_same_bits(value, other, LENGTH));
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("wave_peak");
    tcase_add_test(tcase, tech_3341_15_to_19);
    tcase_add_test(tcase, sines_are_read_right_up_to_0_48_of_the_rate);
    tcase_add_test(tcase, a_voice_is_read_as_by_a_long_sinc);
    tcase_add_test(tcase, noise_up_to_0_46_of_the_rate_is_read_as_by_a_long_sinc);
    tcase_add_test(tcase, the_largest_of_both_channels_counts);
    tcase_add_test(tcase, cutting_changes_no_bit);
    tcase_set_timeout(tcase, 60);
    return run_tcase(tcase, "wave_peak");
}
