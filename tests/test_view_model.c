/* SPDX-License-Identifier: ISC */
#include "run_tcase.h"
#include "view_spec.h"

#include <check.h>
#include <math.h>
#include <string.h>

static Model model;

static void start(void) {
    model_start(&model, &spec_of_views, 2, spec_presets);
}

START_TEST(it_begins_at_the_defaults_with_meters_at_rest) {
    ck_assert_uint_eq(model.n_ports, layout_count(&spec_of_views, 2));
    ck_assert_uint_eq(model.n_traces, 1 + SPEC_METERS);
    ck_assert_float_eq(model.value[SPEC_CONTROL + SPEC_LEVEL], -6.0f);
    ck_assert_float_eq(model_trace(&model, 0, 0), 0.0f);
    ck_assert_float_eq(model_trace(&model, 1 + SPEC_HEARD, MODEL_STEPS - 1), -60.0f);
}
END_TEST

START_TEST(the_host_may_send_anything) {
    static const float SENT[] = {NAN, INFINITY, -INFINITY, 1e30f, -1e30f, 0.0f, 1.0f, 3.3f};
    for (size_t port = 0; port < 1000; port++)
        for (size_t i = 0; i < sizeof SENT / sizeof *SENT; i++)
            model_event(&model, port, SENT[i]);
    model_event(&model, SIZE_MAX, 1.0f);
    for (int i = 0; i < 20; i++)
        model_tick(&model, i);
    for (size_t port = 0; port < model.n_ports; port++)
        if (model_is_control(&model, port) || model_is_meter(&model, port)) {
            const PortSpec *spec = &model.port[port].spec;
            ck_assert_msg(model.value[port] >= spec->minimum && model.value[port] <= spec->maximum,
                          "port %zu: %g", port, (double)model.value[port]);
        }
    for (size_t t = 0; t < model.n_traces; t++)
        for (size_t age = 0; age < MODEL_STEPS; age++)
            ck_assert(isfinite(model_trace(&model, t, age)));
}
END_TEST

START_TEST(a_meter_that_says_nothing_sensible_rests) {
    model_event(&model, SPEC_METER + SPEC_HEARD, 5.0f);
    model_event(&model, SPEC_METER + SPEC_HEARD, NAN);
    ck_assert_float_eq(model.value[SPEC_METER + SPEC_HEARD], -60.0f);
}
END_TEST

START_TEST(a_column_holds_the_largest_of_its_time) {
    model_tick(&model, 100.0);
    model_event(&model, SPEC_REDUCTION, 2.0f);
    model_event(&model, SPEC_REDUCTION, 9.0f);
    model_event(&model, SPEC_REDUCTION, 4.0f);
    ck_assert(model_tick(&model, 100.0 + 1.01 * MODEL_STEP_S));
    ck_assert_float_eq(model_trace(&model, 0, 0), 9.0f);
    /* then what stands, for as long as nothing else is said */
    ck_assert(model_tick(&model, 100.0 + 5.01 * MODEL_STEP_S));
    for (size_t age = 0; age < 4; age++)
        ck_assert_float_eq(model_trace(&model, 0, age), 4.0f);
    ck_assert_float_eq(model_trace(&model, 0, 4), 9.0f);
    ck_assert_float_eq(model_trace(&model, 0, 5), 0.0f);
}
END_TEST

START_TEST(ten_seconds_are_kept_however_often_one_looks) {
    static Model often, seldom;
    often = seldom = model;
    for (int i = 0; i <= 2000;
         i++) { /* a point every 10 ms; one looks at each, one at every seventh */
        float value = (float)(i / 4 % 24);
        model_event(&often, SPEC_REDUCTION, value);
        model_event(&seldom, SPEC_REDUCTION, value);
        model_tick(&often, 0.01 * i);
        if (i % 7 == 0)
            model_tick(&seldom, 0.01 * i);
    }
    ck_assert_double_eq_tol(MODEL_STEPS * MODEL_STEP_S, 10.0, 1e-9);
    /* 70 ms are less than two columns, in which the value goes up by two at most, or from 23 to
     * 0. */
    for (size_t age = 2; age < MODEL_STEPS; age++) {
        float apart = fabsf(model_trace(&often, 0, age) - model_trace(&seldom, 0, age));
        ck_assert_msg(apart <= 2.0f || apart >= 21.0f, "%zu columns ago: %g", age, (double)apart);
    }
    size_t behind = (often.head + MODEL_STEPS - seldom.head) % MODEL_STEPS;
    ck_assert_uint_le(behind, 2);
}
END_TEST

START_TEST(nothing_is_drawn_where_nothing_moves) {
    model_tick(&model, 0.0);
    ck_assert(!model_tick(&model, 1.0));
    model_event(&model, SPEC_REDUCTION, 3.0f);
    ck_assert(model_tick(&model, 1.2));
    /* until the step has left at the other side */
    ck_assert(model_tick(&model, 11.0));
    model_tick(&model, 11.4);
    ck_assert(!model_tick(&model, 11.6));
}
END_TEST

