/* SPDX-License-Identifier: ISC */
#include "run_tcase.h"
#include "signals.h"
#include "singer.h"
#include "voice/period_marks.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { LENGTH = 192000, MOST = 8192 };
static const double REACH_MS = 40.0;
static unsigned char memory[1 << 18];
static float in[LENGTH];
static PeriodMarks marks;
static PeriodMark found[MOST], again[MOST];
static double known_at[MOST];

static const double RATES[] = {8000.0, 44100.0, 48000.0, 192000.0};
enum { N_RATES = 4 };

static size_t mark(double rate, const float *audio, size_t n, size_t most, PeriodMark *to) {
    Arena arena = arena_over(memory, sizeof memory);
    size_t count = 0;
    ck_assert(period_marks_prepare(&marks, rate, REACH_MS, &arena));
    period_marks_reset(&marks);
    for (size_t at = 0; at < n;) {
        size_t now = period_marks_room(&marks);
        now = now < n - at ? now : n - at;
        now = now < most ? now : most;
        period_marks_process(&marks, audio + at, now);
        at += now;
        for (; count < period_marks_count(&marks) && count < MOST; count++) {
            known_at[count] = (double)at;
            to[count] = *period_mark(&marks, count);
        }
    }
    return count;
}

START_TEST(a_steady_tone_has_one_mark_in_each_period) {
    for (int r = 0; r < N_RATES; r++)
        for (double hz = 62.0; hz < 1100.0; hz *= 1.31) {
            size_t n = (size_t)(0.5 * RATES[r]);
            signals_harmonics(in, n, RATES[r], hz, fmin(0.45 * RATES[r], 5000.0), -9.0, 0.1);
            size_t count = mark(RATES[r], in, n, n, found);
            double period = RATES[r] / hz;
            ck_assert_uint_gt(count, (size_t)(0.4 * hz)); /* all but the first and last 50 ms */
            ck_assert(found[0].first);
            double last = found[0].at - found[0].slid;
            for (size_t i = 1; i < count; i++) {
                double chained = found[i].at - found[i].slid;
                /* Lags are 0.1 ms apart, 0.11 of the shortest period: a fifth of that. */
                ck_assert_double_lt(fabs(chained - last - period), 0.02 * period);
                ck_assert(!found[i].first);
                last = chained;
            }
            if (hz > 750.0) /* a dozen lags a period, and fewer, let the chain creep */
                continue;
            /* The chain stays where it began in the period; of high notes, whose periods are a
             * dozen values long, within 2.5 cents of their pitch. */
            double drift = last - found[0].at - (double)(count - 1) * period;
            double most = hz < 500.0 ? 0.15 : fmax(0.15, 0.00144 * (double)count);
            ck_assert_double_lt(fabs(drift), most * period);
        }
}
END_TEST

START_TEST(a_mark_is_known_in_time) {
    for (double hz = 70.0; hz < 800.0; hz *= 1.4) {
        const double rate = 48000.0, ms = rate / 1000.0, period = rate / hz;
        signals_harmonics(in, 48000, rate, hz, 5000.0, -9.0, 0.1);
        size_t count = mark(rate, in, 48000, 48000, found);
        for (size_t i = 1; i < count; i++)
            ck_assert_msg(known_at[i] == known_at[0] ||
                              known_at[i] - found[i].at < fmax(0.7 * period, 2.0 * ms) + 3.0 * ms,
                          "%g Hz: mark %zu is known after %g frames", hz, i,
                          known_at[i] - found[i].at);
        /* The first ones: the tracker's window, two of its hops, and a period to compare. */
        ck_assert_double_lt(known_at[0], 35.0 * ms + 1.5 * period);
    }
}
END_TEST

START_TEST(noise_and_silence_have_none) {
    Random random = random_seeded(4);
    signals_silence(in, LENGTH);
    ck_assert_uint_eq(mark(48000.0, in, LENGTH, LENGTH, found), 0);
    signals_noise(in, LENGTH, 0.1, &random);
    ck_assert_uint_lt(mark(48000.0, in, LENGTH, LENGTH, found), 4);
}
END_TEST

/* A tone that goes on 20 dB under a hiss, as a voice does that dies away into an /s/. */
/* Tones above any note, one after another, draw the chain to ever shorter lags; at none the
 * likeness is 1. The bound: a period at the highest note, less the 0.8 that is granted to a chain,
 * and half of that where a run goes on with another. */
START_TEST(no_two_marks_are_nearer_than_a_period_of_the_highest_note) {
    for (uint64_t seed = 1; seed <= 40; seed++) {
        Random random = random_seeded(seed);
        const double rate = seed % 2 ? 48000.0 : 96000.0;
        double phase = 0.0, hz = 900.0, level = 0.3;
        for (size_t t = 0; t < LENGTH; t++) {
            if (t % (LENGTH / 64) == 0) {
                hz = random_range(&random, 300.0, 4800.0);
                level = random_range(&random, 0.01, 0.5);
            }
            phase += 2.0 * 3.14159265358979323846 * hz / rate;
            in[t] = (float)(level * sin(phase));
        }
        size_t count = mark(rate, in, LENGTH, LENGTH, found);
        for (size_t i = 1; i < count; i++)
            ck_assert_msg(found[i].at - found[i - 1].at >= 0.5 * 0.8 * rate / 1500.0,
                          "seed %llu: marks %zu and %zu are %g frames apart",
                          (unsigned long long)seed, i - 1, i, found[i].at - found[i - 1].at);
    }
}
END_TEST

