/* SPDX-License-Identifier: ISC */
/* siskin render with folders: many takes in one call, each in a process of its own. */
#include "siskin/tests/run_siskin.h"

enum { TAKES = 7 };

/* takes/0.wav ..., of 10000, 20000, ... frames. */
static void make_takes(void) {
    char path[32];
    ck_assert_int_eq(mkdir("takes", 0777), 0);
    for (int i = 0; i < TAKES; i++) {
        snprintf(path, sizeof path, "takes/%d.wav", i);
        free(noise_file(path, 1 + i % 2, (sf_count_t)10000 * (i + 1), 300 + (uint64_t)i).audio);
    }
}

static int count_text(const char *text, const char *word) {
    int count = 0;
    for (; (text = strstr(text, word)); text += strlen(word))
        count++;
    return count;
}

START_TEST(every_take_becomes_what_it_becomes_alone) {
    make_takes();
    ck_assert_ran("render takes one gain gain=3.1 --jobs 1");
    ck_assert_int_eq(count_text(ran.out, "ok "), TAKES);
    ck_assert_ptr_nonnull(strstr(ran.out, "7 takes: 7 rendered, 0 skipped, 0 failed"));
    ck_assert_ran("render takes many gain gain=3.1 --jobs 3 --quiet");
    ck_assert_str_eq(ran.out, "");
    ck_assert_ran("render takes/ usual/ gain gain=3.1");
    for (int i = 0; i < TAKES; i++) {
        char path[3][64];
        snprintf(path[0], sizeof path[0], "render takes/%d.wav alone.wav gain gain=3.1", i);
        ck_assert_ran(path[0]);
        snprintf(path[0], sizeof path[0], "one/%d.wav", i);
        snprintf(path[1], sizeof path[1], "many/%d.wav", i);
        snprintf(path[2], sizeof path[2], "usual/%d.wav", i);
        for (int k = 0; k < 3; k++)
            ck_assert(same_files(path[k], "alone.wav"));
    }
    ck_assert_int_eq(count_files("one"), TAKES);
    ck_assert_int_eq(count_files("many"), TAKES);
}
END_TEST

/* As a shell completes the name of a folder. */
START_TEST(a_slash_at_the_end_of_a_folder_is_no_part_of_paths) {
    make_takes();
    ck_assert_ran("render takes/ out/ gain gain=3.1 --json");
    ck_assert_ptr_nonnull(strstr(ran.out, "\"takes/0.wav\""));
    ck_assert_ptr_nonnull(strstr(ran.out, "\"out/0.wav\""));
    ck_assert_ran("measure --csv out//");
    ck_assert_ptr_nonnull(strstr(ran.out, "\"out/0.wav\""));
    ck_assert_ptr_null(strstr(ran.out, "//"));
}
END_TEST

START_TEST(one_bad_take_is_one_failed_row) {
    make_takes();
    write_text("takes/bad.wav", "this is not audio\n");
    ck_assert_int_eq(run("render takes out gain"), 1);
    ck_assert_int_eq(count_text(ran.out, "ok "), TAKES);
    ck_assert_int_eq(count_text(ran.out, "FAILED   bad.wav"), 1);
    ck_assert_ptr_nonnull(strstr(ran.out, "8 takes: 7 rendered, 0 skipped, 1 failed"));
    ck_assert_int_eq(count_files("out"), TAKES);
}
END_TEST

/* misbehave crashes after so many frames: only the longer takes get there. */
START_TEST(a_plugin_that_crashes_takes_only_its_take_with_it) {
    make_takes();
    ck_assert_int_eq(run("render takes out urn:foreign:misbehave fault=1 after=45000 --jobs 2"), 1);
    /* Even takes are mono, of 10000, 30000, 50000 and 70000 frames; the plugin takes no stereo. */
    ck_assert_int_eq(count_text(ran.out, "Misbehave crashed"), 2);
    ck_assert_int_eq(count_text(ran.out, "FAILED"), 5);
    ck_assert_int_eq(count_text(ran.out, "ok "), 2);
    ck_assert_int_eq(count_files("out"), 2);
    ck_assert(exists("out/0.wav") && exists("out/2.wav"));
}
END_TEST

static void set_age(const char *path, time_t seconds_from_now) {
    struct timespec now;
    clock_gettime(CLOCK_REALTIME, &now);
    now.tv_sec += seconds_from_now;
    const struct timespec times[2] = {now, now};
    ck_assert_int_eq(utimensat(AT_FDCWD, path, times, 0), 0);
}

