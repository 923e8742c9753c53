/* SPDX-License-Identifier: ISC */
/* On the test singer, whose pitch is known, and through filters written here in double. */
#include "measure/mean_spectrum.h"
#include "measure/resonances.h"
#include "run_tcase.h"
#include "signals.h"
#include "singer.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { MEMORY = 1 << 23, FIFTEEN_S = 15 * 48000 };
static unsigned char memory[MEMORY];
static const double pi = 3.14159265358979323846, RATE_HZ = 48000.0;
static Resonances peaks;
static MeanSpectrum spectrum;

static void make(void) {
    Arena arena = arena_over(memory, MEMORY);
    ck_assert(mean_spectrum_prepare(&spectrum, RATE_HZ, &arena));
    ck_assert(resonances_prepare(&peaks, RATE_HZ, spectrum.size, &arena));
}

static SingerTake sing(SingerVoice voice, uint64_t seed, size_t phrases) {
    SingerTake take;
    SingerParams params = singer_params(voice, RATE_HZ, seed);
    params.phrases = phrases;
    ck_assert(singer_take(&params, &take));
    return take;
}

/* Adds (10^(g/20) - 1) of a mode that rings on as exp(-pi hz t / q), to one channel of audio. At
 * its centre the sum of exp(-pi hz t / q) cos^2 is rate q / (2 pi hz), whose inverse makes it 1. */
static void add_mode(float *audio, size_t n, double hz, double g_db, double q) {
    double turn = 2.0 * pi * hz / RATE_HZ, fade = exp(-pi * hz / (q * RATE_HZ));
    double gain = (pow(10.0, g_db / 20.0) - 1.0) * 2.0 * pi * hz / (q * RATE_HZ);
    double re = 0.0, im = 0.0;
    for (size_t i = 0; i < n; i++) {
        double next = fade * (re * cos(turn) - im * sin(turn)) + (double)audio[i];
        im = fade * (re * sin(turn) + im * cos(turn));
        re = next;
        audio[i] += (float)(gain * re);
    }
}

/* The peaking filter of second order by the bilinear transform: A = 10^(g / 40),
 *     H(s) = (s^2 + s A / q + 1) / (s^2 + s / (A q) + 1). */
static void add_peak(float *audio, size_t n, double hz, double g_db, double q) {
    double a = pow(10.0, g_db / 40.0), w = 2.0 * pi * hz / RATE_HZ, wide = 0.5 * sin(w) / q;
    double norm = 1.0 + wide / a, x[2] = {0.0}, y[2] = {0.0};
    for (size_t i = 0; i < n; i++) {
        double in = (double)audio[i];
        double out = ((1.0 + wide * a) * in - 2.0 * cos(w) * (x[0] - y[0]) +
                      (1.0 - wide * a) * x[1] - (1.0 - wide / a) * y[1]) /
                     norm;
        x[1] = x[0];
        x[0] = in;
        y[1] = y[0];
        y[0] = out;
        audio[i] = (float)out;
    }
}

/* The sung pitch throughout frames at..at + n, 0 for none, -1 for some. */
static double pitch_of(const SingerTake *take, size_t at, size_t n) {
    double sum = 0.0;
    size_t voiced = 0;
    for (size_t i = at; i < at + n; i++) {
        voiced += take->f0_hz[i] > 0.0f;
        sum += (double)take->f0_hz[i];
    }
    return voiced == n ? sum / (double)n : voiced ? -1.0 : 0.0;
}

/* `f0_hz` > 0: every window of voice is told that. */
static void hear(const SingerTake *take, const float *audio, double f0_hz, bool noise) {
    size_t size = spectrum.size;
    mean_spectrum_reset(&spectrum);
    for (size_t at = 0; at < take->n;) {
        size_t room = mean_spectrum_room(&spectrum);
        size_t n = take->n - at < room ? take->n - at : room;
        bool full = mean_spectrum_feed(&spectrum, audio + at, n);
        at += n;
        if (!full)
            continue;
        double middle = pitch_of(take, at - 3 * size / 4, size / 2);
        if (middle > 0.0)
            resonances_voice(&peaks, spectrum.power, f0_hz > 0.0 ? f0_hz : middle,
                             spectrum.state.windows);
        else if (noise && pitch_of(take, at - size, size) == 0.0)
            resonances_noise(&peaks, spectrum.power);
    }
}

static StandingPeak find(const SingerTake *take, const float *audio, bool noise) {
    make();
    hear(take, audio, 0.0, noise);
    return resonances_find(&peaks);
}

