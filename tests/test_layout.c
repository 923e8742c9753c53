/* SPDX-License-Identifier: ISC */
/* The order of ports, which hosts and saved sessions rely on, and the values a plugin is handed. */
#include "layout.h"
#include "run_tcase.h"

#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static const ScalePoint POINTS[] = {{1.0f, "One"}, {2.0f, "Two"}, {5.0f, "Five"}};
static const PortSpec CONTROLS[] = {
    {.symbol = "depth", .minimum = -3.0f, .initial = 2.0f, .maximum = 9.0f},
    {.symbol = "whole", .minimum = -2.0f, .initial = 1.0f, .maximum = 4.0f, .kind = PORT_INTEGER},
    {.symbol = "toggle", .maximum = 1.0f, .initial = 1.0f, .kind = PORT_TOGGLE},
    {.symbol = "choice",
     .minimum = 1.0f,
     .initial = 2.0f,
     .maximum = 5.0f,
     .kind = PORT_ENUMERATION,
     .points = POINTS,
     .n_points = 3},
};
enum { DEPTH, WHOLE, TOGGLE, CHOICE };
static const PortSpec METERS[] = {{.symbol = "level", .minimum = -60.0f, .maximum = 0.0f}};
static const PluginSpec SPEC = {.id = "probe",
                                .controls = CONTROLS,
                                .n_controls = 4,
                                .meters = METERS,
                                .n_meters = 1,
                                .has_key = true};

static void check_order(const PluginSpec *spec, unsigned channels, const char *const *symbols,
                        size_t count) {
    ck_assert_uint_eq(layout_count(spec, channels), count);
    for (size_t i = 0; i < count; i++)
        ck_assert_str_eq(layout_port(spec, channels, i).spec.symbol, symbols[i]);
}

START_TEST(ports_come_in_the_order_of_the_header) {
    static const char *const mono[] = {"enabled", "audition", "latency", "depth",
                                       "whole",   "toggle",   "choice",  "reduction",
                                       "level",   "in",       "key",     "out"};
    static const char *const stereo[] = {"enabled",   "audition", "latency",  "depth",
                                         "whole",     "toggle",   "choice",   "reduction",
                                         "level",     "in_left",  "in_right", "key_left",
                                         "key_right", "out_left", "out_right"};
    check_order(&SPEC, 1, mono, sizeof mono / sizeof *mono);
    check_order(&SPEC, 2, stereo, sizeof stereo / sizeof *stereo);
}
END_TEST

START_TEST(a_plugin_without_key_controls_and_meters_has_the_common_ports) {
    static const char *const symbols[] = {"enabled",   "audition", "latency",
                                          "reduction", "in",       "out"};
    const PluginSpec bare = {.id = "bare"};
    check_order(&bare, 1, symbols, sizeof symbols / sizeof *symbols);
}
END_TEST

START_TEST(each_port_knows_its_role_and_number) {
    Port second_control = layout_port(&SPEC, 2, 4);
    ck_assert_int_eq(second_control.role, ROLE_CONTROL);
    ck_assert_uint_eq(second_control.number, 1);
    Port right_key = layout_port(&SPEC, 2, 12);
    ck_assert_int_eq(right_key.role, ROLE_KEY);
    ck_assert_uint_eq(right_key.number, 1);
    Port meter = layout_port(&SPEC, 2, 8);
    ck_assert_int_eq(meter.role, ROLE_METER);
    ck_assert_ptr_eq(meter.spec.symbol, METERS[0].symbol);
}
END_TEST

START_TEST(the_reduction_is_called_what_it_tells) {
    static const char *const NAMES[] = {[REDUCTION_OF_GAIN] = "Reduction",
                                        [REDUCTION_PEAKS_LOWERED] = "Peaks lowered",
                                        [REDUCTION_PEAKS_CHANGED] = "Peaks changed"};
    for (size_t i = 0; i < sizeof NAMES / sizeof *NAMES; i++) {
        const PluginSpec spec = {.id = "named", .reduction = (ReductionKind)i};
        const PortSpec shown = layout_port(&spec, 1, 3).spec;
        ck_assert_str_eq(shown.symbol, "reduction");
        ck_assert_str_eq(shown.name, NAMES[i]);
        ck_assert_uint_gt(strlen(shown.doc), 0);
        ck_assert_uint_le(strlen(shown.name), 16); /* no short name is needed (lv2:shortName) */
    }
}
END_TEST

static void check_clamped(size_t control, float value, float expected) {
    float got = layout_clamp(&CONTROLS[control], value);
    ck_assert_msg(got == expected, "%s = %g gives %g, not %g", CONTROLS[control].symbol,
                  (double)value, (double)got, (double)expected);
}

START_TEST(values_are_kept_in_range) {
    check_clamped(DEPTH, 3.25f, 3.25f);
    check_clamped(DEPTH, -3.5f, -3.0f);
    check_clamped(DEPTH, 1e30f, 9.0f);
    check_clamped(DEPTH, INFINITY, 9.0f);
    check_clamped(DEPTH, -INFINITY, -3.0f);
}
END_TEST

START_TEST(no_number_means_the_default) {
    for (size_t i = DEPTH; i <= CHOICE; i++)
        check_clamped(i, NAN, CONTROLS[i].initial);
    /* A meter's initial value is unused and may lie outside its range: then the nearest in it. */
    const PortSpec hertz = {.minimum = 20.0f, .maximum = 20000.0f};
    ck_assert(layout_clamp(&hertz, NAN) == 20.0f);
}
END_TEST

START_TEST(kinds_take_the_values_they_can) {
    check_clamped(WHOLE, 2.4f, 2.0f);
    check_clamped(WHOLE, -1.6f, -2.0f);
    check_clamped(WHOLE, 9.0f, 4.0f);
    check_clamped(TOGGLE, 0.001f, 1.0f);
    check_clamped(TOGGLE, 0.0f, 0.0f);
    check_clamped(TOGGLE, -1.0f, 0.0f);
    check_clamped(CHOICE, 1.4f, 1.0f);
    check_clamped(CHOICE, 3.4f, 2.0f);
    check_clamped(CHOICE, 3.6f, 5.0f);
    check_clamped(CHOICE, -7.0f, 1.0f);
}
END_TEST

int main(void) {
    TCase *tc = tcase_create("layout");
    tcase_add_test(tc, ports_come_in_the_order_of_the_header);
    tcase_add_test(tc, a_plugin_without_key_controls_and_meters_has_the_common_ports);
    tcase_add_test(tc, each_port_knows_its_role_and_number);
    tcase_add_test(tc, the_reduction_is_called_what_it_tells);
    tcase_add_test(tc, values_are_kept_in_range);
    tcase_add_test(tc, no_number_means_the_default);
    tcase_add_test(tc, kinds_take_the_values_they_can);
    return run_tcase(tc, "layout");
}
