/* SPDX-License-Identifier: ISC */
#include "run_tcase.h"
#include "signals.h"
#include "voice/energy_centre.h"

#include <check.h>
#include <math.h>
#include <stdio.h>

enum { LENGTH = 2048, MIDDLE = 1024 };
static const double TWO_PI = 6.28318530717958647692;
static unsigned char memory[1 << 14];
static EnergyWindows windows;
static float x[LENGTH];

static void setup(void) {
    Arena arena = arena_over(memory, sizeof memory);
    ck_assert(energy_windows_prepare(&windows, &arena));
}

static double energy_at(int t, double period, double centre, double depth) {
    return 1.0 + 2.0 * depth * cos(TWO_PI * ((double)t - centre) / period);
}

/* The square of whose slope is that: depth at most a half. */
static void waver(double period, double centre, double depth) {
    x[0] = x[1] = 0.0f;
    for (int t = 1; t + 1 < LENGTH; t++) {
        float slope = (float)sqrt(energy_at(t, period, centre, depth));
        x[t + 1] = x[t - 1] + (t / 2 % 2 ? slope : -slope);
    }
}

/* From 6 frames, the shortest period of the low band, to 190. The arc tangent is within 0.0006 of a
 * period; a place in the tables is up to a 512th of one beside where it should be, so that up to
 * 0.003 of the mean leaks in, as against `depth` of it. */
START_TEST(it_finds_where_the_energy_is) {
    Random random = random_seeded(71);
    for (int i = 0; i < 400; i++) {
        double period = 6.0 * exp(random_unit(&random) * log(190.0 / 6.0));
        double after = random_range(&random, -0.49, 0.49), depth = random_range(&random, 0.05, 0.5);
        double fraction = random_unit(&random);
        waver(period, MIDDLE + fraction + after * period, depth);
        EnergyCentre centre = energy_centre(&windows, x + MIDDLE, fraction, period);
        ck_assert_double_eq_tol(centre.after, after, 0.002 + 0.0005 / depth);
        ck_assert_double_eq_tol(centre.depth, depth, 0.01);
    }
}
END_TEST

START_TEST(a_pulse_is_deep_and_an_even_tone_is_not) {
    signals_silence(x, LENGTH);
    for (int t = 7; t < LENGTH; t += 50)
        x[t + MIDDLE % 50] = 0.5f;
    EnergyCentre centre = energy_centre(&windows, x + MIDDLE, 0.0, 50.0);
    ck_assert_double_eq_tol(centre.after, 7.0 / 50.0, 0.004);
    ck_assert_double_gt(centre.depth, 0.98);
    for (int t = 0; t < LENGTH; t++)
        x[t] = (float)sin(TWO_PI * t / 50.0);
    ck_assert_double_lt(energy_centre(&windows, x + MIDDLE, 0.0, 50.0).depth, 0.01);
    signals_silence(x, LENGTH);
    centre = energy_centre(&windows, x + MIDDLE, 0.5, 50.0);
    ck_assert(centre.after == 0.0 && centre.depth == 0.0);
}
END_TEST

/* The law of the header, that it says how much a grain holds: summed up here frame by frame. */
START_TEST(a_grain_about_the_centre_holds_most) {
    const double period = 64.0, depth = 0.4;
    for (int after = -32; after <= 32; after += 8) {
        double held = 0.0;
        for (int j = -64; j <= 64; j++) {
            double w = 0.5 + 0.5 * cos(0.5 * TWO_PI * j / period);
            held += w * w * energy_at(after + j, period, 0.0, depth) / 128.0;
        }
        double law = 0.375 + depth / 8.0 * cos(TWO_PI * after / period);
        ck_assert_double_eq_tol(held, law, 1e-3);
    }
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("energy_centre");
    tcase_add_checked_fixture(tcase, setup, NULL);
    tcase_add_test(tcase, it_finds_where_the_energy_is);
    tcase_add_test(tcase, a_pulse_is_deep_and_an_even_tone_is_not);
    tcase_add_test(tcase, a_grain_about_the_centre_holds_most);
    return run_tcase(tcase, "energy_centre");
}
