/* SPDX-License-Identifier: ISC */
/* What became of a folder, as a table and as one page. */
#include "siskin/render/summary.h"
#include "siskin/tests/run_siskin.h"

#include <ctype.h>

enum { MOST_TEXT = 1 << 16 };

static char text[MOST_TEXT];

static const char *read_text(const char *path) {
    FILE *file = fopen(path, "r");
    ck_assert_msg(file != NULL, "%s is not there", path);
    size_t n = fread(text, 1, MOST_TEXT - 1, file);
    text[n] = '\0';
    fclose(file);
    return text;
}

static void make_takes(void) {
    ck_assert_int_eq(mkdir("takes", 0777), 0);
    free(noise_file("takes/a b.wav", 1, 48000, 930).audio);
    free(noise_file("takes/<i>\"&'.wav", 1, 24000, 931).audio);
    write_text("takes/no.wav", "no audio\n");
}

/* ---- links ---- */

static void check_link(const char *from, const char *to, const char *expected) {
    char *link = summary_link(from, to);
    ck_assert_str_eq(link, expected);
    free(link);
}

/* RFC 3986, 2.3: letters, digits, - . _ ~ stand for themselves; all else is written by its
 * bytes. */
START_TEST(a_link_leads_from_one_file_to_another) {
    for (size_t i = 0; i < 4; i++)
        ck_assert_int_eq(mkdir((const char *const[]){"a", "a/b", "a/bc", "other"}[i], 0777), 0);
    check_link("page.html", "take.wav", "take.wav");
    check_link("a/page.html", "a/b/take.wav", "b/take.wav");
    check_link("a/b/page.html", "take.wav", "../../take.wav");
    check_link("a/b/page.html", "a/bc/take.wav", "../bc/take.wav");
    check_link("./a/../a/page.html", "other/take.wav", "../other/take.wav");
    check_link("page.html", "x: 1%?#\"\xC3\xA4-._~.wav", "x%3A%201%25%3F%23%22%C3%A4-._~.wav");
    ck_assert_int_eq(symlink("../other", "a/link"), 0);
    check_link("page.html", "a/link/take.wav", "other/take.wav");
}
END_TEST

/* ---- the page ---- */

static int hex(int c) {
    return isdigit(c) ? c - '0' : tolower(c) - 'a' + 10;
}

/* Each player's file is there, as seen from the folder of the page. */
static int check_players(const char *page, const char *folder) {
    int players = 0;
    for (const char *at = page; (at = strstr(at, "src=\"")) != NULL;) {
        char path[1024];
        int n = snprintf(path, sizeof path, "%s/", folder);
        for (at += 5; *at != '"'; at++) {
            ck_assert_int_lt(n, 1000);
            if (*at == '%') {
                path[n++] = (char)(16 * hex(at[1]) + hex(at[2]));
                at += 2;
            } else
                path[n++] = *at;
        }
        path[n] = '\0';
        ck_assert_msg(exists(path), "%s is not there", path);
        players++;
    }
    return players;
}

START_TEST(a_page_shows_each_take_before_and_after) {
    make_takes();
    ck_assert_int_eq(mkdir("pages", 0777), 0);
    ck_assert_int_eq(run("render takes out gain gain=0 --page pages/all.html"), 1);
    const char *page = read_text("pages/all.html");
    ck_assert_ptr_nonnull(strstr(page, "3 takes: 2 rendered, 0 skipped, 1 failed"));
    ck_assert_ptr_nonnull(
        strstr(page, "<th scope=\"row\">a b.wav</th><td>0:01.0</td><td>-6.0 dBFS"));
    ck_assert_ptr_nonnull(strstr(page, "<th scope=\"row\">&lt;i&gt;&quot;&amp;&#39;.wav</th>"));
    ck_assert_ptr_nonnull(strstr(page, "cannot read takes/no.wav as audio"));
    ck_assert_ptr_null(strstr(page, "<i>"));
    ck_assert_ptr_null(strstr(page, "<script"));
    ck_assert_int_eq(check_players(page, "pages"), 5);
    ck_assert_int_eq(unlink("takes/no.wav"), 0);
    ck_assert_ran("render takes out gain gain=0 --page pages/all.html --skip-done");
    page = read_text("pages/all.html");
    ck_assert_ptr_nonnull(strstr(page, "2 takes: 0 rendered, 2 skipped, 0 failed"));
    ck_assert_int_eq(check_players(page, "pages"), 4);
}
END_TEST

START_TEST(a_page_tells_what_was_cut) {
    bundles = "lv2";
    ck_assert_int_eq(mkdir("takes", 0777), 0);
    free(noise_file("takes/a.wav", 1, 48000, 932).audio);
    ck_assert_ran("render takes out peak-ceiling ceiling=-12 rumble-filter --page all.html");
    const char *cut = strstr(ran.out, "most cut, dB: ");
    ck_assert_msg(cut != NULL, "%s", ran.out);
    char cell[256];
    snprintf(cell, sizeof cell, "<td>%.*s</td>", (int)strcspn(cut + 14, "\n"), cut + 14);
    ck_assert_ptr_nonnull(strstr(cell, "peak-ceiling "));
    ck_assert_msg(strstr(read_text("all.html"), cell) != NULL, "no %s in %s", cell, text);
}
END_TEST

START_TEST(a_summary_is_written_over_nothing) {
    ck_assert_int_eq(mkdir("takes", 0777), 0);
    Sound take = noise_file("takes/a.wav", 1, 5000, 933);
    check_refused("render takes out gain --page takes/a.wav", 1, "takes/a.wav is a take");
    check_refused("render takes out gain --summary takes/a.wav", 1, "takes/a.wav is a take");
    check_refused("render takes out gain --page out/a.wav", 1, "out/a.wav is a take or an output");
    check_refused("render takes out gain --page x --summary ./x", 1, "x would be written twice");
    check_same_bits("takes/a.wav", &take);
    ck_assert(!exists("x"));
    ck_assert_int_eq(mkdir("wall", 0777), 0);
    check_refused("render takes out gain --quiet --page wall", 1, "wall|directory");
    free(take.audio);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("summary");
    tcase_add_test(tcase, a_link_leads_from_one_file_to_another);
    tcase_add_test(tcase, a_page_shows_each_take_before_and_after);
    tcase_add_test(tcase, a_page_tells_what_was_cut);
    tcase_add_test(tcase, a_summary_is_written_over_nothing);
    return run_suite(tcase, "summaries");
}
