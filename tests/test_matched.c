/* SPDX-License-Identifier: ISC */
/* matched: against the analogue transfer functions of the cookbook (W3C Audio EQ Cookbook, 2021),
 * written here as complex numbers. */
#include "basic/maths.h"
#include "filter/matched.h"
#include "run_tcase.h"

#include <check.h>
#include <complex.h>
#include <math.h>
#include <stdbool.h>

static double db(double gain) {
    return 20.0 * log10(gain);
}

static double gain_at(const Matched *f, double rate_hz, double hz) {
    double complex z = cexp(-2.0 * I * PI * hz / rate_hz);
    return cabs((f->b0 + f->b1 * z + f->b2 * z * z) / (1.0 + f->a1 * z + f->a2 * z * z));
}

static double analogue_bell(double hz, double centre_hz, double q, double gain_db) {
    double complex s = I * hz / centre_hz;
    double a = pow(10.0, gain_db / 40.0);
    return cabs((s * s + s * a / q + 1.0) / (s * s + s / (a * q) + 1.0));
}

/* Slope 1: Q = 1/sqrt 2. */
static double analogue_shelf(double hz, double centre_hz, double gain_db) {
    double complex s = I * hz / centre_hz;
    double a = pow(10.0, gain_db / 40.0), k = sqrt(2.0 * a);
    return cabs(a * (a * s * s + k * s + 1.0) / (s * s + k * s + a));
}

/* Largest difference in dB from 20 Hz to top_hz, 40 to the octave. */
static double bell_off(double rate_hz, double top_hz, double hz, double q, double gain_db) {
    Matched f = matched_bell(rate_hz, hz, q, gain_db);
    double most = 0.0;
    for (double at = 20.0; at <= top_hz; at *= exp2(1.0 / 40.0))
        most = fmax(most, fabs(db(gain_at(&f, rate_hz, at) / analogue_bell(at, hz, q, gain_db))));
    return most;
}

static double shelf_off(double rate_hz, double top_hz, double hz, double gain_db) {
    Matched f = matched_high_shelf(rate_hz, hz, gain_db);
    double most = 0.0;
    for (double at = 20.0; at <= top_hz; at *= exp2(1.0 / 40.0))
        most = fmax(most, fabs(db(gain_at(&f, rate_hz, at) / analogue_shelf(at, hz, gain_db))));
    return most;
}

static const double RATES[] = {44100.0, 48000.0, 88200.0, 96000.0, 192000.0};
enum { N_RATES = sizeof RATES / sizeof *RATES };
static const double GAINS[] = {-15.0, -9.0, -6.0, -3.0, -0.5, 0.5, 3.0, 6.0};
enum { N_GAINS = sizeof GAINS / sizeof *GAINS };

START_TEST(bells_are_the_analogue_ones_to_18_khz) {
    double most = 0.0;
    for (int r = 0; r < N_RATES; r++)
        for (double hz = 60.0; hz <= 3000.0; hz *= 1.3)
            for (double octaves = 0.1; octaves <= 3.0; octaves *= 1.4)
                for (int g = 0; g < N_GAINS; g++)
                    most =
                        fmax(most, bell_off(RATES[r], 18000.0, hz, matched_q(octaves), GAINS[g]));
    ck_assert_double_le(most, 0.5);
    /* The worst corner, which the loop may step over. */
    ck_assert_double_le(bell_off(44100.0, 18000.0, 3000.0, matched_q(3.0), -15.0), 0.5);
}
END_TEST

/* Up to 6 dB and where a voice is boxy, nothing that could be heard is left. */
START_TEST(ordinary_cuts_are_within_a_fiftieth_of_a_db) {
    for (double hz = 100.0; hz <= 1000.0; hz *= 1.25)
        for (double q = 0.7; q <= 5.0; q *= 1.5)
            ck_assert_double_le(bell_off(44100.0, 18000.0, hz, q, -6.0), 0.02);
}
END_TEST

/* The bilinear transform is off by 0.5 to 2.9 dB for these. */
START_TEST(bells_at_the_top_are_kept_too) {
    const double centres[] = {4000.0, 8000.0, 12000.0, 16000.0};
    for (int c = 0; c < 4; c++)
        for (double q = 0.7; q <= 2.0; q += 1.3)
            for (double gain = -6.0; gain <= 6.0; gain += 12.0)
                ck_assert_double_le(bell_off(48000.0, 20000.0, centres[c], q, gain), 0.4);
}
END_TEST

START_TEST(shelves_are_the_analogue_ones_to_18_khz) {
    double most = 0.0;
    for (int r = 0; r < N_RATES; r++)
        for (double hz = 4000.0; hz <= 16000.0; hz += 500.0)
            for (double gain = -6.0; gain <= 9.0; gain += 0.75)
                most = fmax(most, shelf_off(RATES[r], 18000.0, hz, gain));
    ck_assert_double_le(most, 0.25);
}
END_TEST