START_TEST(what_is_done_is_skipped_until_something_changes) {
    make_takes();
    write_text("t.chain", "bus lead\ngain gain=0\n");
    const char *line = "render --chain t.chain takes out --skip-done";
    ck_assert_ran(line);
    ck_assert_int_eq(count_text(ran.out, "ok "), TAKES);
    ck_assert_ran(line);
    ck_assert_int_eq(count_text(ran.out, "skipped "), TAKES);
    ck_assert_int_eq(unlink("out/3.wav"), 0);
    set_age("takes/5.wav", 10);
    ck_assert_ran(line);
    ck_assert_int_eq(count_text(ran.out, "skipped "), TAKES - 2);
    ck_assert_int_eq(count_text(ran.out, "ok       3.wav"), 1);
    ck_assert_int_eq(count_text(ran.out, "ok       5.wav"), 1);
    write_text("t.chain", "bus lead\ngain gain=0 # as before\n");
    ck_assert_ran(line);
    ck_assert_int_eq(count_text(ran.out, "skipped "), TAKES);
    write_text("t.chain", "bus lead\ngain gain=1\n");
    ck_assert_ran(line);
    ck_assert_int_eq(count_text(ran.out, "ok "), TAKES);
    /* Without the option everything is done again. */
    ck_assert_ran("render --chain t.chain takes out");
    ck_assert_int_eq(count_text(ran.out, "ok "), TAKES);
}
END_TEST

START_TEST(a_failed_take_is_not_done) {
    make_takes();
    write_text("takes/bad.wav", "this is not audio\n");
    ck_assert_int_eq(run("render takes out gain --skip-done"), 1);
    ck_assert_int_eq(run("render takes out gain --skip-done"), 1);
    ck_assert_ptr_nonnull(strstr(ran.out, "8 takes: 0 rendered, 7 skipped, 1 failed"));
}
END_TEST

START_TEST(a_key_or_bus_may_be_fed_from_a_folder) {
    ck_assert_int_eq(mkdir("takes", 0777), 0);
    ck_assert_int_eq(mkdir("keys", 0777), 0);
    Sound a = noise_file("takes/a.wav", 1, 0, 311);
    Sound b = noise_file("takes/b.wav", 1, 0, 312);
    Sound key = noise_file("keys/a.wav", 1, 0, 313);
    for (size_t i = 0; i < samples(&a); i++)
        a.audio[i] += key.audio[i];
    ck_assert_int_eq(run("render takes out urn:foreign:late key=keys"), 1);
    check_same_bits("out/a.wav", &a);
    ck_assert_ptr_nonnull(strstr(ran.out, "FAILED   b.wav"));
    ck_assert_ptr_nonnull(strstr(ran.out, "keys/b.wav"));
    write_text("t.chain", "bus lead\nbus room\n");
    ck_assert_int_eq(run("render --chain t.chain takes out2 room=keys"), 1);
    check_same_bits("out2/a.wav", &a);
    free(a.audio);
    free(b.audio);
    free(key.audio);
}
END_TEST

START_TEST(only_files_that_look_like_audio_are_takes) {
    make_takes();
    write_text("takes/notes.txt", "verse 2 is the best\n");
    write_text("takes/.hidden.wav", "");
    ck_assert_int_eq(mkdir("takes/old.wav", 0777), 0);
    ck_assert_ran("render takes out gain");
    ck_assert_ptr_nonnull(strstr(ran.out, "7 takes"));
    ck_assert_int_eq(mkdir("empty", 0777), 0);
    check_refused("render empty out gain", 1, "empty|no takes");
}
END_TEST

START_TEST(takes_of_any_form_become_float_wav_unless_asked) {
    ck_assert_int_eq(mkdir("takes", 0777), 0);
    Sound take = make_noise(1, 5000, 44100, 321);
    write_sound("takes/a.flac", &take, SF_FORMAT_FLAC | SF_FORMAT_PCM_24);
    write_sound("takes/b.aif", &take, SF_FORMAT_AIFF | SF_FORMAT_PCM_24);
    write_sound("takes/C.WAV", &take, SF_FORMAT_WAV | SF_FORMAT_PCM_24);
    ck_assert_ran("render takes out gain gain=0");
    const char *const outs[] = {"out/a.wav", "out/b.wav", "out/C.wav"};
    for (int i = 0; i < 3; i++) {
        Sound out = read_sound(outs[i]);
        ck_assert_int_eq(out.info.format, SF_FORMAT_WAV | SF_FORMAT_FLOAT);
        free(out.audio);
        check_close(outs[i], &take, 0x1p-22); /* two roundings to 24 bit at most */
    }
    ck_assert_ran("render takes out2 gain --format flac --bits 16");
    ck_assert(exists("out2/a.flac") && exists("out2/b.flac") && exists("out2/C.flac"));
    free(take.audio);
}
END_TEST

