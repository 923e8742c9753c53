/* SPDX-License-Identifier: ISC */
#include "run_tcase.h"
#include "signals.h"
#include "view/hands.h"
#include "view_spec.h"

#include <check.h>
#include <math.h>
#include <string.h>

static Model model;
static Sheet sheet;
static Hands hands;

/* What the host heard. */
static struct {
    size_t writes, port;
    float value;
    int held; /* touches that have not ended */
    size_t touches;
} heard;

static void hear_write(void *host, size_t port, float value) {
    ck_assert_ptr_eq(host, &heard);
    ck_assert(model_is_control(&model, port));
    ck_assert_float_eq(layout_clamp(&model.port[port].spec, value), value);
    ck_assert_int_eq(heard.held, 1); /* no write without a hand on it */
    heard.writes++;
    heard.port = port;
    heard.value = value;
}

static void hear_touch(void *host, size_t port, bool held) {
    ck_assert_ptr_eq(host, &heard);
    ck_assert(model_is_control(&model, port));
    heard.held += held ? 1 : -1;
    heard.touches++;
    ck_assert(heard.held == 0 || heard.held == 1);
}

static void start(void) {
    double width, height;
    memset(&heard, 0, sizeof heard);
    model_start(&model, &spec_of_views, 2, spec_presets);
    sheet_natural(&model, &width, &height);
    sheet_make(&sheet, &model, width, height);
    hands_start(&hands, &model, &sheet, (HandsHost){&heard, hear_write, hear_touch});
    hands_keyboard(&hands, true);
}

static const SheetItem *item_of(size_t port) {
    for (size_t i = 0; i < sheet.n; i++)
        if (sheet.item[i].port == port)
            return &sheet.item[i];
    ck_abort_msg("port %zu is not shown", port);
    return NULL;
}

static double middle_x(Box box) {
    return box.x + 0.5 * box.w;
}
static double middle_y(Box box) {
    return box.y + 0.5 * box.h;
}
static void press(Box box, double share, double now_s) {
    hands_press(&hands, box.x + share * box.w, middle_y(box), false, now_s);
    hands_release(&hands);
}
static void key(HandsKey key) {
    hands_key(&hands, key, "", false);
}
static void type(const char *text) {
    for (; *text; text++) {
        const char one[2] = {*text, '\0'};
        hands_key(&hands, KEY_OTHER, one, false);
    }
}
static float value(int control) {
    return model.value[SPEC_CONTROL + control];
}
static void focus(size_t port) {
    for (size_t i = 0; i < sheet.n && sheet.item[hands.focus].port != port; i++)
        key(KEY_TAB);
    ck_assert_uint_eq(sheet.item[hands.focus].port, port);
}

START_TEST(tab_goes_through_all_in_their_order_and_back) {
    size_t first = hands.focus, n = 0, last;
    do {
        last = hands.focus;
        key(KEY_TAB);
        n++;
        ck_assert(sheet_takes_focus(&sheet.item[hands.focus]));
        ck_assert(hands.focus > last || hands.focus == first);
    } while (hands.focus != first);
    ck_assert_uint_eq(n, 2 + 1 + SPEC_CONTROLS); /* enabled, audition, presets, controls */
    key(KEY_BACK_TAB);
    ck_assert_uint_eq(hands.focus, last);
    hands_key(&hands, KEY_TAB, "", true);
    ck_assert_uint_lt(hands.focus, last);
    ck_assert_uint_eq(heard.writes, 0);
}
END_TEST

START_TEST(keys_step_page_end_and_default) {
    focus(SPEC_CONTROL + SPEC_LEVEL);
    key(KEY_MORE);
    ck_assert_float_eq(value(SPEC_LEVEL), -5.5f);
    key(KEY_LESS);
    key(KEY_LESS);
    ck_assert_float_eq(value(SPEC_LEVEL), -6.5f);
    key(KEY_PAGE_MORE);
    ck_assert_float_eq(value(SPEC_LEVEL), -1.5f);
    hands_key(&hands, KEY_MORE, "", true);
    ck_assert_float_eq_tol(value(SPEC_LEVEL), -1.45f, 1e-6f);
    key(KEY_HOME);
    ck_assert_float_eq(value(SPEC_LEVEL), -24.0f);
    key(KEY_PAGE_LESS);
    ck_assert_float_eq(value(SPEC_LEVEL), -24.0f);
    key(KEY_END);
    ck_assert_float_eq(value(SPEC_LEVEL), 24.0f);
    key(KEY_DELETE);
    ck_assert_float_eq(value(SPEC_LEVEL), -6.0f);
    ck_assert_uint_eq(heard.port, SPEC_CONTROL + SPEC_LEVEL);
    ck_assert_float_eq(heard.value, -6.0f);
    ck_assert_uint_eq(heard.touches, 2 * heard.writes);
}
END_TEST