/* A shelf above half the rate: what of its slope is left. */
START_TEST(shelves_hold_at_low_rates) {
    for (double rate_hz = 8000.0; rate_hz <= 32000.0; rate_hz *= 2.0)
        for (double hz = 4000.0; hz <= 16000.0; hz += 1000.0)
            for (double gain = -6.0; gain <= 9.0; gain += 3.0)
                ck_assert_double_le(shelf_off(rate_hz, 0.41 * rate_hz, hz, gain), 0.3);
}
END_TEST

START_TEST(the_centre_has_its_gain_and_zero_hertz_none) {
    for (int r = 0; r < N_RATES; r++)
        for (double hz = 60.0; hz <= 3000.0; hz *= 1.5)
            for (int g = 0; g < N_GAINS; g++) {
                Matched f = matched_bell(RATES[r], hz, 2.0, GAINS[g]);
                ck_assert_double_eq_tol(db(gain_at(&f, RATES[r], hz)), GAINS[g], 1e-6);
                ck_assert_double_eq_tol(db(gain_at(&f, RATES[r], 0.0)), 0.0, 1e-6);
                Matched shelf = matched_high_shelf(RATES[r], 8000.0, GAINS[g]);
                ck_assert_double_eq_tol(db(gain_at(&shelf, RATES[r], 0.0)), 0.0, 1e-6);
            }
}
END_TEST

START_TEST(the_width_is_where_half_the_gain_is) {
    for (double octaves = 0.1; octaves <= 3.0; octaves *= 1.5) {
        double edge = 500.0 * exp2(0.5 * octaves);
        ck_assert_double_eq_tol(db(analogue_bell(edge, 500.0, matched_q(octaves), -8.0)), -4.0,
                                1e-9);
        Matched f = matched_bell(192000.0, 500.0, matched_q(octaves), -8.0);
        ck_assert_double_eq_tol(db(gain_at(&f, 192000.0, edge)), -4.0, 0.01);
    }
    ck_assert_double_eq_tol(matched_q(1.0), sqrt(2.0), 1e-12);
}
END_TEST

/* b(z) a'(z) = a(z) b'(z) for the pair. */
static void ck_inverse(const Matched *cut, const Matched *boost) {
    ck_assert_double_eq_tol(cut->b0 * boost->b0, 1.0, 1e-12);
    ck_assert_double_eq_tol(cut->b1, boost->a1 * cut->b0, 1e-12);
    ck_assert_double_eq_tol(cut->b2, boost->a2 * cut->b0, 1e-12);
    ck_assert_double_eq_tol(boost->b1, cut->a1 * boost->b0, 1e-12);
    ck_assert_double_eq_tol(boost->b2, cut->a2 * boost->b0, 1e-12);
}

START_TEST(a_cut_takes_away_what_a_boost_gives) {
    for (double gain = 0.1; gain < 15.0; gain *= 2.0) {
        Matched cut = matched_bell(48000.0, 700.0, 1.5, -gain);
        Matched boost = matched_bell(48000.0, 700.0, 1.5, gain);
        ck_inverse(&cut, &boost);
        cut = matched_high_shelf(48000.0, 9000.0, -gain);
        boost = matched_high_shelf(48000.0, 9000.0, gain);
        ck_inverse(&cut, &boost);
    }
}
END_TEST

/* Roots of 1 + c1 z + c2 z^2 within the unit circle: |c2| < 1 and |c1| < 1 + c2. */
static bool inside(double c1, double c2) {
    return fabs(c2) < 1.0 && fabs(c1) < 1.0 + c2;
}

START_TEST(poles_and_zeros_lie_within_the_unit_circle) {
    for (double rate_hz = 8000.0; rate_hz <= 192000.0; rate_hz *= 1.5)
        for (int g = 0; g < N_GAINS; g++) {
            for (double hz = 60.0; hz <= 3000.0; hz *= 1.4)
                for (double octaves = 0.1; octaves <= 3.0; octaves *= 1.4) {
                    Matched f = matched_bell(rate_hz, hz, matched_q(octaves), GAINS[g]);
                    ck_assert(inside(f.a1, f.a2) && inside(f.b1 / f.b0, f.b2 / f.b0));
                }
            for (double hz = 4000.0; hz <= 16000.0; hz += 1000.0) {
                Matched f = matched_high_shelf(rate_hz, hz, GAINS[g]);
                ck_assert(inside(f.a1, f.a2) && inside(f.b1 / f.b0, f.b2 / f.b0));
            }
        }
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("matched");
    tcase_add_test(tcase, bells_are_the_analogue_ones_to_18_khz);
    tcase_add_test(tcase, ordinary_cuts_are_within_a_fiftieth_of_a_db);
    tcase_add_test(tcase, bells_at_the_top_are_kept_too);
    tcase_add_test(tcase, shelves_are_the_analogue_ones_to_18_khz);
    tcase_add_test(tcase, shelves_hold_at_low_rates);
    tcase_add_test(tcase, the_centre_has_its_gain_and_zero_hertz_none);
    tcase_add_test(tcase, the_width_is_where_half_the_gain_is);
    tcase_add_test(tcase, a_cut_takes_away_what_a_boost_gives);
    tcase_add_test(tcase, poles_and_zeros_lie_within_the_unit_circle);
    tcase_set_timeout(tcase, 60); /* slow under valgrind */
    return run_tcase(tcase, "matched");
}