/* A sixth of an octave: there a peak of q 5 has fallen under half its dB, whose width is 0.29
 * octaves. */
static bool is_at(const StandingPeak *peak, double hz) {
    return peak->found && fabs(log2(peak->hz / hz)) < 1.0 / 6.0;
}

typedef void Lay(float *audio, size_t n, double hz, double g_db, double q);

/* Twelve singers, who have sung before the tests begin, since it takes time: men have odd seeds. */
enum { SINGERS = 12, FIRST_SEED = 201 };
static SingerTake stock[SINGERS];

static void fill_stock(void) {
    for (uint64_t k = 0; k < SINGERS; k++)
        stock[k] = sing((FIRST_SEED + k) % 2 ? SINGER_MAN : SINGER_WOMAN, FIRST_SEED + k, 7);
}

static void empty_stock(void) {
    for (size_t k = 0; k < SINGERS; k++)
        singer_free(&stock[k]);
}

/* Of the twelve, each with a peak somewhere, those in whom it is found in its place. */
static int count_found(Lay *lay, double g_db, double q, bool noise) {
    int found = 0;
    Random random = random_seeded(70);
    for (size_t k = 0; k < SINGERS; k++) {
        const SingerTake *take = &stock[k];
        bool man = (FIRST_SEED + k) % 2;
        /* from twice the low notes of each, where the voice alone tells */
        double low_hz = man ? 320.0 : 560.0;
        double hz = low_hz * pow(1000.0 / low_hz, random_unit(&random));
        float *audio = malloc(take->n * sizeof *audio);
        ck_assert_ptr_nonnull(audio);
        memcpy(audio, take->mix, take->n * sizeof *audio);
        lay(audio, take->n, hz, g_db, q);
        StandingPeak peak = find(take, audio, noise);
        free(audio);
        printf("%s, %.0f Hz: %s %.0f Hz, %.1f dB, evidence %.2f of %.0f\n", man ? "man" : "woman",
               hz, peak.found ? "found" : "none", peak.hz, peak.height_db, peak.voice, peak.tokens);
        ck_assert(peak.known);
        ck_assert(peak.by_noise <= noise);
        found += is_at(&peak, hz);
    }
    return found;
}

/* What the measure is worth its place for: four of five. */
START_TEST(a_peak_is_found_by_the_voice_alone) {
    ck_assert_int_ge(count_found(add_peak, 6.0, 5.0, false), 10);
}
END_TEST

START_TEST(a_peak_is_found_with_the_noise) {
    ck_assert_int_ge(count_found(add_peak, 6.0, 5.0, true), 10);
}
END_TEST

START_TEST(a_ringing_mode_is_found) {
    ck_assert_int_ge(count_found(add_mode, 8.0, 8.0, true), 10);
}
END_TEST

/* Formants and notes are no standing peaks: at most one of 20 clean takes. */
START_TEST(clean_voices_have_none) {
    int found = 0;
    for (size_t k = 0; k < SINGERS; k++)
        found += find(&stock[k], stock[k].mix, true).found;
    for (uint64_t seed = 221; seed <= 228; seed++) {
        SingerTake take = sing(seed % 2 ? SINGER_MAN : SINGER_WOMAN, seed, 7);
        StandingPeak peak = find(&take, take.mix, true);
        ck_assert(peak.known);
        found += peak.found;
        singer_free(&take);
    }
    printf("%d of 20 clean takes with a peak\n", found);
    ck_assert_int_le(found, 1);
}
END_TEST

/* Boxes of 6 to 8 dB, q 3 to 5, between 250 and 700 Hz in the first 15 s: three of four to within
 * 3 dB, and none without one. */
START_TEST(boxes_are_found_in_fifteen_seconds) {
    int found = 0;
    Random random = random_seeded(71);
    for (size_t k = 0; k < SINGERS; k++) {
        SingerTake take = stock[k];
        take.n = take.n < FIFTEEN_S ? take.n : FIFTEEN_S;
        double hz = 250.0 * pow(2.8, random_unit(&random));
        double g_db = random_range(&random, 6.0, 8.0), q = random_range(&random, 3.0, 5.0);
        ck_assert(!find(&take, take.mix, true).found);
        float *audio = malloc(take.n * sizeof *audio);
        ck_assert_ptr_nonnull(audio);
        memcpy(audio, take.mix, take.n * sizeof *audio);
        add_peak(audio, take.n, hz, g_db, q);
        StandingPeak peak = find(&take, audio, true);
        free(audio);
        printf("15 s, %.0f Hz, %.1f dB: %s %.0f Hz, %.1f dB\n", hz, g_db,
               peak.found   ? "found"
               : peak.known ? "none"
                            : "unknown",
               peak.hz, peak.height_db);
        found += is_at(&peak, hz) && fabs(peak.height_db - g_db) <= 3.0;
    }
    ck_assert_int_ge(found, SINGERS * 3 / 4);
}
END_TEST

