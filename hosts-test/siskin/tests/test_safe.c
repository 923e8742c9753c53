/* SPDX-License-Identifier: ISC */
/* A file gets its name when all of it is on the disk, and not before. The program's calls of
 * fsync() and rename() end up here, in the order in which they come. */
#include "siskin/safe.h"
#include "siskin/tests/run_siskin.h"

enum { MOST_CALLS = 16 };
typedef enum { SYNC_FILE, SYNC_FOLDER, RENAME } Call;

static Call calls[MOST_CALLS];
static int n_calls, failing_sync; /* the how manieth fsync fails; 0: none */

static void note(Call call) {
    ck_assert_int_lt(n_calls, MOST_CALLS);
    calls[n_calls++] = call;
}

int fsync(int fd) {
    struct stat status;
    static int syncs;
    syncs = n_calls ? syncs + 1 : 1;
    note(fstat(fd, &status) == 0 && S_ISDIR(status.st_mode) ? SYNC_FOLDER : SYNC_FILE);
    errno = EIO;
    return failing_sync && syncs == failing_sync ? -1 : 0;
}

int rename(const char *from, const char *to) {
    note(RENAME);
    return renameat(AT_FDCWD, from, AT_FDCWD, to);
}

static void write_file(SafeFile *file, const char *path) {
    HostError error;
    ck_assert_msg(safe_open(file, path, &error), "%s", error.text);
    ck_assert_uint_eq(safe_write(file, "whole", 5), 5);
}

START_TEST(a_file_gets_its_name_once_it_is_on_the_disk) {
    SafeFile a, b;
    HostError error;
    SafeFile *const both[] = {&a, &b};
    const Call expected[] = {SYNC_FILE, SYNC_FILE, RENAME, SYNC_FOLDER, RENAME, SYNC_FOLDER};
    n_calls = failing_sync = 0;
    write_file(&a, "a");
    write_file(&b, "b");
    ck_assert(!exists("a") && !exists("b"));
    ck_assert_msg(safe_commit(both, 2, &error), "%s", error.text);
    ck_assert_int_eq(n_calls, 6);
    ck_assert_mem_eq(calls, expected, sizeof expected);
    ck_assert(exists("a") && exists("b"));
    ck_assert_int_eq(count_files("."), 2);
}
END_TEST

START_TEST(a_file_that_does_not_get_to_the_disk_leaves_nothing) {
    for (failing_sync = 1; failing_sync <= 2; failing_sync++) {
        SafeFile a, b;
        HostError error = {""};
        SafeFile *const both[] = {&a, &b};
        n_calls = 0;
        write_file(&a, "a");
        write_file(&b, "b");
        ck_assert(!safe_commit(both, 2, &error));
        ck_assert_msg(strstr(error.text, failing_sync == 1 ? "write " : "b") &&
                          strstr(error.text, "Input/output error"),
                      "%s", error.text);
        ck_assert_int_eq(count_files("."), 0);
    }
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("safe");
    tcase_add_test(tcase, a_file_gets_its_name_once_it_is_on_the_disk);
    tcase_add_test(tcase, a_file_that_does_not_get_to_the_disk_leaves_nothing);
    return run_suite(tcase, "files that are whole");
}