START_TEST(a_value_is_typed_taken_and_left) {
    focus(SPEC_CONTROL + SPEC_TIME);
    type("25");
    ck_assert(hands.typing);
    ck_assert_float_eq(value(SPEC_TIME), 10.0f);
    key(KEY_ENTER);
    ck_assert(!hands.typing);
    ck_assert_float_eq(value(SPEC_TIME), 25.0f);
    type("1.5 s");
    key(KEY_TAB);
    ck_assert_float_eq(value(SPEC_TIME), 1500.0f);
    focus(SPEC_CONTROL + SPEC_TIME);
    type("77");
    key(KEY_ESCAPE);
    ck_assert_float_eq(value(SPEC_TIME), 1500.0f);
    key(KEY_ENTER); /* type over: what stands there goes with the first letter */
    ck_assert_str_eq(hands.text, "1500");
    type("30");
    ck_assert_str_eq(hands.text, "30");
    key(KEY_BACKSPACE);
    ck_assert_str_eq(hands.text, "3");
    key(KEY_ENTER);
    ck_assert_float_eq(value(SPEC_TIME), 3.0f);
    type("12345678901234567890"); /* no more than there is room for */
    ck_assert_uint_lt(strlen(hands.text), HANDS_TEXT);
    key(KEY_ENTER);
    ck_assert_float_eq(value(SPEC_TIME), 5000.0f);
    type("4-4");
    key(KEY_ENTER); /* no number: as it was */
    ck_assert_float_eq(value(SPEC_TIME), 5000.0f);
}
END_TEST

START_TEST(losing_the_keyboard_takes_what_is_typed) {
    focus(SPEC_CONTROL + SPEC_SHARE);
    type("33");
    hands_keyboard(&hands, false);
    ck_assert_float_eq(value(SPEC_SHARE), 33.0f);
}
END_TEST

START_TEST(a_slider_goes_where_it_is_pressed_and_follows) {
    Box track = item_of(SPEC_CONTROL + SPEC_LEVEL)->part[1];
    hands_press(&hands, track.x + 0.75 * track.w, middle_y(track), false, 1.0);
    ck_assert_float_eq_tol(value(SPEC_LEVEL), 12.0f, 0.051f);
    ck_assert_int_eq(heard.held, 1);
    hands_move(&hands, track.x + 0.25 * track.w, 5000.0);
    ck_assert_float_eq_tol(value(SPEC_LEVEL), -12.0f, 0.051f);
    hands_move(&hands, -1e6, 0.0);
    ck_assert_float_eq(value(SPEC_LEVEL), -24.0f);
    hands_release(&hands);
    ck_assert_int_eq(heard.held, 0);
    hands_move(&hands, track.x + 0.5 * track.w, middle_y(track));
    ck_assert_float_eq(value(SPEC_LEVEL), -24.0f);
}
END_TEST

START_TEST(with_shift_it_moves_a_tenth_from_where_it_is) {
    Box track = item_of(SPEC_CONTROL + SPEC_LEVEL)->part[1];
    hands_press(&hands, track.x + 0.9 * track.w, middle_y(track), true, 1.0);
    ck_assert_float_eq(value(SPEC_LEVEL), -6.0f);
    hands_move(&hands, track.x + 0.4 * track.w, middle_y(track));
    ck_assert_float_eq_tol(value(SPEC_LEVEL), -6.0f - 0.05f * 48.0f, 0.051f);
    hands_release(&hands);
}
END_TEST

START_TEST(pressed_twice_it_is_the_default) {
    Box track = item_of(SPEC_CONTROL + SPEC_LEVEL)->part[1];
    press(track, 0.1, 1.0);
    press(track, 0.1, 1.2);
    ck_assert_float_eq(value(SPEC_LEVEL), -6.0f);
    press(track, 0.1, 2.0);
    press(track, 0.1, 3.0); /* too slow to be one */
    ck_assert_float_eq_tol(value(SPEC_LEVEL), -19.2f, 0.051f);
    press(item_of(SPEC_CONTROL + SPEC_LEVEL)->part[2], 0.5, 5.0);
    ck_assert(hands.typing);
    press(item_of(SPEC_CONTROL + SPEC_LEVEL)->part[2], 0.5, 5.1);
    ck_assert(!hands.typing);
    ck_assert_float_eq(value(SPEC_LEVEL), -6.0f);
}
END_TEST

START_TEST(switches_lists_and_pairs_are_pressed) {
    press(item_of(SPEC_CONTROL + SPEC_SWITCH)->box, 0.5, 1.0);
    ck_assert_float_eq(value(SPEC_SWITCH), 0.0f);
    press(item_of(SPEC_CONTROL + SPEC_SWITCH)->box, 0.5, 1.1); /* twice at once is there and back */
    ck_assert_float_eq(value(SPEC_SWITCH), 1.0f);
    press(item_of(SPEC_CONTROL + SPEC_PAIR)->part[1], 0.75, 2.0);
    ck_assert_float_eq(value(SPEC_PAIR), 1.0f);
    press(item_of(SPEC_CONTROL + SPEC_PAIR)->part[1], 0.25, 3.0);
    ck_assert_float_eq(value(SPEC_PAIR), 0.0f);
    press(item_of(SPEC_CONTROL + SPEC_LIST)->part[1], 0.9, 4.0);
    ck_assert_float_eq(value(SPEC_LIST), 48.0f);
    press(item_of(SPEC_CONTROL + SPEC_LIST)->part[1], 0.1, 5.0);
    ck_assert_float_eq(value(SPEC_LIST), 24.0f);
    focus(SPEC_CONTROL + SPEC_SWITCH);
    type(" ");
    ck_assert_float_eq(value(SPEC_SWITCH), 0.0f);
    focus(SPEC_CONTROL + SPEC_LIST);
    type("  "); /* round again from the end */
    ck_assert_float_eq(value(SPEC_LIST), 0.0f);
}
END_TEST

