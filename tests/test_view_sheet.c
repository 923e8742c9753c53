/* SPDX-License-Identifier: ISC */
#include "run_tcase.h"
#include "view/sheet.h"
#include "view_spec.h"

#include <check.h>
#include <math.h>
#include <string.h>

static Model model;
static Sheet sheet;

static bool apart(Box a, Box b) {
    return a.x + a.w <= b.x + 1e-9 || b.x + b.w <= a.x + 1e-9 || a.y + a.h <= b.y + 1e-9 ||
           b.y + b.h <= a.y + 1e-9;
}

static bool inside(Box a, Box b) {
    return a.x >= b.x - 1e-9 && a.y >= b.y - 1e-9 && a.x + a.w <= b.x + b.w + 1e-9 &&
           a.y + a.h <= b.y + b.h + 1e-9;
}

/* What must hold of any sheet, whatever the plugin and the window. */
static void expect_sound(void) {
    const Box all = {0.0, 0.0, sheet.width, sheet.height};
    for (size_t i = 0; i < sheet.n; i++) {
        const SheetItem *item = &sheet.item[i];
        ck_assert_msg(inside(item->box, all), "item %zu is out of the window", i);
        for (int k = 0; k < 3; k++)
            if (item->part[k].w > 0.0)
                ck_assert_msg(inside(item->part[k], item->box), "part %d of item %zu is out of it",
                              k, i);
        for (size_t j = 0; j < i; j++)
            ck_assert_msg(apart(item->box, sheet.item[j].box), "items %zu and %zu overlap", j, i);
    }
    for (size_t port = 0; port < model.n_ports; port++) {
        size_t shown = 0;
        for (size_t i = 0; i < sheet.n; i++)
            shown += sheet.item[i].port == port;
        ck_assert_uint_eq(shown,
                          model_is_control(&model, port) || model_is_meter(&model, port) ? 1 : 0);
    }
}

static void make(const PluginSpec *spec, double by_width, double by_height) {
    double width, height;
    model_start(&model, spec, 2, NULL);
    sheet_natural(&model, &width, &height);
    sheet_make(&sheet, &model, by_width * width, by_height * height);
}

START_TEST(every_port_is_there_once_and_nothing_overlaps) {
    static const double SIZES[][2] = {{1, 1},   {0.5, 0.5}, {3, 3},       {2, 1},    {1, 3},
                                      {0.5, 3}, {3, 0.5},   {0.01, 0.01}, {100, 100}};
    for (size_t i = 0; i < sizeof SIZES / sizeof *SIZES; i++) {
        make(&spec_of_views, SIZES[i][0], SIZES[i][1]);
        expect_sound();
    }
}
END_TEST

START_TEST(any_number_of_controls_fits) {
    static PortSpec controls[PLUGIN_MAX_CONTROLS], meters[PLUGIN_MAX_METERS];
    for (size_t i = 0; i < PLUGIN_MAX_CONTROLS; i++) {
        controls[i] = spec_controls[i % SPEC_CONTROLS];
        controls[i].group = i % 5 == 0 ? "One" : i % 5 < 3 ? "Two" : NULL;
    }
    for (size_t i = 0; i < PLUGIN_MAX_METERS; i++)
        meters[i] = spec_meters[i % SPEC_METERS];
    for (size_t n = 0; n <= PLUGIN_MAX_CONTROLS; n++) {
        PluginSpec spec = {.id = "many",
                           .name = "Many",
                           .controls = controls,
                           .n_controls = n,
                           .meters = meters,
                           .n_meters = n % (PLUGIN_MAX_METERS + 1),
                           .has_key = true};
        make(&spec, 1.0, 1.0);
        ck_assert_uint_le(sheet.n, SHEET_ITEMS);
        expect_sound();
    }
}
END_TEST

START_TEST(the_sheet_grows_with_the_window) {
    make(&spec_of_views, 1.0, 1.0);
    ck_assert_double_eq(sheet.zoom, 1.0);
    double wide = sheet.width;
    make(&spec_of_views, 2.0, 2.0);
    ck_assert_double_eq_tol(sheet.zoom, 2.0, 1e-9);
    ck_assert_double_eq_tol(sheet.width, wide, 1e-9);
    /* one side alone: sliders or graphs get it, letters stay */
    make(&spec_of_views, 2.0, 1.0);
    ck_assert_double_eq_tol(sheet.zoom, 1.0, 1e-9);
    ck_assert_double_eq_tol(sheet.width, 2.0 * wide, 1e-9);
}
END_TEST

static const SheetItem *item_of(size_t port) {
    for (size_t i = 0; i < sheet.n; i++)
        if (sheet.item[i].port == port)
            return &sheet.item[i];
    ck_abort_msg("port %zu is not shown", port);
    return NULL;
}

START_TEST(advanced_controls_come_last) {
    make(&spec_of_views, 1.0, 1.0);
    size_t last = 0;
    for (size_t i = 0; i < sheet.n; i++)
        if (sheet_takes_focus(&sheet.item[i]))
            last = i;
    ck_assert_uint_eq(sheet.item[last].port, SPEC_CONTROL + SPEC_CORNER);
    ck_assert_str_eq(sheet.item[last - 1].title, "Advanced");
}
END_TEST

START_TEST(the_kind_follows_from_the_table) {
    make(&spec_of_views, 1.0, 1.0);
    ck_assert_int_eq(item_of(SPEC_CONTROL + SPEC_LEVEL)->kind, ITEM_SLIDER);
    ck_assert_int_eq(item_of(SPEC_CONTROL + SPEC_COUNT)->kind, ITEM_SLIDER);
    ck_assert_int_eq(item_of(SPEC_CONTROL + SPEC_SWITCH)->kind, ITEM_SWITCH);
    ck_assert_int_eq(item_of(SPEC_CONTROL + SPEC_LIST)->kind, ITEM_LIST);
    ck_assert_int_eq(item_of(SPEC_CONTROL + SPEC_PAIR)->kind, ITEM_CHOICE);
    ck_assert_int_eq(item_of(SPEC_METER + SPEC_LAMP)->kind, ITEM_LAMP);
    ck_assert_int_eq(item_of(SPEC_METER + SPEC_HEARD)->kind, ITEM_GRAPH);
}
END_TEST

START_TEST(what_is_pressed_is_what_is_there) {
    make(&spec_of_views, 1.5, 1.2);
    for (size_t i = 0; i < sheet.n; i++) {
        Box b = sheet.item[i].box;
        ck_assert_uint_eq(sheet_at(&sheet, b.x + 0.5 * b.w, b.y + 0.5 * b.h), i);
    }
    ck_assert_uint_eq(sheet_at(&sheet, -1.0, 5.0), sheet.n);
    ck_assert_uint_eq(sheet_at(&sheet, 1e9, 1e9), sheet.n);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("sheet");
    tcase_add_test(tcase, every_port_is_there_once_and_nothing_overlaps);
    tcase_add_test(tcase, any_number_of_controls_fits);
    tcase_add_test(tcase, the_sheet_grows_with_the_window);
    tcase_add_test(tcase, advanced_controls_come_last);
    tcase_add_test(tcase, the_kind_follows_from_the_table);
    tcase_add_test(tcase, what_is_pressed_is_what_is_there);
    return run_tcase(tcase, "sheet");
}
