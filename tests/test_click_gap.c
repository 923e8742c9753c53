/* SPDX-License-Identifier: ISC */
#include "detect/click_gap.h"
#include "run_tcase.h"
#include "signals.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

enum { ROW = BAND_LEVELS_ROW, BANDS = 7, START = 300, KNOWN = 400, LONGEST = 48 };
static ClickHistory history;
static ClickGap gap;

static const float ROOM_DB = -70.0f;

static void set_hops(size_t from, size_t to, float level_db) {
    for (size_t t = from; t != to; t++) {
        for (size_t b = 0; b < ROW; b++)
            history.level[t % CLICK_HISTORY][b] = level_db;
        history.mean[t % CLICK_HISTORY] = level_db;
    }
}

/* Room, and a click of `length` hops that falls from `height_db` over it to the room in a straight
 * line; hops are counted from `first`. */
static void lay_click(size_t first, size_t length, float height_db) {
    memset(&history, 0, sizeof history);
    history.bands = BANDS;
    history.known = first + KNOWN;
    set_hops(first + KNOWN - CLICK_HISTORY, first + KNOWN, ROOM_DB);
    for (size_t k = 0; k < length; k++)
        set_hops(first + START + k, first + START + k + 1,
                 ROOM_DB + height_db * (1.0f - (float)k / (float)length));
}

/* The event that the opening has seen: the first `length` hops of it. */
static bool measure(size_t first, size_t length) {
    ClickEvent event = {first + START, first + START + length};
    return click_gap_measure(&history, &event, LONGEST, &gap);
}

START_TEST(a_click_is_measured_for_as_long_as_it_rings) {
    lay_click(0, 30, 40.0f);
    ck_assert(measure(0, 8));
    ck_assert_uint_eq(gap.start, START);
    /* 4 dB over the room it ends: 40 dB in 30 hops are 1.33 dB each. One hop is for smoothing. */
    ck_assert_uint_ge(gap.end, START + 27);
    ck_assert_uint_le(gap.end, START + 29);
    ck_assert_float_eq_tol(gap.height_db, 40.0f, 0.01f);
    for (size_t b = 0; b < BANDS; b++)
        for (int side = 0; side < 2; side++)
            ck_assert_float_eq_tol(gap.side_db[side][b], ROOM_DB, 0.01f);
    ck_assert(click_gap_stands(&gap));
    ck_assert_float_eq(click_gap_alone(&gap), 1.0f);
}
END_TEST

START_TEST(what_does_not_come_back_is_no_click) {
    lay_click(0, 60, 60.0f);
    ck_assert(!measure(0, 8));
    /* A step up, of which it is hardly the edge. */
    lay_click(0, 8, 40.0f);
    set_hops(START + 8, KNOWN, ROOM_DB + 36.0f);
    ck_assert(!measure(0, 8));
}
END_TEST

START_TEST(what_hardly_stands_out_is_left_to_the_opening) {
    lay_click(0, 8, 5.0f);
    ck_assert(!measure(0, 8));
    lay_click(0, 8, 7.0f);
    ck_assert(measure(0, 8));
}
END_TEST

START_TEST(what_is_not_high_does_not_stand) {
    lay_click(0, 8, 14.0f);
    ck_assert(measure(0, 8));
    ck_assert(!click_gap_stands(&gap));
    ck_assert_float_eq(click_gap_alone(&gap), 0.0f);
    lay_click(0, 8, 16.0f);
    ck_assert(measure(0, 8));
    ck_assert(click_gap_stands(&gap));
}
END_TEST

/* The room may begin, or end, with the click. */
START_TEST(the_surroundings_go_from_one_side_to_the_other) {
    float around[ROW], last = ROOM_DB - 30.0f;
    lay_click(0, 8, 40.0f);
    set_hops(START - 200, START, ROOM_DB - 30.0f);
    ck_assert(measure(0, 8));
    ck_assert_float_eq_tol(gap.change_db, 30.0f, 0.01f);
    for (size_t t = gap.start; t != gap.end; t++) {
        click_gap_around(&gap, t, around);
        ck_assert_float_gt(around[0], last);
        last = around[0];
    }
    ck_assert_float_lt(last, ROOM_DB);
    lay_click(0, 8, 40.0f);
    set_hops(START + 8, KNOWN, ROOM_DB - 30.0f);
    ck_assert(measure(0, 8));
    last = ROOM_DB;
    for (size_t t = gap.start; t != gap.end; t++) {
        click_gap_around(&gap, t, around);
        ck_assert_float_lt(around[0], last);
        last = around[0];
    }
    ck_assert_float_gt(last, ROOM_DB - 30.0f);
    ck_assert_float_eq(click_gap_alone(&gap), 1.0f);
}
END_TEST