START_TEST(a_hiss_ends_the_run_of_a_voice_that_dies_away_under_it) {
    const double rate = 48000.0;
    static float hiss[24000];
    Random random = random_seeded(6);
    signals_harmonics(in, 48000, rate, 200.0, 2000.0, -9.0, 0.1);
    signals_scale(in + 24000, 24000, 0.1);
    signals_band_noise(hiss, 24000, rate, 7000.0, 12000.0, 0.1, &random);
    size_t count = mark(rate, in, 48000, 48000, found), last = count - 1;
    ck_assert_double_gt(found[last].at, 40000.0); /* without the hiss it is marked */
    signals_add(in + 24000, hiss, 24000);
    count = mark(rate, in, 48000, 48000, found);
    ck_assert_double_lt(found[count - 1].at, 24000.0 + 480.0);
}
END_TEST

START_TEST(any_cutting_gives_the_same_marks) {
    static const size_t cuts[] = {1, 7, 64};
    Random random = random_seeded(5);
    signals_harmonics(in, 48000, 48000.0, 173.0, 5000.0, -9.0, 0.1);
    for (size_t i = 0; i < 48000; i++)
        in[i] += (float)(0.003 * random_normal(&random));
    size_t count = mark(48000.0, in, 48000, 48000, found);
    for (size_t k = 0; k < 3; k++) {
        ck_assert_uint_eq(mark(48000.0, in, 48000, cuts[k], again), count);
        for (size_t i = 0; i < count; i++)
            ck_assert(found[i].at == again[i].at && found[i].likeness == again[i].likeness);
    }
}
END_TEST

static SingerTake sing(SingerVoice voice, uint64_t seed) {
    SingerParams params = singer_params(voice, 48000.0, seed);
    SingerTake take;
    params.phrases = 3;
    ck_assert(singer_take(&params, &take));
    return take;
}

/* Of all the marks within a voiced sound, whose true periods are known: one in 200 at most may
 * belong to another octave. */
START_TEST(a_sung_take_is_marked_period_by_period) {
    const SingerVoice voices[] = {SINGER_MAN, SINGER_WOMAN};
    for (unsigned v = 0; v < 2; v++) {
        SingerTake take = sing(voices[v], 611 + v);
        size_t count = mark(48000.0, take.mix, take.n, take.n, found), wrong = 0;
        double covered = 0.0, sung = 0.0;
        for (size_t i = 1; i < count; i++) {
            double hz = (double)take.f0_hz[(size_t)found[i].at];
            covered += found[i].first ? 0.0 : found[i].period;
            wrong += hz > 0.0 && fabs(log2(48000.0 / found[i].period / hz)) > 0.5;
        }
        for (size_t t = 0; t < take.n; t++)
            sung += take.f0_hz[t] > 0.0f;
        printf("%zu marks, %zu of another octave, %.1f %% covered\n", count, wrong,
               100.0 * covered / sung);
        ck_assert_uint_le(wrong, count / 200);
        ck_assert_double_gt(covered, 0.93 * sung);
        singer_free(&take);
    }
}
END_TEST

/* Wherever a tick or a hop begins, within a tenth of a period. The rest are at the beginnings and
 * ends of runs, and where energy is nearly even over the period. */
START_TEST(some_frames_later_the_marks_lie_in_the_same_places) {
    static const size_t later[] = {37, 101, 229};
    const SingerVoice voices[] = {SINGER_MAN, SINGER_WOMAN};
    for (unsigned v = 0; v < 2; v++) {
        SingerTake take = sing(voices[v], 631 + v);
        float *moved = calloc(take.n + later[2], sizeof *moved);
        ck_assert(moved != NULL);
        size_t count = mark(48000.0, take.mix, take.n, take.n, found);
        for (size_t k = 0; k < 3; k++) {
            signals_silence(moved, later[k]);
            memcpy(moved + later[k], take.mix, take.n * sizeof *moved);
            size_t others = mark(48000.0, moved, take.n + later[k], take.n, again), off = 0, j = 0;
            for (size_t i = 0; i < count; i++) {
                double at = found[i].at + (double)later[k];
                while (j + 1 < others && fabs(again[j + 1].at - at) < fabs(again[j].at - at))
                    j++;
                off += fabs(again[j].at - at) > 0.1 * found[i].period;
            }
            printf("%zu frames later: %zu of %zu marks elsewhere\n", later[k], off, count);
            ck_assert_uint_le(off, count / 20);
        }
        free(moved);
        singer_free(&take);
    }
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("period_marks");
    tcase_add_test(tcase, a_steady_tone_has_one_mark_in_each_period);
    tcase_add_test(tcase, a_mark_is_known_in_time);
    tcase_add_test(tcase, noise_and_silence_have_none);
    tcase_add_test(tcase, no_two_marks_are_nearer_than_a_period_of_the_highest_note);
    tcase_add_test(tcase, a_hiss_ends_the_run_of_a_voice_that_dies_away_under_it);
    tcase_add_test(tcase, any_cutting_gives_the_same_marks);
    tcase_add_test(tcase, a_sung_take_is_marked_period_by_period);
    tcase_add_test(tcase, some_frames_later_the_marks_lie_in_the_same_places);
    tcase_set_timeout(tcase, 60);
    return run_tcase(tcase, "period_marks");
}