/* Boxes that stand still are all told: 8 dB and q 4, three quarters of an octave and more apart,
 * under voice and noise. */
static void count_boxes(size_t boxes, size_t *found, size_t *wrong) {
    static const double at_hz[3] = {450.0, 800.0, 270.0};
    for (size_t k = 0; k < SINGERS; k++) {
        const SingerTake *take = &stock[k];
        float *audio = malloc(take->n * sizeof *audio);
        ck_assert_ptr_nonnull(audio);
        memcpy(audio, take->mix, take->n * sizeof *audio);
        for (size_t b = 0; b < boxes; b++)
            add_peak(audio, take->n, at_hz[b], 8.0, 4.0);
        make();
        hear(take, audio, 0.0, true);
        StandingPeak peak[STANDING_PEAKS];
        size_t n = resonances_find_all(&peaks, peak), right = 0;
        for (size_t p = 0; p < n; p++) {
            bool is_box = false;
            for (size_t b = 0; b < boxes; b++)
                is_box |= is_at(&peak[p], at_hz[b]);
            right += is_box;
            printf("%s%.0f Hz %.1f dB", p ? ", " : "", peak[p].hz, peak[p].height_db);
        }
        printf("; %zu of %zu\n", right, boxes);
        *found += right;
        *wrong += n - right;
        free(audio);
    }
}

/* Three of four, as of single ones, and no other. */
START_TEST(two_and_three_boxes_are_all_told) {
    for (size_t boxes = 1; boxes <= 3; boxes++) {
        size_t found = 0, wrong = 0;
        count_boxes(boxes, &found, &wrong);
        printf("%zu boxes: %zu of %zu told, %zu others\n", boxes, found, boxes * SINGERS, wrong);
        ck_assert_uint_ge(found, boxes * SINGERS * 3 / 4);
        ck_assert_uint_le(wrong, 1);
    }
}
END_TEST

/* On one note the voice cannot tell a peak from itself: noise has to show it. */
START_TEST(beside_one_note_noise_is_asked) {
    SingerTake take = sing(SINGER_MAN, 262, 8);
    make();
    hear(&take, take.mix, 220.0, true);
    ck_assert(!resonances_find(&peaks).found);
    add_peak(take.mix, take.n, 440.0, 9.0, 4.0);
    make();
    hear(&take, take.mix, 220.0, true);
    StandingPeak peak = resonances_find(&peaks);
    ck_assert(is_at(&peak, 440.0));
    ck_assert(peak.by_noise);
    singer_free(&take);
}
END_TEST

/* Room noise with a peak of its own under a voice without: the voice speaks against it. */
START_TEST(noise_alone_is_no_witness) {
    int found = 0;
    for (uint64_t seed = 241; seed <= 246; seed++) {
        SingerTake take = sing(seed % 2 ? SINGER_MAN : SINGER_WOMAN, seed, 7);
        float *room = take.stem[SINGER_STEM_ROOM];
        for (size_t i = 0; i < take.n; i++)
            take.mix[i] -= room[i];
        add_peak(room, take.n, 700.0, 12.0, 5.0);
        for (size_t i = 0; i < take.n; i++)
            take.mix[i] += room[i];
        StandingPeak peak = find(&take, take.mix, true);
        printf("noise alone: %.0f Hz, voice's evidence %.2f, %s\n", peak.hz, peak.voice,
               peak.by_noise ? "noise" : "voice");
        found += peak.found;
        singer_free(&take);
    }
    ck_assert_int_le(found, 1);
}
END_TEST

