/* SPDX-License-Identifier: ISC */
/* The small LV2 host: what it reads of a plugin, and that a render over buffers is aligned. */
#include "host/host.h"
#include "run_tcase.h"
#include "siskin/tests/run_siskin.h"

enum { FRAMES = 3000 };

static Host *host;
static HostError error;
static float in[FRAMES], key[FRAMES], out[FRAMES], expected[FRAMES];
static const float *const ins[] = {in};
static const float *const keys[] = {key};
static float *const outs[] = {out};

static void open_host(void) {
    char folder[PATH_MAX + 16];
    Random random = random_seeded(401);
    enter_work_folder();
    snprintf(folder, sizeof folder, "%s/test-lv2", build_folder);
    host = host_open(folder, &error);
    ck_assert_msg(host != NULL, "%s", error.text);
    signals_noise(in, FRAMES, 0.2, &random);
    signals_noise(key, FRAMES, 0.2, &random);
}

static void close_host(void) {
    host_close(host);
    leave_work_folder();
}

static const HostPlugin *find(const char *name, unsigned channels) {
    const HostPlugin *plugin = host_find(host, name, channels, &error);
    ck_assert_msg(plugin != NULL, "%s", error.text);
    return plugin;
}

static HostInstance *make(const char *name, size_t max_block) {
    HostInstance *instance = host_instantiate(host, find(name, 1), 48000.0, max_block, &error);
    ck_assert_msg(instance != NULL, "%s", error.text);
    return instance;
}

START_TEST(plugins_are_found_by_short_name_and_by_uri) {
    ck_assert_str_eq(find("gain", 1)->uri, "urn:siskin:gain#mono");
    ck_assert_str_eq(find("gain", 2)->uri, "urn:siskin:gain#stereo");
    ck_assert_str_eq(find("gain", 1)->id, "gain");
    ck_assert_ptr_eq(find("urn:siskin:gain#mono", 2), find("gain", 1));
    ck_assert_ptr_null(find("urn:foreign:late", 1)->id);
    ck_assert_ptr_null(host_find(host, "gian", 1, &error));
    ck_assert_ptr_nonnull(strstr(error.text, "gian"));
    ck_assert_ptr_null(host_find(host, "urn:nobody:home", 1, &error));
    ck_assert_ptr_null(host_find(host, "", 1, &error));
}
END_TEST

START_TEST(the_uris_of_the_folder_are_its_own) {
    size_t count = 0;
    const char *const *uris = host_own_uris(host, &count);
    ck_assert_uint_ge(count, 4);
    for (size_t i = 0; i < count; i++) {
        ck_assert_ptr_nonnull(strstr(uris[i], "urn:siskin:"));
        ck_assert(i == 0 || strcmp(uris[i - 1], uris[i]) < 0);
    }
    uris = host_other_uris(host, &count);
    ck_assert_uint_eq(count, 9); /* the stranger's, since LV2_PATH is set to them alone */
    ck_assert_str_eq(uris[5], "urn:foreign:late");
    ck_assert_ptr_null(host_open("nowhere", &error));
    ck_assert_ptr_nonnull(strstr(error.text, "nowhere"));
}
END_TEST

START_TEST(ports_are_described_by_their_role) {
    const HostPlugin *late = find("urn:foreign:late", 1);
    const HostRole roles[] = {HOST_CONTROL, HOST_METER, HOST_METER, HOST_IN, HOST_KEY, HOST_OUT};
    ck_assert_uint_eq(late->n_ports, 6);
    for (uint32_t i = 0; i < 6; i++) {
        ck_assert_uint_eq(late->ports[i].index, i);
        ck_assert_int_eq(late->ports[i].role, roles[i]);
    }
    ck_assert_ptr_eq(late->latency, &late->ports[1]);
    ck_assert_uint_eq(late->in[0], 3);
    ck_assert_uint_eq(late->key[0], 4);
    ck_assert_uint_eq(late->out[0], 5);
    ck_assert(late->ports[4].optional && !late->ports[3].optional);
    const HostPlugin *keyed = find("keyed", 2);
    ck_assert(keyed->n_in == 2 && keyed->n_key == 2 && keyed->n_out == 2);
    ck_assert_str_eq(keyed->ports[keyed->in[0]].symbol, "in_left");
    ck_assert_str_eq(keyed->ports[keyed->key[1]].symbol, "key_right");
    ck_assert_ptr_eq(keyed->enabled, host_port(keyed, "enabled"));
    ck_assert_ptr_null(host_port(keyed, "nothing"));
}
END_TEST

