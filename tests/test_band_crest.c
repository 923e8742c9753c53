/* SPDX-License-Identifier: ISC */
#include "measure/band_crest.h"
#include "run_tcase.h"
#include "signals.h"

#include <check.h>
#include <math.h>
#include <stdlib.h>

enum { LENGTH = 96000, WINDOW = 19200, HOP = 240 };
static float audio[LENGTH];

static BandCrest measure(double rate_hz) {
    BandCrest profile;
    band_crest_prepare(&profile, rate_hz);
    for (size_t at = 0; at + HOP <= LENGTH; at += HOP) {
        band_crest_process(&profile, audio + at, HOP);
        band_crest_hop(&profile, at > WINDOW + BAND_CREST_LATE * HOP); /* the filters run in */
        if ((at + HOP) % WINDOW == 0)
            band_crest_window(&profile, at > WINDOW);
    }
    return profile;
}

/* |H|^2 of a second-order Butterworth edge passed twice, bilinear: 1 / (1 + r^4)^2. */
static double edge_db(double rate_hz, double hz, double edge, int high) {
    const double pi = 3.14159265358979323846;
    double r = tan(pi * hz / rate_hz) / tan(pi * edge / rate_hz);
    return -20.0 * log10(1.0 + pow(r, high ? -4.0 : 4.0));
}

START_TEST(a_tone_has_the_level_that_the_edges_leave_and_a_sines_crest) {
    const double rates[] = {16000.0, 44100.0, 48000.0, 96000.0};
    const double tones[] = {60.0, 200.0, 450.0, 1000.0, 2200.0, 5000.0, 6000.0};
    for (size_t i = 0; i < 4; i++)
        for (size_t k = 0; k < 7; k++) {
            signals_sine(audio, LENGTH, rates[i], tones[k], 0.5, 0.0);
            BandCrest profile = measure(rates[i]);
            for (size_t band = 0; band < BAND_CREST_BANDS; band++) {
                double db = 20.0 * log10(0.5) - 3.0103;
                if (band > 0)
                    db += edge_db(rates[i], tones[k], band_crest_edge_hz[band - 1], 1);
                if (band < 3)
                    db += edge_db(rates[i], tones[k], band_crest_edge_hz[band], 0);
                if (db < -90.0)
                    continue; /* float rounding of low edges */
                ck_assert_double_eq_tol(band_crest_level_db(&profile, band), db, 0.1);
                /* Where samples may miss the top: cos(pi f / rate), 3.3 dB at 6 of 16 kHz; and an
                 * octave into the stop band rounding begins to show. */
                if (db > -40.0 && tones[k] < 0.05 * rates[i])
                    ck_assert_double_eq_tol(band_crest_crest_db(&profile, band), 3.0103, 0.1);
            }
        }
}
END_TEST

/* The RMS of clipped noise rises against its peak. */
START_TEST(clipping_makes_a_band_denser) {
    Random random = random_seeded(5);
    signals_band_noise(audio, LENGTH, 48000.0, 300.0, 800.0, 0.1, &random);
    BandCrest open = measure(48000.0);
    for (size_t i = 0; i < LENGTH; i++)
        audio[i] = audio[i] > 0.05f ? 0.05f : audio[i] < -0.05f ? -0.05f : audio[i];
    BandCrest dense = measure(48000.0);
    ck_assert_double_gt(band_crest_crest_db(&open, 1), band_crest_crest_db(&dense, 1) + 3.0);
}
END_TEST

/* A hop counts when it is said to, BAND_CREST_LATE hops later: of a loud and a soft half, the
 * soft. */
START_TEST(a_hop_counts_by_itself) {
    BandCrest profile;
    signals_sine(audio, LENGTH, 48000.0, 480.0, 0.5, 0.0);
    signals_scale(audio, LENGTH / 2, 0.1);
    band_crest_prepare(&profile, 48000.0);
    for (size_t hop = 0; hop < LENGTH / HOP; hop++) {
        size_t told = hop - BAND_CREST_LATE;
        band_crest_process(&profile, audio + hop * HOP, HOP);
        band_crest_hop(&profile, hop > 20 && told < LENGTH / HOP / 2);
    }
    double edges_db = edge_db(48000.0, 480.0, 200.0, 1) + edge_db(48000.0, 480.0, 1000.0, 0);
    ck_assert_double_eq_tol(band_crest_level_db(&profile, 1),
                            20.0 * log10(0.05) - 3.0103 + edges_db, 0.05);
    ck_assert_double_le(band_crest_spread_db(&profile, 1), 0.05);
}
END_TEST