START_TEST(two_takes_for_one_output_are_not_both_written) {
    ck_assert_int_eq(mkdir("takes", 0777), 0);
    Sound take = noise_file("takes/a.wav", 1, 0, 322);
    write_sound("takes/a.flac", &take, SF_FORMAT_FLAC | SF_FORMAT_PCM_24);
    ck_assert_int_eq(run("render takes out gain"), 1);
    ck_assert_ptr_nonnull(strstr(ran.out, "FAILED   a.wav"));
    ck_assert_ptr_nonnull(strstr(ran.out, "1 rendered, 0 skipped, 1 failed"));
    free(take.audio);
}
END_TEST

START_TEST(stems_and_traces_are_written_for_each_take) {
    make_takes();
    write_text("t.chain", "bus lead\ngain\nbus room\nfrom lead -3\n");
    ck_assert_ran("render --chain t.chain takes out --stems --trace traces");
    ck_assert_int_eq(count_files("out"), TAKES + 2 * TAKES);
    ck_assert_int_eq(count_files("traces"), TAKES);
    ck_assert(exists("out/4.lead.wav") && exists("out/4.room.wav") && exists("traces/4.csv"));
}
END_TEST

START_TEST(takes_are_never_written_over) {
    make_takes();
    check_refused("render takes takes gain", 1, "takes|never written over");
    check_refused("render takes ./takes/ gain", 1, "takes|never written over");
    ck_assert_int_eq(symlink("takes", "link"), 0);
    check_refused("render takes link gain", 1, "link|never written over");
    check_refused("render takes nowhere/out gain", 1, "nowhere/out");
    write_text("plain", "");
    check_refused("render takes plain gain", 1, "plain");
    check_refused("render takes out gian", 2, "'gian'|'gain'");
    ck_assert(!exists("out"));
}
END_TEST

/* Takes of silence that take no room on the disk: a WAV header before a hole of 1 GB. */
static void make_long_takes(void) {
    const uint32_t data = 1000000000;
    const uint32_t riff = data + 36;
    Sound none = make_sound(1, 1, 48000);
    ck_assert_int_eq(mkdir("takes", 0777), 0);
    for (int i = 0; i < 3; i++) {
        char path[32];
        snprintf(path, sizeof path, "takes/%d.wav", i);
        write_sound(path, &none, SF_FORMAT_WAV | SF_FORMAT_PCM_16);
        FILE *file = fopen(path, "r+b");
        fseek(file, 4, SEEK_SET);
        fwrite(&riff, 4, 1, file); /* the tests run on little-endian machines, as WAV is */
        fseek(file, 40, SEEK_SET);
        fwrite(&data, 4, 1, file);
        fclose(file);
        ck_assert_int_eq(truncate(path, (off_t)data + 44), 0);
    }
    free(none.audio);
}

START_TEST(a_signal_ends_all_renders_and_leaves_nothing) {
    make_long_takes();
    ck_assert_int_eq(mkdir("out", 0777), 0);
    pid_t process =
        start_program("render takes out gain --jobs 3", STDOUT_FILENO, STDERR_FILENO, 0);
    while (count_files("out") < 3)
        usleep(1000);
    ck_assert_int_eq(kill(process, SIGTERM), 0);
    ck_assert_int_eq(finish_program(process), 1000 + SIGTERM);
    ck_assert_int_eq(count_files("out"), 0);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("folder");
    tcase_add_test(tcase, every_take_becomes_what_it_becomes_alone);
    tcase_add_test(tcase, a_slash_at_the_end_of_a_folder_is_no_part_of_paths);
    tcase_add_test(tcase, one_bad_take_is_one_failed_row);
    tcase_add_test(tcase, a_plugin_that_crashes_takes_only_its_take_with_it);
    tcase_add_test(tcase, what_is_done_is_skipped_until_something_changes);
    tcase_add_test(tcase, a_failed_take_is_not_done);
    tcase_add_test(tcase, a_key_or_bus_may_be_fed_from_a_folder);
    tcase_add_test(tcase, only_files_that_look_like_audio_are_takes);
    tcase_add_test(tcase, takes_of_any_form_become_float_wav_unless_asked);
    tcase_add_test(tcase, two_takes_for_one_output_are_not_both_written);
    tcase_add_test(tcase, stems_and_traces_are_written_for_each_take);
    tcase_add_test(tcase, takes_are_never_written_over);
    tcase_add_test(tcase, a_signal_ends_all_renders_and_leaves_nothing);
    return run_suite(tcase, "siskin folder");
}
