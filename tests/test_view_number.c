/* SPDX-License-Identifier: ISC */
#include "layout.h"
#include "run_tcase.h"
#include "signals.h"
#include "view/number.h"
#include "view_spec.h"

#include <check.h>
#include <locale.h>
#include <math.h>
#include <string.h>

static const PortSpec *control(int which) {
    return &spec_controls[which];
}

static void expect_text(int which, float value, const char *wanted) {
    char text[NUMBER_LENGTH];
    number_format(control(which), value, text);
    ck_assert_str_eq(text, wanted);
}

START_TEST(values_read_as_people_write_them) {
    expect_text(SPEC_LEVEL, -6.0f,
                "\xe2\x88\x92"
                "6.0 dB");
    expect_text(SPEC_LEVEL, -0.04f, "0.0 dB"); /* no minus before nothing */
    expect_text(SPEC_LEVEL, 23.96f, "24.0 dB");
    expect_text(SPEC_CORNER, 20.0f, "20.0 Hz");
    expect_text(SPEC_CORNER, 999.4f, "999 Hz");
    expect_text(SPEC_CORNER, 999.6f, "1.00 kHz");
    expect_text(SPEC_CORNER, 4500.0f, "4.50 kHz");
    expect_text(SPEC_CORNER, 20000.0f, "20.0 kHz");
    expect_text(SPEC_TIME, 0.1f, "0.10 ms");
    expect_text(SPEC_TIME, 9.996f, "10.0 ms");
    expect_text(SPEC_TIME, 2500.0f, "2.50 s");
    expect_text(SPEC_SHARE, 80.0f, "80 %");
    expect_text(SPEC_COUNT, 3.0f, "3");
    expect_text(SPEC_SWITCH, 1.0f, "On");
    expect_text(SPEC_LIST, 12.0f, "12 dB");
    expect_text(SPEC_LEVEL, NAN,
                "\xe2\x88\x92"
                "6.0 dB");
}
END_TEST

static void expect_value(int which, const char *text, float wanted) {
    float value = NAN;
    ck_assert_msg(number_parse(control(which), text, &value), "%s is refused", text);
    ck_assert_msg(fabsf(value - wanted) <= 1e-6f * fabsf(wanted), "%s is read as %g", text,
                  (double)value);
}

START_TEST(typed_values_are_read_with_point_comma_and_unit) {
    expect_value(SPEC_LEVEL, "-12", -12.0f);
    expect_value(SPEC_LEVEL,
                 "\xe2\x88\x92"
                 "12.5 dB",
                 -12.5f);
    expect_value(SPEC_LEVEL, " 3,5db ", 3.5f);
    expect_value(SPEC_LEVEL, ".5", 0.5f);
    expect_value(SPEC_CORNER, "4.5k", 4500.0f);
    expect_value(SPEC_CORNER, "4,5 kHz", 4500.0f);
    expect_value(SPEC_CORNER, "440 Hz", 440.0f);
    expect_value(SPEC_TIME, "1.2 s", 1200.0f);
    expect_value(SPEC_TIME, "20ms", 20.0f);
    expect_value(SPEC_SHARE, "7 %", 7.0f);
    expect_value(SPEC_COUNT, "4.4", 4.0f);
    /* beyond the range: its end */
    expect_value(SPEC_LEVEL, "1000", 24.0f);
    expect_value(SPEC_CORNER, "1", 20.0f);
    expect_value(SPEC_LEVEL, "99999999999999999999999999999999999999999999999999999", 24.0f);
}
END_TEST

START_TEST(what_is_no_number_is_refused) {
    static const char *const BAD[] = {"",    "-",    "dB",  "1.2.3", "1 2", "--1",       "nan",
                                      "inf", "0x10", "3 k", "3 Hz",  "1e3", "5 furlongs"};
    for (size_t i = 0; i < sizeof BAD / sizeof *BAD; i++) {
        float value = 42.0f;
        ck_assert_msg(!number_parse(control(SPEC_LEVEL), BAD[i], &value), "\"%s\" is read", BAD[i]);
        ck_assert_float_eq(value, 42.0f);
    }
}
END_TEST

START_TEST(what_is_shown_can_be_typed_again) {
    for (int which = 0; which < SPEC_SWITCH; which++)
        for (int k = 0; k <= 200; k++) {
            float value = number_at(control(which), k / 200.0), again = NAN;
            char text[NUMBER_LENGTH];
            number_format(control(which), value, text);
            ck_assert(number_parse(control(which), text, &again));
            /* Half of the third figure, or of the last decimal. */
            float last = which == SPEC_LEVEL ? 0.051f : which == SPEC_SHARE ? 0.51f : 0.0051f;
            float most = fmaxf(0.0051f * fabsf(value), last);
            ck_assert_msg(fabsf(again - value) <= most, "%g is shown as %s", (double)value, text);
        }
}
END_TEST

