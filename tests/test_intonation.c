/* SPDX-License-Identifier: ISC */
#include "measure/intonation.h"
#include "run_tcase.h"
#include "tunes.h"

#include <check.h>
#include <math.h>
#include <stdio.h>

/* A tune, its notes off by what `error` says of each. */
typedef double ErrorOf(double share, Random *random, double size);

static double normal(double share, Random *random, double size) {
    (void)share;
    return size * random_normal(random);
}

static double anywhere(double share, Random *random, double size) {
    (void)share;
    return random_range(random, -size, size);
}

/* Rising by `size` over the tune, and 8 cents loose. */
static double rising(double share, Random *random, double size) {
    return size * share + 8.0 * random_normal(random);
}

static Intonation of_tune(const Tune *tune, ErrorOf *error, double size, Random *random) {
    static SungNote notes[TUNE_MOST];
    const TuneSung how = {.tonic = 3, .tuning_cents = 15.0, .beat_s = 0.5};
    size_t n = tune_sing(tune, &how, random, notes);
    double all_s = notes[n - 1].end_s;
    for (size_t i = 0; i < n; i++)
        notes[i].midi += 0.01 * error(notes[i].start_s / all_s, random, size);
    Intonation in;
    intonation_find(notes, n, all_s, &in);
    return in;
}

/* The mean size of a normal error is sqrt(2 / pi) of its deviation. */
START_TEST(loose_singing_is_as_far_off_as_it_is) {
    Random random = random_seeded(31);
    const double sizes[] = {4.0, 10.0, 18.0, 25.0};
    for (size_t k = 0; k < 4; k++) {
        double sum = 0.0;
        for (size_t i = 0; i < TUNES_KNOWN; i++) {
            Intonation in = of_tune(&tunes_known[i], normal, sizes[k], &random);
            ck_assert(in.known);
            sum += in.off_cents / TUNES_KNOWN;
            ck_assert_double_lt(fabs(in.drift_cents), 60.0);
        }
        printf("loose by %.0f cents: %.1f off\n", sizes[k], sum);
        ck_assert_double_eq_tol(sum, 0.798 * sizes[k], 0.798 * 0.15 * sizes[k]);
    }
}
END_TEST

/* Anywhere within a semitone: no step is nearer than another, and 25 cents are the least. */
START_TEST(scattered_singing_has_a_figure) {
    Random random = random_seeded(32);
    size_t far = 0;
    for (size_t i = 0; i < TUNES_KNOWN; i++) {
        Intonation in = of_tune(&tunes_known[i], anywhere, 50.0, &random);
        ck_assert(in.known);
        far += in.off_cents >= 20.0;
    }
    printf("scattered: %zu of %d far off\n", far, TUNES_KNOWN);
    ck_assert_uint_ge(far, TUNES_KNOWN - 2);
}
END_TEST

START_TEST(a_drift_is_told) {
    Random random = random_seeded(33);
    const double drifts[] = {100.0, -100.0, 60.0};
    for (size_t k = 0; k < 3; k++) {
        size_t right = 0;
        for (size_t i = 0; i < TUNES_KNOWN; i++) {
            Intonation in = of_tune(&tunes_known[i], rising, drifts[k], &random);
            ck_assert(in.known);
            right += fabs(in.drift_cents - drifts[k]) <= 15.0 &&
                     fabs(in.off_cents - 0.5 * fabs(drifts[k])) <= 10.0;
        }
        printf("drift of %.0f cents: %zu of %d told\n", drifts[k], right, TUNES_KNOWN);
        ck_assert_uint_ge(10 * right, (size_t)9 * TUNES_KNOWN);
    }
}
END_TEST

START_TEST(notes_that_glide_are_no_song) {
    SungNote notes[40];
    Random random = random_seeded(34);
    for (size_t i = 0; i < 40; i++)
        notes[i] = (SungNote){.start_s = 0.4 * (double)i,
                              .end_s = 0.4 * (double)i + 0.25,
                              .midi = random_range(&random, 45.0, 55.0),
                              .drift_cents = i % 8 ? -150.0 : 20.0,
                              .confidence = 0.5};
    Intonation in;
    intonation_find(notes, 40, 10.0, &in);
    ck_assert(!in.sung && !in.known);
    intonation_find(notes, 0, 0.0, &in);
    ck_assert(!in.sung && !in.known);
}
END_TEST

/* Who reads letters out holds their vowels: two thirds of the time, falling by 140 cents a second,
 * at any pitch. */
START_TEST(held_vowels_of_a_reader_are_no_song) {
    Random random = random_seeded(35);
    size_t sung = 0;
    for (size_t take = 0; take < 100; take++) {
        SungNote notes[60];
        for (size_t i = 0; i < 60; i++)
            notes[i] = (SungNote){.start_s = (double)i,
                                  .end_s = (double)i + 0.4,
                                  .midi = random_range(&random, 42.0, 47.0),
                                  .drift_cents = -56.0,
                                  .confidence = 0.8};
        Intonation in;
        intonation_find(notes, 60, 60.0 * 0.4 / 0.66, &in);
        ck_assert_double_eq_tol(in.steady, 0.66, 0.01);
        sung += in.sung;
    }
    printf("readers taken for singers: %zu of 100\n", sung);
    ck_assert_uint_le(sung, 3); /* exp(-5) of them, by chance */
}
END_TEST

/* Half of its time in passing notes, a quarter tone off A 440: its notes agree, so it is sung. */
START_TEST(a_fast_song_is_sung) {
    Random random = random_seeded(36);
    SungNote notes[TUNE_MOST];
    const TuneSung how = {.tonic = 3, .tuning_cents = 45.0, .loose_cents = 10.0, .beat_s = 0.4};
    for (size_t k = 0; k < TUNES_KNOWN; k++) {
        size_t n = tune_sing(&tunes_known[k], &how, &random, notes);
        double steady_s = 0.0;
        for (size_t i = 0; i < n; i++)
            steady_s += notes[i].end_s - notes[i].start_s;
        for (size_t i = 0; i < n; i++)
            notes[i].drift_cents = 180.0 * (notes[i].end_s - notes[i].start_s);
        Intonation in;
        intonation_find(notes, n, steady_s / 0.5, &in);
        ck_assert_double_lt(in.steady, INTONATION_STEADY);
        ck_assert_double_lt(in.still, INTONATION_STILL);
        ck_assert(in.sung);
    }
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("intonation");
    tcase_add_test(tcase, loose_singing_is_as_far_off_as_it_is);
    tcase_add_test(tcase, scattered_singing_has_a_figure);
    tcase_add_test(tcase, a_drift_is_told);
    tcase_add_test(tcase, notes_that_glide_are_no_song);
    tcase_add_test(tcase, held_vowels_of_a_reader_are_no_song);
    tcase_add_test(tcase, a_fast_song_is_sung);
    tcase_set_timeout(tcase, 60);
    return run_tcase(tcase, "intonation");
}
