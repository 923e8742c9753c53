/* SPDX-License-Identifier: ISC */
#include "measure/mean_spectrum.h"
#include "run_tcase.h"
#include "signals.h"

#include <check.h>
#include <math.h>
#include <stdlib.h>

enum { MEMORY = 1 << 21, LENGTH = 96000 };
static unsigned char memory[MEMORY];
static float audio[LENGTH];

static MeanSpectrum make(double rate_hz) {
    MeanSpectrum spectrum;
    Arena arena = arena_over(memory, MEMORY);
    ck_assert(mean_spectrum_prepare(&spectrum, rate_hz, &arena));
    return spectrum;
}

static void feed(MeanSpectrum *spectrum, size_t n, unsigned kind) {
    for (size_t at = 0; at < n;) {
        size_t room = mean_spectrum_room(spectrum);
        size_t take = n - at < room ? n - at : room;
        if (mean_spectrum_feed(spectrum, audio + at, take))
            mean_spectrum_count(spectrum, kind);
        at += take;
    }
}

static double db(double power) {
    return 10.0 * log10(power);
}

/* A sine of amplitude a has the mean square a^2 / 2, wherever it lies between bins; outside of two
 * bins to either side a Hann window lets 31 dB less through. */
START_TEST(a_tones_power_is_found_in_its_band) {
    const double rates[] = {8000.0, 44100.0, 48000.0, 192000.0};
    for (size_t i = 0; i < 4; i++)
        for (int step = 0; step < 8; step++) {
            double hz = 300.0 + 3.7 * step;
            MeanSpectrum spectrum = make(rates[i]);
            double width = rates[i] / (double)spectrum.size;
            signals_sine(audio, LENGTH, rates[i], hz, 0.5, 0.0);
            feed(&spectrum, LENGTH, 1);
            double in = mean_spectrum_band(&spectrum, 1, hz - 3.0 * width, hz + 3.0 * width);
            double out = mean_spectrum_band(&spectrum, 1, hz + 3.0 * width, 0.5 * rates[i]);
            ck_assert_double_eq_tol(db(in), db(0.125), 0.02);
            ck_assert_double_le(db(out), db(in) - 31.0);
        }
}
END_TEST

/* Of white noise every band holds its share: 1 Hz has 2 rms^2 / rate. 45 windows, half overlapping,
 * of some 85 bins: deviation about 4.34 / sqrt(45 * 85 / 2) = 0.1 dB. */
START_TEST(white_noise_has_its_share_in_every_band) {
    Random random = random_seeded(4);
    MeanSpectrum spectrum = make(48000.0);
    signals_noise(audio, LENGTH, 0.1, &random);
    feed(&spectrum, LENGTH, 0);
    for (int khz = 1; khz < 23; khz++)
        ck_assert_double_eq_tol(db(mean_spectrum_band(&spectrum, 0, 1e3 * khz, 1e3 * (khz + 1))),
                                db(0.01 * 1000.0 / 24000.0), 0.5);
    ck_assert_double_eq_tol(db(mean_spectrum_band(&spectrum, 0, 0.0, 24000.0)), db(0.01), 0.1);
}
END_TEST

START_TEST(kinds_are_kept_apart) {
    MeanSpectrum spectrum = make(48000.0);
    ck_assert(isnan(mean_spectrum_band(&spectrum, 2, 0.0, 1000.0)));
    signals_silence(audio, LENGTH);
    feed(&spectrum, LENGTH, 2);
    signals_sine(audio, LENGTH, 48000.0, 1000.0, 1.0, 0.0);
    feed(&spectrum, spectrum.size, 0); /* flushes what both kinds share */
    spectrum.state.filled = 0;
    feed(&spectrum, LENGTH, 1);
    ck_assert_double_lt(mean_spectrum_band(&spectrum, 2, 0.0, 24000.0), 1e-12);
    ck_assert_double_eq_tol(mean_spectrum_band(&spectrum, 1, 0.0, 24000.0), 0.5, 1e-3);
    mean_spectrum_reset(&spectrum);
    ck_assert(isnan(mean_spectrum_band(&spectrum, 1, 0.0, 1000.0)));
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("mean_spectrum");
    tcase_add_test(tcase, a_tones_power_is_found_in_its_band);
    tcase_add_test(tcase, white_noise_has_its_share_in_every_band);
    tcase_add_test(tcase, kinds_are_kept_apart);
    tcase_set_timeout(tcase, 60);
    return run_tcase(tcase, "mean_spectrum");
}