START_TEST(a_long_sleep_costs_no_more_than_its_end) {
    model_tick(&model, 0.0);
    model_event(&model, SPEC_REDUCTION, 3.0f);
    model_tick(&model, 1e9); /* would be 25 thousand million columns */
    ck_assert_float_eq(model_trace(&model, 0, MODEL_STEPS - 1), 3.0f);
}
END_TEST

START_TEST(the_scale_of_reduction_fits_what_is_there) {
    static const float CASES[][2] = {
        {0.0f, 6.0f}, {6.0f, 6.0f}, {6.1f, 12.0f}, {12.5f, 24.0f}, {24.0f, 24.0f}};
    for (size_t i = 0; i < sizeof CASES / sizeof *CASES; i++) {
        start();
        model_tick(&model, 0.0);
        model_event(&model, SPEC_REDUCTION, CASES[i][0]);
        model_tick(&model, 0.1);
        ck_assert_float_eq(model_trace_top(&model, 0), CASES[i][1]);
    }
    ck_assert_float_eq(model_trace_top(&model, 1 + SPEC_HEARD), 40.0f);
}
END_TEST

START_TEST(a_meter_knows_the_control_it_is_held_against) {
    ck_assert_uint_eq(model_threshold(&model, SPEC_METER + SPEC_HEARD), SPEC_CONTROL + SPEC_LEVEL);
    ck_assert_uint_eq(model_threshold(&model, SPEC_METER + SPEC_LAMP), MODEL_PORTS);
}
END_TEST

static void take_preset(size_t preset) {
    for (size_t port = 0; port < model.n_ports; port++)
        if (model_is_control(&model, port))
            model_event(&model, port, model_preset_value(&model, preset, port));
}

START_TEST(presets_are_known_by_their_values) {
    ck_assert_uint_eq(model_n_presets(&model), 3);
    ck_assert_uint_eq(model_preset(&model), 0);
    take_preset(1);
    ck_assert_uint_eq(model_preset(&model), 1);
    ck_assert_str_eq(model_preset_name(&model, 1), "Gentle");
    ck_assert_float_eq(model.value[SPEC_CONTROL + SPEC_SHARE], 50.0f);
    /* a host that keeps five figures */
    model_event(&model, SPEC_CONTROL + SPEC_SHARE, 50.0004f);
    ck_assert_uint_eq(model_preset(&model), 1);
    model_event(&model, SPEC_CONTROL + SPEC_SHARE, 51.0f);
    ck_assert_uint_eq(model_preset(&model), 3);
    ck_assert_str_eq(model_preset_name(&model, 3), "");
}
END_TEST

START_TEST(a_preset_is_in_range_and_leaves_the_rest) {
    model_event(&model, SPEC_CONTROL + SPEC_COUNT, 7.0f);
    model_event(&model, 0, 0.0f); /* off stays off */
    take_preset(2);
    ck_assert_float_eq(model.value[SPEC_CONTROL + SPEC_LEVEL], 24.0f);
    ck_assert_float_eq(model.value[SPEC_CONTROL + SPEC_COUNT], 7.0f);
    ck_assert_float_eq(model.value[0], 0.0f);
    ck_assert_uint_eq(model_preset(&model), 2);
    take_preset(0);
    ck_assert_float_eq(model.value[SPEC_CONTROL + SPEC_COUNT], 3.0f);
    ck_assert_float_eq(model.value[0], 0.0f);
}
END_TEST

/* As a host that sets the tempo: whatever a preset says of it, it is the song's. */
START_TEST(a_preset_stands_whatever_the_host_sets_by_itself) {
    PortSpec controls[SPEC_CONTROLS];
    memcpy(controls, spec_controls, sizeof controls);
    controls[SPEC_TIME].designation = "urn:tests:tempo";
    PluginSpec spec = spec_of_views;
    spec.controls = controls;
    model_start(&model, &spec, 2, spec_presets);
    for (size_t preset = 0; preset < 3; preset++) {
        take_preset(preset);
        model_event(&model, SPEC_CONTROL + SPEC_TIME, 200.0f);
        ck_assert_uint_eq(model_preset(&model), preset);
    }
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("model");
    tcase_add_checked_fixture(tcase, start, NULL);
    tcase_add_test(tcase, it_begins_at_the_defaults_with_meters_at_rest);
    tcase_add_test(tcase, the_host_may_send_anything);
    tcase_add_test(tcase, a_meter_that_says_nothing_sensible_rests);
    tcase_add_test(tcase, a_column_holds_the_largest_of_its_time);
    tcase_add_test(tcase, ten_seconds_are_kept_however_often_one_looks);
    tcase_add_test(tcase, nothing_is_drawn_where_nothing_moves);
    tcase_add_test(tcase, a_long_sleep_costs_no_more_than_its_end);
    tcase_add_test(tcase, the_scale_of_reduction_fits_what_is_there);
    tcase_add_test(tcase, a_meter_knows_the_control_it_is_held_against);
    tcase_add_test(tcase, presets_are_known_by_their_values);
    tcase_add_test(tcase, a_preset_is_in_range_and_leaves_the_rest);
    tcase_add_test(tcase, a_preset_stands_whatever_the_host_sets_by_itself);
    return run_tcase(tcase, "model");
}