/* A voice: two partials in each band, whose level swings by 12 dB 3 times a second. tanh takes the
 * loud moments down more, whichever band. */
START_TEST(the_more_drive_the_less_spread) {
    const double tones[] = {100.0, 150.0, 400.0, 550.0, 2000.0, 2300.0, 6500.0, 7200.0};
    double last[BAND_CREST_BANDS] = {INFINITY, INFINITY, INFINITY, INFINITY};
    static float clean[LENGTH];
    const double pi = 3.14159265358979323846;
    signals_silence(clean, LENGTH);
    for (size_t k = 0; k < 8; k++)
        signals_sine_add(clean, LENGTH, 48000.0, tones[k], 0.05, 0.4 * (double)k);
    for (size_t i = 0; i < LENGTH; i++)
        clean[i] *= (float)pow(10.0, 0.3 * sin(2.0 * pi * 3.0 * (double)i / 48000.0));
    for (double drive_db = 0.0; drive_db <= 24.0; drive_db += 6.0) {
        double drive = pow(10.0, drive_db / 20.0);
        for (size_t i = 0; i < LENGTH; i++)
            audio[i] = (float)tanh(drive * (double)clean[i]);
        BandCrest profile = measure(48000.0);
        for (size_t band = 0; band < 3; band++) {
            double spread_db = band_crest_spread_db(&profile, band);
            ck_assert_double_lt(spread_db, last[band]);
            last[band] = spread_db;
        }
    }
}
END_TEST

START_TEST(windows_that_do_not_count_leave_nothing) {
    BandCrest profile;
    band_crest_prepare(&profile, 48000.0);
    band_crest_window(&profile, true); /* of no frames */
    band_crest_hop(&profile, true);
    ck_assert(isnan(band_crest_level_db(&profile, 0)));
    signals_sine(audio, LENGTH, 48000.0, 500.0, 1.0, 0.0);
    band_crest_process(&profile, audio, LENGTH);
    band_crest_window(&profile, false);
    band_crest_hop(&profile, false);
    ck_assert(isnan(band_crest_level_db(&profile, 1)));
    ck_assert(isnan(band_crest_crest_db(&profile, 1)));
    signals_silence(audio, LENGTH);
    band_crest_reset(&profile);
    band_crest_process(&profile, audio, LENGTH);
    band_crest_window(&profile, true);
    ck_assert(isnan(band_crest_crest_db(&profile, 1)));
}
END_TEST

START_TEST(the_cutting_of_blocks_does_not_show) {
    Random random = random_seeded(6);
    BandCrest whole, cut;
    signals_noise(audio, LENGTH, 0.1, &random);
    band_crest_prepare(&whole, 48000.0);
    band_crest_prepare(&cut, 48000.0);
    band_crest_process(&whole, audio, LENGTH);
    for (size_t at = 0; at < LENGTH;) {
        size_t n = random_below(&random, 600);
        n = n < LENGTH - at ? n : LENGTH - at;
        band_crest_process(&cut, audio + at, n);
        at += n;
    }
    for (int i = 0; i <= BAND_CREST_LATE; i++) {
        band_crest_hop(&whole, i == BAND_CREST_LATE);
        band_crest_hop(&cut, i == BAND_CREST_LATE);
    }
    for (size_t band = 0; band < BAND_CREST_BANDS; band++) {
        /* Peaks are the same to the bit; sums of squares are cut into floats with the blocks. */
        ck_assert_double_eq_tol(band_crest_level_db(&whole, band), band_crest_level_db(&cut, band),
                                1e-4);
        ck_assert(whole.state.ic1[0][0] == cut.state.ic1[0][0]);
    }
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("band_crest");
    tcase_add_test(tcase, a_tone_has_the_level_that_the_edges_leave_and_a_sines_crest);
    tcase_add_test(tcase, clipping_makes_a_band_denser);
    tcase_add_test(tcase, a_hop_counts_by_itself);
    tcase_add_test(tcase, the_more_drive_the_less_spread);
    tcase_add_test(tcase, windows_that_do_not_count_leave_nothing);
    tcase_add_test(tcase, the_cutting_of_blocks_does_not_show);
    tcase_set_timeout(tcase, 60);
    return run_tcase(tcase, "band_crest");
}
