/* SPDX-License-Identifier: ISC */
/* What happens to files: nothing is lost, and nothing is wrong in silence. */
#include "siskin/tests/run_siskin.h"

/* ---- what is printed ---- */

/* Runs with the standard output on a device that is always full. */
static int run_full(const char *line) {
    int full = open("/dev/full", O_WRONLY | O_CLOEXEC);
    int err[2];
    ck_assert_int_ge(full, 0);
    ck_assert_int_eq(pipe2(err, O_CLOEXEC), 0);
    pid_t process = start_program(line, full, err[1], 0);
    close(err[1]);
    close(full);
    ran.status = finish_program(process);
    read_back(err[0], ran.err);
    return ran.status;
}

START_TEST(output_that_cannot_be_written_is_a_failure) {
    static const char *const lines[] = {
        "--help",
        "--version",
        "list",
        "list de-esser",
        "list --others",
        "measure take.wav",
        "measure --csv take.wav",
        "measure --json take.wav",
        "advise --csv take.wav",
        "advise take.wav",
        "render take.wav out.wav rumble-filter",
        "render takes outs rumble-filter",
        "report take.wav page.html rumble-filter",
    };
    bundles = "lv2";
    free(noise_file("take.wav", 1, 0, 400).audio);
    ck_assert_int_eq(mkdir("takes", 0777), 0);
    free(noise_file("takes/a.wav", 1, 0, 401).audio);
    for (size_t i = 0; i < sizeof lines / sizeof *lines; i++) {
        ck_assert_msg(run_full(lines[i]) == 1, "%s: exit %d", lines[i], ran.status);
        ck_assert_msg(strstr(ran.err, "cannot write the output"), "%s: %s", lines[i], ran.err);
    }
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("files");
    tcase_add_test(tcase, output_that_cannot_be_written_is_a_failure);
    return run_suite(tcase, "siskin files");
}