/* A factor of 2^-k changes no ratio of floats. */
START_TEST(the_level_of_a_take_does_not_matter) {
    SingerTake take = sing(SINGER_MAN, 250, 7);
    add_peak(take.mix, take.n, 500.0, 8.0, 5.0);
    StandingPeak loud = find(&take, take.mix, true);
    for (size_t i = 0; i < take.n; i++)
        take.mix[i] *= 0.0625f;
    StandingPeak soft = find(&take, take.mix, true);
    ck_assert(is_at(&loud, 500.0) && is_at(&soft, 500.0));
    ck_assert_double_eq_tol(soft.voice, loud.voice, 0.01 * loud.voice);
    ck_assert_double_eq_tol(soft.height_db, loud.height_db, 0.05);
    singer_free(&take);
}
END_TEST

/* With noise as a witness the height is told too, within 2 dB, and the width within a factor of
 * 1.7, the step between those that are tried. */
START_TEST(height_and_width_are_told) {
    for (int k = 0; k < 3; k++) {
        SingerTake take = sing(SINGER_MAN, 260 + (uint64_t)k, 9);
        add_peak(take.mix, take.n, 420.0, 9.0, 5.0);
        StandingPeak peak = find(&take, take.mix, true);
        ck_assert(is_at(&peak, 420.0));
        ck_assert(peak.by_noise);
        ck_assert_double_eq_tol(peak.height_db, 9.0, 2.0);
        double q = peak.hz / (peak.high_hz - peak.low_hz);
        ck_assert_double_gt(q, 5.0 / 1.7);
        ck_assert_double_lt(q, 5.0 * 1.7);
        ck_assert_double_eq_tol(sqrt(peak.low_hz * peak.high_hz), peak.hz, 0.01);
        singer_free(&take);
    }
}
END_TEST

START_TEST(too_little_or_one_note_is_not_known) {
    SingerTake take = sing(SINGER_WOMAN, 270, 1);
    make();
    ck_assert(!resonances_find(&peaks).known);
    ck_assert(!find(&take, take.mix, true).known);
    singer_free(&take);
    take = sing(SINGER_WOMAN, 270, 8);
    ck_assert(find(&take, take.mix, true).known);
    make();
    hear(&take, take.mix, 220.0, false);
    ck_assert(!resonances_find(&peaks).known);
    resonances_reset(&peaks);
    ck_assert_double_eq(resonances_find(&peaks).tokens, 0.0);
    singer_free(&take);
}
END_TEST

/* The same take over and over fills the memory several times. */
START_TEST(a_long_take_is_told_as_its_parts) {
    SingerTake take = sing(SINGER_MAN, 280, 8);
    add_peak(take.mix, take.n, 640.0, 6.0, 5.0);
    make();
    for (int k = 0; k < 12; k++) {
        hear(&take, take.mix, 0.0, true);
        ck_assert_uint_le(peaks.state.frames, STANDING_FRAMES);
    }
    ck_assert_uint_ge(peaks.state.stride, 4);
    StandingPeak peak = resonances_find(&peaks);
    ck_assert(is_at(&peak, 640.0));
    StandingPeak again = resonances_find(&peaks);
    ck_assert_mem_eq(&peak.voice, &again.voice, sizeof peak.voice);
    singer_free(&take);
}
END_TEST

START_TEST(digital_silence_is_no_noise) {
    make();
    memset(spectrum.power, 0, spectrum.bins * sizeof(float));
    resonances_noise(&peaks, spectrum.power);
    ck_assert_uint_eq(peaks.state.noises, 0);
    Arena arena = arena_over(memory, 1000);
    ck_assert(!resonances_prepare(&peaks, RATE_HZ, 4096, &arena));
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("resonances");
    tcase_add_test(tcase, a_peak_is_found_by_the_voice_alone);
    tcase_add_test(tcase, a_peak_is_found_with_the_noise);
    tcase_add_test(tcase, a_ringing_mode_is_found);
    tcase_add_test(tcase, clean_voices_have_none);
    tcase_add_test(tcase, boxes_are_found_in_fifteen_seconds);
    tcase_add_test(tcase, two_and_three_boxes_are_all_told);
    tcase_add_test(tcase, beside_one_note_noise_is_asked);
    tcase_add_test(tcase, noise_alone_is_no_witness);
    tcase_add_test(tcase, the_level_of_a_take_does_not_matter);
    tcase_add_test(tcase, height_and_width_are_told);
    tcase_add_test(tcase, too_little_or_one_note_is_not_known);
    tcase_add_test(tcase, a_long_take_is_told_as_its_parts);
    tcase_add_test(tcase, digital_silence_is_no_noise);
    tcase_add_unchecked_fixture(tcase, fill_stock, empty_stock);
    tcase_set_timeout(tcase, 300);
    return run_tcase(tcase, "resonances");
}
