/* SPDX-License-Identifier: ISC */
/* Strangers' plugins and files: whatever they do, siskin ends, and says who it was. */
#include "siskin/tests/run_siskin.h"

static double seconds_now(void) {
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

/* ---- a plugin that does not come back ---- */

static const struct {
    const char *name;
    bool done; /* the output is complete before it hangs */
} phases[] = {
    {"hangs-instantiate", false},
    {"hangs-activate", false},
    {"hangs-deactivate", false},
    {"hangs-cleanup", true},
};

START_TEST(a_plugin_that_hangs_is_ended_and_named_whatever_it_was_doing) {
    char line[256], name[64];
    free(noise_file("take.wav", 1, 48000, 500).audio);
    snprintf(name, sizeof name, "H%s did not come back within 0.5 s", phases[_i].name + 1);
    snprintf(line, sizeof line, "render take.wav out.wav urn:foreign:%s --patience 0.5",
             phases[_i].name);
    ck_assert_int_eq(run("%s", line), phases[_i].done ? 0 : 1);
    ck_assert_msg(strstr(ran.err, name) != NULL, "%s: %s", line, ran.err);
    ck_assert_int_eq(exists("out.wav"), phases[_i].done);
    ck_assert_int_eq(count_files("."), phases[_i].done ? 2 : 1);
}
END_TEST

/* The copy that the plugin made of its process holds all that was open. It is ended with it. */
START_TEST(a_plugin_that_forks_holds_nobody) {
    Sound take = noise_file("take.wav", 1, 48000, 501);
    double began = seconds_now();
    ck_assert_ran("render take.wav out.wav urn:foreign:forks --patience 100");
    check_same_bits("out.wav", &take);
    ck_assert_double_lt(seconds_now() - began, 100.0);
    free(take.audio);
}
END_TEST

START_TEST(a_signal_ends_a_render_whose_plugin_hears_none) {
    free(noise_file("take.wav", 1, 48000, 502).audio);
    pid_t process = start_program("render take.wav out.wav urn:foreign:hangs-activate",
                                  STDOUT_FILENO, STDERR_FILENO, 0);
    usleep(500000);
    kill(process, SIGTERM);
    ck_assert_int_eq(finish_program(process), 1000 + SIGTERM);
    ck_assert_int_eq(count_files("."), 1);
}
END_TEST

START_TEST(a_list_of_a_plugin_that_hangs_comes_to_an_end) {
    ck_assert_ran("list urn:foreign:hangs-instantiate");
    ck_assert_ptr_nonnull(strstr(ran.out, "does not come back"));
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("strangers");
    tcase_add_loop_test(tcase, a_plugin_that_hangs_is_ended_and_named_whatever_it_was_doing, 0, 4);
    tcase_add_test(tcase, a_plugin_that_forks_holds_nobody);
    tcase_add_test(tcase, a_signal_ends_a_render_whose_plugin_hears_none);
    tcase_add_test(tcase, a_list_of_a_plugin_that_hangs_comes_to_an_end);
    return run_suite(tcase, "strangers");
}