/* The burst of a plosive, and what shows it: aspiration, faint as it may be, from the burst to the
 * vowel, which comes later than anyone here has heard; or the vowel before its closure. */
START_TEST(a_plosive_does_not_stand_alone) {
    lay_click(0, 16, 35.0f);
    set_hops(START + 16, KNOWN, ROOM_DB + 1.5f);
    ck_assert(measure(0, 16));
    ck_assert(click_gap_stands(&gap) && click_gap_alone(&gap) == 0.0f);
    lay_click(0, 16, 35.0f);
    set_hops(START - 150, START - 60, ROOM_DB + 30.0f);
    ck_assert(measure(0, 16));
    ck_assert(!click_gap_stands(&gap) && click_gap_alone(&gap) == 0.0f);
    /* A weak vowel, and a closure of 140 ms. */
    lay_click(0, 16, 35.0f);
    set_hops(START - 290, START - 280, ROOM_DB + 15.0f);
    ck_assert(measure(0, 16));
    ck_assert(click_gap_stands(&gap) && click_gap_alone(&gap) == 0.0f);
    /* The vowel after it. */
    lay_click(0, 16, 35.0f);
    set_hops(START + 60, KNOWN, ROOM_DB + 30.0f);
    ck_assert(measure(0, 16));
    ck_assert(!click_gap_stands(&gap) && click_gap_alone(&gap) == 0.0f);
}
END_TEST

/* Events lie a little later than what they are of. */
START_TEST(it_may_begin_a_little_before_the_event) {
    lay_click(0, 16, 40.0f);
    ClickEvent event = {START + 2, START + 10};
    ck_assert(click_gap_measure(&history, &event, LONGEST, &gap));
    ck_assert_uint_eq(gap.start, START);
    event = (ClickEvent){START + 12, START + 14};
    if (click_gap_measure(&history, &event, LONGEST, &gap))
        ck_assert_uint_ge(gap.start, START + 12 - CLICK_GAP_RUN_UP);
}
END_TEST

/* Hops wrap below 0 and above the largest number. */
START_TEST(it_does_not_matter_where_hops_are_counted_from) {
    const size_t firsts[] = {0u - START, 0u - START - 2, 0u - START - 10, 0u - KNOWN, 12345};
    for (size_t k = 0; k < sizeof firsts / sizeof *firsts; k++) {
        lay_click(firsts[k], 30, 40.0f);
        ck_assert(measure(firsts[k], 8));
        ck_assert_uint_eq(gap.start - firsts[k], START);
        ck_assert_float_eq_tol(gap.height_db, 40.0f, 0.01f);
        ck_assert_float_eq(click_gap_alone(&gap), 1.0f);
    }
}
END_TEST

/* White noise has a mean level of half a second that is chance to some tenths of a dB: a click in
 * it must mostly stay alone. Levels of a hop: exponentially distributed power, as in a narrow
 * band. */
START_TEST(chance_in_a_room_rarely_hides_a_click) {
    size_t alone = 0;
    for (uint64_t seed = 1; seed <= 200; seed++) {
        Random random = random_seeded(seed);
        lay_click(0, 20, 40.0f);
        for (size_t t = 0; t < CLICK_HISTORY; t++) {
            float sum = 0.0f;
            for (size_t b = 0; b < BANDS; b++) {
                double power = 0.0; /* two values of each of two quadratures: smoothing over 1 ms */
                for (int i = 0; i < 4; i++)
                    power += 0.25 * pow(random_normal(&random), 2.0);
                history.level[t][b] += (float)(10.0 * log10(power));
                sum += history.level[t][b];
            }
            history.mean[t] = sum / (float)BANDS;
        }
        alone += measure(0, 12) && click_gap_alone(&gap) == 1.0f;
    }
    printf("alone: %zu of 200\n", alone);
    ck_assert_uint_ge(alone, 180);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("click gap");
    tcase_add_test(tcase, a_click_is_measured_for_as_long_as_it_rings);
    tcase_add_test(tcase, what_does_not_come_back_is_no_click);
    tcase_add_test(tcase, what_hardly_stands_out_is_left_to_the_opening);
    tcase_add_test(tcase, what_is_not_high_does_not_stand);
    tcase_add_test(tcase, the_surroundings_go_from_one_side_to_the_other);
    tcase_add_test(tcase, a_plosive_does_not_stand_alone);
    tcase_add_test(tcase, it_may_begin_a_little_before_the_event);
    tcase_add_test(tcase, it_does_not_matter_where_hops_are_counted_from);
    tcase_add_test(tcase, chance_in_a_room_rarely_hides_a_click);
    return run_tcase(tcase, "click gap");
}
