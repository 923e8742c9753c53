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

int main(void) {
    TCase *tcase = tcase_create("intonation");
    tcase_add_test(tcase, loose_singing_is_as_far_off_as_it_is);
    tcase_add_test(tcase, scattered_singing_has_a_figure);
    tcase_add_test(tcase, a_drift_is_told);
    tcase_add_test(tcase, notes_that_glide_are_no_song);
    tcase_set_timeout(tcase, 60);
    return run_tcase(tcase, "intonation");
}
