/* SPDX-License-Identifier: ISC */
/* The controls that measuring and advice start from are those of the bundles. */
#include "siskin/tests/run_siskin.h"

#include "host/host.h"
#include "siskin/measure/controls.h"

static Host *open_bundles(void) {
    char folder[PATH_MAX + 16];
    HostError error;
    snprintf(folder, sizeof folder, "%s/lv2", build_folder);
    Host *host = host_open(folder, &error);
    ck_assert_msg(host != NULL, "%s", error.text);
    return host;
}

START_TEST(the_table_says_what_the_bundles_say) {
    HostError error;
    Host *host = open_bundles();
    size_t rows = 0, controls = 0, count = 0;
    for (const Control *c = controls_table; c->plugin; c++, rows++) {
        const HostPlugin *plugin = host_find(host, c->plugin, 1, &error);
        ck_assert_msg(plugin != NULL, "%s", error.text);
        const HostPort *port = host_port(plugin, c->symbol);
        ck_assert_msg(port != NULL, "%s has no %s", c->plugin, c->symbol);
        ck_assert_float_eq(c->minimum, port->minimum);
        ck_assert_float_eq(c->initial, port->initial);
        ck_assert_float_eq(c->maximum, port->maximum);
    }
    const char *const *uris = host_own_uris(host, &count);
    for (size_t i = 0; i < count; i++) {
        const HostPlugin *plugin = host_find(host, uris[i], 1, &error);
        for (size_t p = 0; strstr(uris[i], "#mono") && p < plugin->n_ports; p++)
            controls += plugin->ports[p].role == HOST_CONTROL;
    }
    ck_assert_uint_eq(rows, controls);
    host_close(host);
}
END_TEST

START_TEST(a_control_is_found_by_its_plugin_and_symbol) {
    ck_assert_float_eq(controls_find("rumble-filter", "slope")->maximum, 48.0f);
    ck_assert_float_eq(controls_initial("return-ducker", "ratio"), 4.0f);
    ck_assert_float_lt(controls_initial("de-esser", "ratio"), 0.0f);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("controls");
    tcase_add_test(tcase, the_table_says_what_the_bundles_say);
    tcase_add_test(tcase, a_control_is_found_by_its_plugin_and_symbol);
    return run_suite(tcase, "controls");
}