START_TEST(the_host_s_locale_changes_nothing) {
    /* Where the machine has none with a comma, this asks what the rest does. */
    setlocale(LC_ALL, "de_DE.UTF-8");
    expect_text(SPEC_CORNER, 4500.0f, "4.50 kHz");
    expect_value(SPEC_CORNER, "4.5k", 4500.0f);
    setlocale(LC_ALL, "C");
}
END_TEST

START_TEST(places_and_values_are_inverse) {
    for (int which = 0; which < SPEC_SWITCH; which++) {
        const PortSpec *port = control(which);
        ck_assert_float_eq(number_at(port, 0.0), port->minimum);
        ck_assert_float_eq(number_at(port, 1.0), port->maximum);
        ck_assert_float_eq(number_at(port, -3.0), port->minimum);
        ck_assert_float_eq(number_at(port, 7.0), port->maximum);
        double before = -1.0;
        for (int k = 0; k <= 100; k++) {
            double place = number_place(port, number_at(port, k / 100.0));
            /* Rounded to three figures: 0.5 % of a value is under 0.1 % of a slider of three
             * decades; whole numbers lie 1/11 apart. */
            ck_assert_double_eq_tol(place, k / 100.0,
                                    which == SPEC_COUNT ? 0.5 / 11.0 + 1e-9 : 0.006);
            ck_assert_double_ge(place, before);
            before = place;
        }
    }
}
END_TEST

START_TEST(a_hundred_steps_cross_the_range) {
    for (int which = 0; which < SPEC_CONTROLS; which++) {
        const PortSpec *port = control(which);
        float value = port->minimum;
        int steps = 0;
        for (; steps < 300 && value < port->maximum; steps++) {
            float next = number_step(port, value, 1.0);
            ck_assert_msg(next > value, "%s stays at %g", port->symbol, (double)value);
            value = next;
        }
        ck_assert_float_eq(value, port->maximum);
        ck_assert_int_le(steps, 105);
        ck_assert_float_eq(number_step(port, port->maximum, 1.0), port->maximum);
        ck_assert_float_eq(number_step(port, port->minimum, -1.0), port->minimum);
    }
    ck_assert_float_eq(number_step(control(SPEC_LEVEL), -6.0f, 1.0), -5.5f);
    ck_assert_float_eq(number_step(control(SPEC_SHARE), 80.0f, -10.0), 70.0f);
    ck_assert_float_eq(number_step(control(SPEC_LIST), 12.0f, 1.0), 24.0f);
}
END_TEST

/* 415 to 466 Hz by ratio: a hundredth is less than a hertz, the least that is shown. */
START_TEST(no_step_is_too_small_to_show) {
    const PortSpec tuning = {.minimum = 415.0f,
                             .initial = 440.0f,
                             .maximum = 466.0f,
                             .unit = UNIT_HZ,
                             .kind = PORT_LOGARITHMIC};
    for (float value = 415.0f; value < 466.0f;) {
        float next = number_step(&tuning, value, 1.0);
        ck_assert_float_eq(next, value + 1.0f);
        ck_assert_float_eq(number_step(&tuning, next, -1.0), value);
        value = next;
    }
    ck_assert_float_eq(number_step(&tuning, 440.0f, 0.0), 440.0f);
}
END_TEST

START_TEST(nothing_leaves_the_range) {
    Random random = random_seeded(20);
    for (int k = 0; k < 20000; k++) {
        const PortSpec *port = control(k % SPEC_CONTROLS);
        float value = (float)(random_range(&random, -1.0, 1.0) *
                              pow(10.0, random_range(&random, -20.0, 20.0)));
        if (k % 17 == 0)
            value = k % 2 ? NAN : INFINITY;
        float got[] = {number_step(port, value, random_range(&random, -100.0, 100.0)),
                       number_at(port, (double)value)};
        for (int i = 0; i < 2; i++)
            ck_assert_msg(got[i] >= port->minimum && got[i] <= port->maximum &&
                              layout_clamp(port, got[i]) == got[i],
                          "%s: %g becomes %g", port->symbol, (double)value, (double)got[i]);
    }
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("number");
    tcase_add_test(tcase, values_read_as_people_write_them);
    tcase_add_test(tcase, typed_values_are_read_with_point_comma_and_unit);
    tcase_add_test(tcase, what_is_no_number_is_refused);
    tcase_add_test(tcase, what_is_shown_can_be_typed_again);
    tcase_add_test(tcase, the_host_s_locale_changes_nothing);
    tcase_add_test(tcase, places_and_values_are_inverse);
    tcase_add_test(tcase, a_hundred_steps_cross_the_range);
    tcase_add_test(tcase, no_step_is_too_small_to_show);
    tcase_add_test(tcase, nothing_leaves_the_range);
    return run_tcase(tcase, "number");
}
