/* SPDX-License-Identifier: ISC */
#include "detect/click_features.h"
#include "run_tcase.h"
#include "signals.h"

#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { ROW = BAND_LEVELS_ROW, BANDS = 7, NOW = 400, START = 300 };
static ClickHistory history;
static float feature[CLICK_FEATURES];

static void set_level(size_t t, size_t b, float level) {
    history.level[t % CLICK_HISTORY][b] = level;
}

/* What the finder keeps beside the levels, from them: excess over `open` dB. */
static void finish(size_t from, size_t to, float open) {
    for (size_t t = from; t < to; t++) {
        size_t at = t % CLICK_HISTORY;
        float first = 0.0f, second = 0.0f, sum = 0.0f, power = 0.0f;
        for (size_t b = 0; b < BANDS; b++) {
            float level = history.level[at][b], excess = fmaxf(level - open, 0.0f);
            history.excess[at][b] = excess;
            second = fmaxf(second, fminf(first, excess));
            first = fmaxf(first, excess);
            sum += level;
            power += powf(10.0f, 0.1f * level);
        }
        history.height[at] = 0.5f * (first + second);
        history.mean[at] = sum / (float)BANDS;
        history.total[at] = history.smooth[at] = 10.0f * log10f(power);
        history.voice[at] = -20.0f;
        history.voice_low[at] = -30.0f;
    }
}

/* A flat level in all bands, from hop `first` on. */
static void flat(size_t first, float level) {
    memset(&history, 0, sizeof history);
    history.bands = BANDS;
    for (size_t t = first; t < first + CLICK_HISTORY; t++)
        for (size_t b = 0; b < ROW; b++)
            set_level(t, b, level);
    history.known = first + NOW;
    history.rated = first + NOW;
}

static void measure(size_t first, size_t start, size_t length) {
    ClickEvent event = {first + start, first + start + length};
    click_features(&history, &event, feature);
}

static void expect(ClickFeature which, double value) {
    ck_assert_msg(fabs((double)feature[which] - value) < 1e-3, "feature %d is %g, not %g",
                  (int)which, (double)feature[which], value);
}

/* Four hops of 6, 12, 9, 3 dB times the band's share, over -60 dB everywhere. */
static const float shape[4] = {6.0f, 12.0f, 9.0f, 3.0f};
static const float share[BANDS] = {0.25f, 0.5f, 1.0f, 2.0f, 1.5f, 0.75f, 0.0f};

static void click(size_t first, float base) {
    flat(first, base);
    for (size_t t = 0; t < 4; t++)
        for (size_t b = 0; b < BANDS; b++)
            set_level(first + START + t, b, base + shape[t] * share[b]);
    finish(first, first + NOW, base);
}

START_TEST(a_click_on_a_flat_level_measures_as_reckoned_by_hand) {
    click(0, -60.0f);
    measure(0, START, 4);
    /* Sorted shares: 2, 1.5, 1, 0.75, 0.5, 0.25, 0: mean 6/7. The peak is hop 1, at 12 dB. */
    expect(CLICK_FIRST, 24.0);
    expect(CLICK_SECOND, 18.0);
    expect(CLICK_MIDDLE, 9.0);
    expect(CLICK_UPPER, 18.0);
    expect(CLICK_TILT, 0.5 * 12.0 * (0.0 + 0.75 - 0.25 - 0.5));
    /* Heights: 1.75 times 6, 12, 9, 3: within 6 dB of 21 is that and 15.75. */
    expect(CLICK_WIDTH, 2.0);
    expect(CLICK_LENGTH, 4.0);
    expect(CLICK_STEP, 0.0);
    expect(CLICK_FAR_CHANGE, 0.0);
    expect(CLICK_LOW_CHANGE, 0.0);
    const ClickFeature over[] = {CLICK_RISE, CLICK_FALL, CLICK_NEAR_BEFORE, CLICK_NEAR_AFTER,
                                 CLICK_NEAR_MEAN};
    for (size_t k = 0; k < sizeof over / sizeof *over; k++)
        expect(over[k], 12.0 * 6.0 / 7.0);
    expect(CLICK_NEAR_LEAST, 0.0);
    expect(CLICK_OVER_BEFORE, 21.0);
    expect(CLICK_OVER_AFTER, 21.0);
    expect(CLICK_SHARP_FALL, 24.0);
    expect(CLICK_LOW_PEAK, 0.0);
    expect(CLICK_LOW_RISE, 0.0);
    expect(CLICK_PERIOD, 0.0); /* nothing repeats: no lag is better than another */
    expect(CLICK_RIVAL, -21.0);
    double total = (double)history.total[START + 1];
    expect(CLICK_CLOSURE, 0.0);
    expect(CLICK_OVER_VOICE, total + 20.0);
    expect(CLICK_SIDES, total + 20.0 - 12.0 * 6.0 / 7.0);
    expect(CLICK_LOW_SIDES, -60.0 + 30.0);
    expect(CLICK_COMING, (double)history.smooth[START + 50] - total);
}
END_TEST

