/* SPDX-License-Identifier: ISC */
/* Lanes: how they are written, and what they say at a time and at a frame. */
#include "siskin/edit/lane.h"
#include "siskin/tests/run_siskin.h"

static Lane loaded(const char *text) {
    Lane lane;
    HostError error;
    write_text("some.lane", text);
    ck_assert_msg(lane_load(&lane, "some.lane", &error), "%s", error.text);
    return lane;
}

static void check_says(const char *text, const char *words) {
    Lane lane;
    HostError error;
    char *copy = strdup(words);
    write_text("bad.lane", text);
    ck_assert_msg(!lane_load(&lane, "bad.lane", &error), "'%s' was taken", text);
    for (char *word = strtok(copy, "|"); word; word = strtok(NULL, "|"))
        ck_assert_msg(strstr(error.text, word) != NULL, "no '%s' in: %s", word, error.text);
    free(copy);
}

START_TEST(a_step_holds_its_value_until_the_next) {
    Lane lane = loaded("# depth of the breaths\n\n1.5 10\n3 -2.5  # the loud one\r\n1:00.25 0\n");
    ck_assert(!lane.line);
    ck_assert_uint_eq(lane.n, 3);
    ck_assert_double_eq(lane.points[2].at_s, 60.25);
    ck_assert_double_eq(lane_value(&lane, 0.0), 10.0);
    ck_assert_double_eq(lane_value(&lane, 2.999), 10.0);
    ck_assert_double_eq(lane_value(&lane, 3.0), -2.5);
    ck_assert_double_eq(lane_value(&lane, 60.0), -2.5);
    ck_assert_double_eq(lane_value(&lane, 1e5), 0.0);
    lane_free(&lane);
}
END_TEST

START_TEST(a_line_is_straight_between_points_and_level_in_a_stretch) {
    Lane lane = loaded("line\n1 2 -6\n4 6 +6\n");
    ck_assert_uint_eq(lane.n, 4);
    ck_assert_double_eq(lane_value(&lane, 0.0), -6.0);
    ck_assert_double_eq(lane_value(&lane, 1.7), -6.0);
    ck_assert_double_eq(lane_value(&lane, 2.0), -6.0);
    ck_assert_double_eq(lane_value(&lane, 3.0), 0.0);
    ck_assert_double_eq(lane_value(&lane, 3.5), 3.0);
    ck_assert_double_eq(lane_value(&lane, 5.0), 6.0);
    ck_assert_double_eq(lane_value(&lane, 9.0), 6.0);
    double least, greatest;
    lane_range(&lane, &least, &greatest);
    ck_assert_double_eq(least, -6.0);
    ck_assert_double_eq(greatest, 6.0);
    lane_free(&lane);
}
END_TEST

START_TEST(stretches_may_touch_and_then_step) {
    Lane lane = loaded("line\n0 1 3\n1 2 5\n");
    ck_assert_double_eq(lane_value(&lane, 0.999999), 3.0);
    ck_assert_double_eq(lane_value(&lane, 1.0), 5.0);
    lane_free(&lane);
}
END_TEST

/* A point lies on the frame nearest to its time, whatever the order in which frames are asked. */
START_TEST(frames_say_what_times_say) {
    const double rate_hz = 44100.0;
    Lane lane = loaded("line\n0.1 0.2 1\n0.25 2\n0.25 0.3 5\n0.4 0\n");
    LaneCursor cursor;
    lane_begin(&cursor, &lane, rate_hz);
    for (int64_t frame = -100; frame < 20000; frame++) {
        double at_s = fmax(0.0, (double)frame / rate_hz);
        /* no point is off the grid of frames here */
        ck_assert_double_eq_tol(lane_at(&cursor, frame), lane_value(&lane, at_s + 1e-9), 1e-6);
    }
    ck_assert_double_eq(lane_at(&cursor, 0), 1.0); /* backwards */
    ck_assert_double_eq(lane_at(&cursor, (int64_t)(0.25 * rate_hz)), 5.0);
    lane_free(&lane);
}
END_TEST

/* Cut into pieces, the lane is what it is frame by frame; each point begins a piece, and a piece
 * that moves is as short as was asked for. */
START_TEST(pieces_say_what_frames_say) {
    enum { MOST = 32, FRAMES = 30000 };
    static const char *const texts[] = {"line\n0.1 0.2 1\n0.25 2\n0.25 0.3 5\n0.4 0\n",
                                        "hold\n0.1 0.2 1\n0.25 2\n0.25 0.3 5\n0.4 0\n"};
    for (size_t k = 0; k < 2; k++) {
        Lane lane = loaded(texts[k]);
        LaneCursor cursor, other;
        lane_begin(&cursor, &lane, 44100.0);
        lane_begin(&other, &lane, 44100.0);
        bool began[FRAMES] = {false};
        for (int64_t at = -10; at < FRAMES;) {
            double from, to;
            int64_t n = lane_piece(&cursor, at, MOST, &from, &to);
            ck_assert_int_ge(n, 1);
            ck_assert(from == to || n <= MOST);
            if (at >= 0)
                began[at] = true;
            int64_t end = n > FRAMES - at ? FRAMES : at + n;
            for (int64_t i = at; i < end; i++) {
                double along = from + (to - from) * (double)(i - at) / (double)n;
                ck_assert_double_eq_tol(lane_at(&other, i), along, 1e-12);
            }
            at = end;
        }
        static const double times[] = {0.1, 0.25, 0.4};
        for (size_t i = 0; i < sizeof times / sizeof *times; i++)
            ck_assert(began[lround(times[i] * 44100.0)]);
        lane_free(&lane);
    }
}
END_TEST

START_TEST(what_is_wrong_is_named_with_its_line) {
    check_says("1 2\nhold 3\n", "bad.lane, line 2|'hold' is no time");
    check_says("1 2\n0.5 3\n", "line 2|0.5 comes after 1");
    check_says("2 1 3\n", "line 1|a stretch must end after it begins");
    check_says("1\n", "line 1|TIME VALUE");
    check_says("1 2 3 4\n", "line 1|TIME VALUE");
    check_says("1 nan\n", "line 1|'nan' is no number");
    check_says("1:75 3\n", "line 1|'1:75' is no time");
    check_says("-1 3\n", "line 1|'-1' is no time");
    check_says("1e9 3\n", "line 1|'1e9' is no time");
    check_says("line\n# nothing\n", "bad.lane has no line such as");
    Lane lane;
    HostError error;
    ck_assert(!lane_load(&lane, "absent.lane", &error));
    ck_assert_ptr_nonnull(strstr(error.text, "cannot read the lane absent.lane"));
    ck_assert(!lane_load(&lane, ".", &error));
    ck_assert(!lane_load(&lane, "/dev/zero", &error)); /* never ends */
    ck_assert_ptr_nonnull(strstr(error.text, "/dev/zero: it is longer than 1 MB"));
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("lane");
    tcase_add_test(tcase, a_step_holds_its_value_until_the_next);
    tcase_add_test(tcase, a_line_is_straight_between_points_and_level_in_a_stretch);
    tcase_add_test(tcase, stretches_may_touch_and_then_step);
    tcase_add_test(tcase, frames_say_what_times_say);
    tcase_add_test(tcase, pieces_say_what_frames_say);
    tcase_add_test(tcase, what_is_wrong_is_named_with_its_line);
    return run_suite(tcase, "lane");
}