START_TEST(the_wheel_turns_what_is_under_it) {
    Box box = item_of(SPEC_CONTROL + SPEC_LEVEL)->box;
    hands_wheel(&hands, middle_x(box), middle_y(box), 1.0, false);
    ck_assert_float_eq(value(SPEC_LEVEL), -5.5f);
    hands_wheel(&hands, middle_x(box), middle_y(box), -1.0, true);
    ck_assert_float_eq_tol(value(SPEC_LEVEL), -5.55f, 1e-6f);
    box = item_of(SPEC_REDUCTION)->box;
    ck_assert(!hands_wheel(&hands, middle_x(box), middle_y(box), 1.0, false));
    ck_assert_uint_eq(heard.writes, 2);
}
END_TEST

START_TEST(presets_are_stepped_and_written_out) {
    size_t before = heard.writes;
    for (size_t i = 0; i < sheet.n && sheet.item[hands.focus].kind != ITEM_PRESET; i++)
        key(KEY_TAB);
    key(KEY_MORE);
    ck_assert_uint_eq(model_preset(&model), 1);
    ck_assert_uint_eq(heard.writes - before, 3);
    key(KEY_END);
    ck_assert_uint_eq(model_preset(&model), 2);
    key(KEY_MORE);
    ck_assert_uint_eq(model_preset(&model), 2);
    key(KEY_DELETE);
    ck_assert_uint_eq(model_preset(&model), 0);
    ck_assert_float_eq(model.value[0], 1.0f);
}
END_TEST

START_TEST(what_lies_under_the_pointer_is_told_of) {
    Box box = item_of(SPEC_METER + SPEC_HEARD)->box;
    ck_assert(hands_move(&hands, middle_x(box), middle_y(box)));
    ck_assert_uint_eq(sheet.item[hands.told].port, SPEC_METER + SPEC_HEARD);
    ck_assert(hands_leave(&hands));
    ck_assert_uint_eq(hands.told, hands.focus);
}
END_TEST

START_TEST(any_hands_leave_values_in_range) {
    Random random = random_seeded(31);
    static const char *const TEXT[] = {"", " ", "1", "-", ".", "k", "s", "\xc3\xa4", "~"};
    for (int i = 0; i < 50000; i++) {
        double x = random_range(&random, -50.0, sheet.width + 50.0),
               y = random_range(&random, -50.0, sheet.height + 50.0);
        bool shift = random_below(&random, 2) == 0;
        switch (random_below(&random, 7)) {
        case 0:
            if (!hands.dragging)
                hands_press(&hands, x, y, shift, 0.1 * i);
            break;
        case 1:
            hands_release(&hands);
            break;
        case 2:
            hands_wheel(&hands, x, y, random_below(&random, 2) ? 1.0 : -1.0, shift);
            break;
        case 3:
            hands_leave(&hands);
            break;
        case 4:
            hands_keyboard(&hands, shift);
            break;
        case 5:
            hands_move(&hands, x, y);
            break;
        default:
            hands_key(&hands, (HandsKey)random_below(&random, KEY_BACKSPACE + 1),
                      TEXT[random_below(&random, 9)], shift);
        }
        ck_assert(sheet_takes_focus(&sheet.item[hands.focus]));
    }
    hands_release(&hands);
    ck_assert_int_eq(heard.held, 0);
    ck_assert_uint_gt(heard.writes, 1000);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("hands");
    tcase_add_checked_fixture(tcase, start, NULL);
    tcase_add_test(tcase, tab_goes_through_all_in_their_order_and_back);
    tcase_add_test(tcase, keys_step_page_end_and_default);
    tcase_add_test(tcase, a_value_is_typed_taken_and_left);
    tcase_add_test(tcase, losing_the_keyboard_takes_what_is_typed);
    tcase_add_test(tcase, a_slider_goes_where_it_is_pressed_and_follows);
    tcase_add_test(tcase, with_shift_it_moves_a_tenth_from_where_it_is);
    tcase_add_test(tcase, pressed_twice_it_is_the_default);
    tcase_add_test(tcase, switches_lists_and_pairs_are_pressed);
    tcase_add_test(tcase, the_wheel_turns_what_is_under_it);
    tcase_add_test(tcase, presets_are_stepped_and_written_out);
    tcase_add_test(tcase, what_lies_under_the_pointer_is_told_of);
    tcase_add_test(tcase, any_hands_leave_values_in_range);
    return run_tcase(tcase, "hands");
}