START_TEST(a_gain_before_changes_nothing) {
    float quiet[CLICK_FEATURES];
    click(0, -60.0f);
    measure(0, START, 4);
    memcpy(quiet, feature, sizeof quiet);
    click(0, -30.0f);
    for (size_t t = 0; t < CLICK_HISTORY; t++) {
        history.voice[t] += 30.0f;
        history.voice_low[t] += 30.0f;
    }
    measure(0, START, 4);
    for (size_t k = 0; k < CLICK_FEATURES; k++)
        expect((ClickFeature)k, (double)quiet[k]);
}
END_TEST

START_TEST(where_the_ring_wraps_makes_no_difference) {
    float here[CLICK_FEATURES];
    click(0, -60.0f);
    measure(0, START, 4);
    memcpy(here, feature, sizeof here);
    const size_t firsts[] = {1, 150, 210, 511, 1000000};
    for (size_t k = 0; k < sizeof firsts / sizeof *firsts; k++) {
        click(firsts[k], -60.0f);
        measure(firsts[k], START, 4);
        ck_assert(signals_same_bits(feature, here, CLICK_FEATURES));
    }
}
END_TEST

START_TEST(a_burst_that_parts_silence_from_voice_shows_it) {
    flat(0, -70.0f);
    for (size_t t = START; t < CLICK_HISTORY; t++)
        for (size_t b = 0; b < ROW; b++)
            set_level(t, b, -40.0f);
    for (size_t t = 100; t < 240; t++) /* the vowel before the closure */
        for (size_t b = 0; b < ROW; b++)
            set_level(t, b, -40.0f);
    for (size_t t = START; t < START + 6; t++)
        for (size_t b = 0; b < BANDS; b++)
            set_level(t, b, -25.0f);
    finish(0, NOW, -40.0f);
    measure(0, START, 6);
    expect(CLICK_STEP, 30.0);
    expect(CLICK_FAR_CHANGE, 30.0);
    expect(CLICK_LOW_CHANGE, 30.0);
    expect(CLICK_RISE, 45.0);
    expect(CLICK_FALL, 15.0);
    expect(CLICK_LOW_RISE, 30.0);
    expect(CLICK_CLOSURE, 30.0);
    expect(CLICK_OVER_AFTER, 15.0);
}
END_TEST

/* Pulses of 3 hops, 20 dB high, every 17 hops; `extra` dB added at one hop. */
static void pulses(size_t at, float extra) {
    flat(0, -60.0f);
    for (size_t t = 0; t < CLICK_HISTORY; t++)
        for (size_t b = 0; b < ROW; b++)
            if (t % 17 < 3)
                set_level(t, b, -40.0f);
    for (size_t b = 0; b < 3 && extra > 0.0f; b++)
        set_level(at, b, history.level[at][b] + extra);
    finish(0, NOW, -40.0f);
}

START_TEST(a_pulse_in_a_row_stands_over_nothing_a_period_away) {
    pulses(0, 0.0f);
    measure(0, 306, 3); /* 306 = 18 * 17: itself a pulse */
    expect(CLICK_PERIOD, 0.0);
    expect(CLICK_OVER_BEFORE, 0.0);
    pulses(314, 15.0f); /* between pulses: it stays under them, but was not there before */
    measure(0, 314, 1);
    expect(CLICK_PERIOD, 15.0);
    expect(CLICK_OVER_BEFORE, -5.0);
}
END_TEST

START_TEST(fewer_bands_and_the_longest_event_measure_too) {
    Random random = random_seeded(61);
    for (size_t bands = 1; bands <= BANDS; bands++) {
        flat(0, -60.0f);
        for (size_t t = 0; t < CLICK_HISTORY; t++)
            for (size_t b = 0; b < ROW; b++)
                set_level(t, b, (float)random_range(&random, -90.0, -10.0));
        finish(0, CLICK_HISTORY, -50.0f);
        history.bands = bands;
        const size_t lengths[] = {1, 2, 24, CLICK_LONGEST};
        for (size_t k = 0; k < 4; k++) {
            measure(0, NOW - CLICK_HOPS_AFTER - lengths[k], lengths[k]);
            ck_assert(signals_all_finite(feature, CLICK_FEATURES));
            ck_assert_float_ge(feature[CLICK_FIRST], feature[CLICK_SECOND]);
            ck_assert_float_ge(feature[CLICK_UPPER], feature[CLICK_MIDDLE]);
            ck_assert_float_ge(feature[CLICK_NEAR_MEAN], feature[CLICK_NEAR_LEAST]);
            expect(CLICK_LENGTH, (double)lengths[k]);
        }
    }
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("click features");
    tcase_add_test(tcase, a_click_on_a_flat_level_measures_as_reckoned_by_hand);
    tcase_add_test(tcase, a_gain_before_changes_nothing);
    tcase_add_test(tcase, where_the_ring_wraps_makes_no_difference);
    tcase_add_test(tcase, a_burst_that_parts_silence_from_voice_shows_it);
    tcase_add_test(tcase, a_pulse_in_a_row_stands_over_nothing_a_period_away);
    tcase_add_test(tcase, fewer_bands_and_the_longest_event_measure_too);
    return run_tcase(tcase, "click features");
}