START_TEST(controls_are_described_with_range_unit_and_points) {
    const HostPort *depth = host_port(find("keyed", 1), "depth");
    ck_assert_float_eq(depth->minimum, 0.0f);
    ck_assert_float_eq(depth->initial, 12.0f);
    ck_assert_float_eq(depth->maximum, 24.0f);
    ck_assert_str_eq(depth->unit, "dB");
    ck_assert_str_ne(depth->doc, "");
    ck_assert(host_port(find("keyed", 1), "power")->integer);
    ck_assert(host_port(find("keyed", 1), "invert")->toggled);
    const HostPort *speed = host_port(find("keyed", 1), "speed");
    ck_assert(speed->enumeration && speed->n_points == 2);
    ck_assert_str_eq(speed->points[1].label, "Fast");
    ck_assert_float_eq(speed->points[1].value, 1.0f);
}
END_TEST

START_TEST(what_a_control_takes_is_told_in_words) {
    static const struct {
        const char *symbol, *words;
    } cases[] = {{"depth", "0 to 24 dB"},
                 {"power", "whole numbers from 0 to 3"},
                 {"invert", "0 and 1"},
                 {"speed", "0 (Slow), 1 (Fast)"}};
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        char words[512];
        ck_assert_str_eq(host_allowed(words, host_port(find("keyed", 1), cases[i].symbol), 48000.0),
                         cases[i].words);
    }
}
END_TEST

START_TEST(values_are_checked_against_what_a_control_takes) {
    static const struct {
        const char *symbol;
        double value;
        bool fine;
    } cases[] = {{"depth", 0.0, true},    {"depth", 24.0, true},    {"depth", 24.1, false},
                 {"depth", -0.1, false},  {"depth", NAN, false},    {"depth", INFINITY, false},
                 {"power", 2.0, true},    {"power", 1.5, false},    {"invert", 1.0, true},
                 {"invert", 0.5, false},  {"speed", 1.0, true},     {"speed", 2.0, false},
                 {"nothing", 0.0, false}, {"reduction", 0.0, false}};
    const HostPlugin *keyed = find("keyed", 1);
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++)
        ck_assert_msg(host_check(keyed, cases[i].symbol, cases[i].value, 48000.0, &error) ==
                          cases[i].fine,
                      "%s = %g", cases[i].symbol, cases[i].value);
}
END_TEST

START_TEST(controls_start_at_their_defaults_and_can_be_set) {
    HostInstance *instance = make("gain", 64);
    ck_assert_float_eq(host_get(instance, "gain"), -6.0f);
    ck_assert(host_set(instance, "gain", 99.0f, &error)); /* checked by host_check only */
    ck_assert_float_eq(host_get(instance, "gain"), 99.0f);
    ck_assert(!host_set(instance, "gian", 0.0f, &error));
    ck_assert(!host_set(instance, "reduction", 0.0f, &error));
    ck_assert(isnan(host_get(instance, "gian")));
    ck_assert(host_load_preset(instance, "louder", &error));
    ck_assert_float_eq(host_get(instance, "gain"), 6.0f);
    ck_assert(host_load_preset(instance, "THE SAME", &error));
    ck_assert_float_eq(host_get(instance, "gain"), 0.0f);
    ck_assert(!host_load_preset(instance, "lauder", &error));
    host_free(instance);
}
END_TEST

