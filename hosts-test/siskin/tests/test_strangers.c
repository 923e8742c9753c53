/* SPDX-License-Identifier: ISC */
/* Strangers' plugins and files: whatever they do, siskin ends, and says who it was. */
#include "siskin/tests/run_siskin.h"
#include "siskin/text.h"

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

/* ---- files that never end, and names that do more than name ---- */

START_TEST(a_pipe_is_no_take_and_is_refused_at_once) {
    ck_assert_int_eq(mkfifo("pipe.wav", 0666), 0);
    check_refused("render pipe.wav out.wav gain", 1, "pipe.wav|a pipe");
    check_refused("measure pipe.wav", 1, "pipe.wav|a pipe");
}
END_TEST

START_TEST(a_chain_may_come_through_a_pipe_but_not_never) {
    Sound take = noise_file("take.wav", 1, 5000, 503);
    ck_assert_int_eq(mkfifo("pipe", 0666), 0);
    check_refused("render --chain pipe take.wav out.wav", 2, "pipe|nobody writes");
    check_refused("render --chain /dev/zero take.wav out.wav", 2, "/dev/zero");
    /* It can be opened, and reading it fails: nothing lies at address 0. */
    check_refused("render --chain /proc/self/mem take.wav out.wav", 2,
                  "/proc/self/mem|Input/output error");
    pid_t writer = fork();
    if (writer == 0) {
        write_text("pipe", "bus lead\ngain gain=0\n");
        _exit(0);
    }
    ck_assert_ran("render --chain pipe take.wav out.wav");
    ck_assert_int_eq(finish_program(writer), 0);
    check_same_bits("out.wav", &take);
    free(take.audio);
}
END_TEST

/* A report opens its chain once: a pipe can be read no second time. */
START_TEST(a_page_may_have_its_chain_from_a_pipe) {
    free(noise_file("take.wav", 1, 5000, 504).audio);
    ck_assert_int_eq(mkfifo("pipe", 0666), 0);
    pid_t writer = fork();
    if (writer == 0) {
        write_text("pipe", "bus lead\ngain gain=0\n");
        _exit(0);
    }
    ck_assert_ran("report --chain pipe take.wav page.html");
    ck_assert_int_eq(finish_program(writer), 0);
}
END_TEST

static bool has_controls(const char *text) {
    for (const char *c = text; *c; c++)
        if ((unsigned char)*c < 0x20 && *c != '\n')
            return true;
    return false;
}

/* ESC begins what a terminal obeys; a line's end would make two lines of one. */
START_TEST(names_of_takes_reach_the_terminal_escaped) {
    ck_assert_int_eq(mkdir("takes", 0777), 0);
    free(noise_file("takes/=1\x1b[2J\nok.wav", 1, 5000, 505).audio);
    write_text("takes/bad\x1b]0;x\x07\n.wav", "no audio\n");
    ck_assert_int_eq(run("render takes out gain"), 1);
    ck_assert(!has_controls(ran.out) && !has_controls(ran.err));
    ck_assert_ptr_nonnull(strstr(ran.out, "=1\\x1b[2J\\nok.wav"));
    ck_assert_int_eq(run("measure takes"), 1);
    ck_assert(!has_controls(ran.out) && !has_controls(ran.err));
    ck_assert_int_eq(run("measure --csv takes/=1\x1b[2J\nok.wav"), 0);
    ck_assert(!has_controls(ran.out));
    ck_assert_int_eq(run("render nothing\x1b.wav out.wav gain"), 1);
    ck_assert_ptr_nonnull(strstr(ran.err, "nothing\\x1b.wav"));
}
END_TEST

START_TEST(a_cell_of_a_table_is_never_a_formula) {
    static const char *const texts[][2] = {{"plain", "\"plain\""}, {"a\"b", "\"a\"\"b\""},
                                           {"=1+1", "\"'=1+1\""},  {"+1", "\"'+1\""},
                                           {"-1", "\"'-1\""},      {"@x", "\"'@x\""},
                                           {"\tx", "\"' x\""},     {"two\nlines", "\"two lines\""}};
    for (size_t i = 0; i < sizeof texts / sizeof *texts; i++) {
        char *cell = NULL;
        size_t size = 0;
        FILE *file = open_memstream(&cell, &size);
        text_csv(file, texts[i][0]);
        fclose(file);
        ck_assert_str_eq(cell, texts[i][1]);
        free(cell);
    }
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("strangers");
    tcase_add_loop_test(tcase, a_plugin_that_hangs_is_ended_and_named_whatever_it_was_doing, 0, 4);
    tcase_add_test(tcase, a_plugin_that_forks_holds_nobody);
    tcase_add_test(tcase, a_signal_ends_a_render_whose_plugin_hears_none);
    tcase_add_test(tcase, a_list_of_a_plugin_that_hangs_comes_to_an_end);
    tcase_add_test(tcase, a_pipe_is_no_take_and_is_refused_at_once);
    tcase_add_test(tcase, a_chain_may_come_through_a_pipe_but_not_never);
    tcase_add_test(tcase, a_page_may_have_its_chain_from_a_pipe);
    tcase_add_test(tcase, names_of_takes_reach_the_terminal_escaped);
    tcase_add_test(tcase, a_cell_of_a_table_is_never_a_formula);
    return run_suite(tcase, "strangers");
}
