/* SPDX-License-Identifier: ISC */
#include "measure/voice_bands.h"
#include "run_tcase.h"
#include "signals.h"

#include <check.h>
#include <math.h>

enum { LENGTH = 57600, HOP = 960 };
static float audio[LENGTH];
static const CrossoverParams SPLITS = {{180.0f, 1100.0f, 5500.0f}};

typedef bool Counts(size_t hop);

static bool later(size_t hop) {
    return hop >= 20; /* the filters have run in */
}

static VoiceBandsReading measure(double rate_hz, Counts *counts) {
    static VoiceBandsHop hops[LENGTH / HOP];
    double scratch[LENGTH / HOP];
    size_t n = 0;
    VoiceBands bands;
    voice_bands_prepare(&bands, rate_hz, &SPLITS);
    for (size_t k = 0; k < LENGTH / HOP; k++) {
        voice_bands_process(&bands, audio + k * HOP, HOP);
        VoiceBandsHop hop = voice_bands_hop(&bands);
        if (counts(k))
            hops[n++] = hop;
    }
    return voice_bands_read(hops, n, scratch);
}

/* A second-order Butterworth edge passed twice, bilinear: -20 log10(1 + r^4) (Linkwitz 1976). */
static double edge_db(double rate_hz, double hz, double edge_hz, int high) {
    double r = tan(M_PI * hz / rate_hz) / tan(M_PI * edge_hz / rate_hz);
    return -20.0 * log10(1.0 + pow(r, high ? -4.0 : 4.0));
}

START_TEST(a_tone_has_the_level_that_the_splits_leave_and_a_sines_crest) {
    const double rates[] = {44100.0, 48000.0, 96000.0};
    const double tones[] = {100.0, 180.0, 500.0, 1100.0, 2500.0, 5500.0};
    for (size_t i = 0; i < 3; i++)
        for (size_t k = 0; k < 6; k++) {
            signals_sine(audio, LENGTH, rates[i], tones[k], 0.5, 0.0);
            VoiceBandsReading bands = measure(rates[i], later);
            for (unsigned b = 0; b < 4; b++) {
                double db = 20.0 * log10(0.5) - 3.0103;
                if (b > 0)
                    db += edge_db(rates[i], tones[k], (double)SPLITS.split_hz[b - 1], 1);
                if (b < 3)
                    db += edge_db(rates[i], tones[k], (double)SPLITS.split_hz[b], 0);
                if (db < -30.0)
                    continue; /* the tree's other split takes its part */
                ck_assert_double_eq_tol(bands.level_db[b], db, 0.2);
                if (tones[k] < 0.06 * rates[i]) /* where samples hardly miss the top */
                    ck_assert_double_eq_tol(bands.crest_db[b], 3.0103, 0.2);
            }
        }
}
END_TEST

/* Tech 3341: a sine of 1 kHz of -23 dBFS in both channels reads -23 LUFS, so in one 3.01 less. */
START_TEST(loudness_is_that_of_the_standard) {
    signals_sine(audio, LENGTH, 48000.0, 1000.0, pow(10.0, -23.0 / 20.0), 0.0);
    VoiceBandsReading bands = measure(48000.0, later);
    ck_assert_double_eq_tol(bands.lufs, -26.01, 0.1);
    /* A tone hisses evenly, but for rounding: none to all of the rest is read. */
    ck_assert_uint_ge(bands.frames, (LENGTH - 20 * HOP) / 2);
}
END_TEST

static bool every_other(size_t hop) {
    return hop >= 20 && hop % 2 == 0;
}

/* Loud noise in the hops that do not count: what little the filters carry on is under 0.3 dB. And
 * of what counts a few loud hops move no median. */
START_TEST(what_does_not_count_is_not_heard) {
    Random random = random_seeded(3);
    signals_sine(audio, LENGTH, 48000.0, 2500.0, 0.1, 0.0);
    VoiceBandsReading alone = measure(48000.0, every_other);
    for (size_t i = 0; i < LENGTH; i++)
        if (i / HOP % 2 == 1 && i % HOP < HOP / 2)
            audio[i] += (float)random_range(&random, -0.5, 0.5);
    VoiceBandsReading beside = measure(48000.0, every_other);
    ck_assert_double_eq_tol(beside.level_db[2], alone.level_db[2], 0.3);
}
END_TEST

/* What a hop holds does not hang on how it came in, but for sums of doubles in another order. */
START_TEST(pieces_do_not_matter) {
    Random random = random_seeded(4);
    VoiceBands whole, pieces;
    for (size_t i = 0; i < LENGTH; i++)
        audio[i] = (float)random_range(&random, -0.5, 0.5);
    voice_bands_prepare(&whole, 48000.0, &SPLITS);
    voice_bands_prepare(&pieces, 48000.0, &SPLITS);
    for (size_t k = 0; k < LENGTH / HOP; k++) {
        voice_bands_process(&whole, audio + k * HOP, HOP);
        for (size_t at = 0; at < HOP;) {
            size_t n = 1 + (size_t)random_range(&random, 0.0, 299.0);
            n = n < HOP - at ? n : HOP - at;
            voice_bands_process(&pieces, audio + k * HOP + at, n);
            at += n;
        }
        VoiceBandsHop a = voice_bands_hop(&whole), b = voice_bands_hop(&pieces);
        ck_assert_uint_eq(a.frames, b.frames);
        for (unsigned i = 0; i < 4; i++) {
            ck_assert_double_eq_tol(a.sum[i], b.sum[i], 1e-9 * a.sum[i]);
            ck_assert(a.peak[i] == b.peak[i]);
        }
    }
}
END_TEST

/* A voiced /z/ in one hop of ten, 20 dB over all else above 5.5 kHz. */
START_TEST(a_few_hops_that_hiss_do_not_matter) {
    Random random = random_seeded(5);
    signals_sine(audio, LENGTH, 48000.0, 2500.0, 0.1, 0.0);
    for (size_t i = 0; i < LENGTH; i++)
        audio[i] += (float)random_range(&random, -0.001, 0.001);
    VoiceBandsReading alone = measure(48000.0, later);
    for (size_t i = 0; i < LENGTH; i++)
        if (i / HOP % 10 == 5)
            audio[i] += (float)random_range(&random, -0.01, 0.01);
    VoiceBandsReading beside = measure(48000.0, later);
    /* A filter carries some of it into the next hop. */
    ck_assert_double_eq_tol(beside.level_db[3], alone.level_db[3], 0.5);
}
END_TEST

START_TEST(nothing_heard_is_nothing_known) {
    double scratch[1];
    VoiceBandsReading none = voice_bands_read(NULL, 0, scratch);
    ck_assert(isnan(none.lufs) && isnan(none.level_db[0]) && isnan(none.crest_db[0]));
    ck_assert_uint_eq(none.frames, 0);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("voice_bands");
    tcase_add_test(tcase, a_tone_has_the_level_that_the_splits_leave_and_a_sines_crest);
    tcase_add_test(tcase, loudness_is_that_of_the_standard);
    tcase_add_test(tcase, what_does_not_count_is_not_heard);
    tcase_add_test(tcase, a_few_hops_that_hiss_do_not_matter);
    tcase_add_test(tcase, pieces_do_not_matter);
    tcase_add_test(tcase, nothing_heard_is_nothing_known);
    return run_tcase(tcase, "voice_bands");
}