START_TEST(what_cannot_be_served_is_refused_with_its_name) {
    ck_assert_ptr_null(host_instantiate(host, find("urn:foreign:needy", 1), 48000.0, 64, &error));
    ck_assert_ptr_nonnull(strstr(error.text, "urn:foreign:moon"));
    ck_assert_ptr_null(host_instantiate(host, find("gain", 1), 48000.0, 0, &error));
    ck_assert_ptr_null(host_instantiate(host, find("gain", 1), 48000.0, 1000000, &error));
}
END_TEST

/* late: out[t] = in[t - d] + key[t - d], reporting d: aligned, that is in + key. */
START_TEST(a_render_is_aligned_for_any_block_length_and_in_place) {
    const size_t blocks[] = {1, 7, 64, 1000, 4096};
    const float lates[] = {0.0f, 1.0f, 64.0f, 999.0f, 4096.0f};
    for (size_t b = 0; b < 5; b++)
        for (size_t l = 0; l < 5; l++)
            for (int in_place = 0; in_place < 2; in_place++) {
                HostInstance *instance = make("urn:foreign:late", 4096);
                HostRender render = {.in = ins, .key = keys, .out = outs, .frames = FRAMES};
                render.block = blocks[b];
                render.in_place = in_place;
                host_set(instance, "frames", lates[l], NULL);
                memset(out, 0xFF, sizeof out);
                ck_assert_msg(host_render_aligned(instance, &render, &error), "%s", error.text);
                for (size_t i = 0; i < FRAMES; i++)
                    expected[i] = in[i] + key[i];
                ck_assert_mem_eq(out, expected, sizeof out);
                render.key = NULL;
                ck_assert(host_render_aligned(instance, &render, &error));
                ck_assert_mem_eq(out, in, sizeof out);
                host_free(instance);
            }
}
END_TEST

START_TEST(a_run_longer_than_the_longest_block_is_handed_on_in_pieces) {
    HostInstance *instance = make("urn:foreign:late", 64);
    host_set(instance, "frames", 10.0f, NULL);
    host_activate(instance);
    host_run(instance, FRAMES, ins, NULL, outs);
    for (size_t i = 0; i < FRAMES; i++)
        ck_assert_float_eq(out[i], i < 10 ? 0.0f : in[i - 10]);
    host_free(instance);
}
END_TEST

START_TEST(a_latency_that_cannot_be_is_refused) {
    size_t frames = 0;
    HostInstance *instance = make("urn:foreign:misbehave", 256);
    host_set(instance, "fault", 5.0f, NULL);
    ck_assert(!host_probe_latency(instance, &frames, &error));
    host_free(instance);
    HostRender render = {.in = ins, .out = outs, .frames = FRAMES, .block = 256};
    instance = make("urn:foreign:misbehave", 256);
    host_set(instance, "fault", 4.0f, NULL);
    host_set(instance, "after", 1000.0f, NULL);
    ck_assert(!host_render_aligned(instance, &render, &error));
    ck_assert_ptr_nonnull(strstr(error.text, "changed its latency"));
    render.block = 257;
    ck_assert(!host_render_aligned(instance, &render, &error));
    host_free(instance);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("host");
    tcase_add_checked_fixture(tcase, open_host, close_host);
    tcase_add_test(tcase, plugins_are_found_by_short_name_and_by_uri);
    tcase_add_test(tcase, the_uris_of_the_folder_are_its_own);
    tcase_add_test(tcase, ports_are_described_by_their_role);
    tcase_add_test(tcase, controls_are_described_with_range_unit_and_points);
    tcase_add_test(tcase, what_a_control_takes_is_told_in_words);
    tcase_add_test(tcase, values_are_checked_against_what_a_control_takes);
    tcase_add_test(tcase, controls_start_at_their_defaults_and_can_be_set);
    tcase_add_test(tcase, what_cannot_be_served_is_refused_with_its_name);
    tcase_add_test(tcase, a_render_is_aligned_for_any_block_length_and_in_place);
    tcase_add_test(tcase, a_run_longer_than_the_longest_block_is_handed_on_in_pieces);
    tcase_add_test(tcase, a_latency_that_cannot_be_is_refused);
    return run_tcase(tcase, "host");
}
