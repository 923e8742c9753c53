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

/* ---- damage ---- */

static void flip_byte(const char *path, long at) {
    FILE *file = fopen(path, "r+b");
    ck_assert_ptr_nonnull(file);
    fseek(file, at, SEEK_SET);
    int byte = getc(file);
    fseek(file, at, SEEK_SET);
    putc(byte ^ 0x10, file);
    fclose(file);
}

static long file_size(const char *path) {
    struct stat status;
    ck_assert_int_eq(stat(path, &status), 0);
    return status.st_size;
}

/* Tones, since noise would make the coded files large. */
static Sound make_tones(int rate_hz, sf_count_t frames) {
    Sound sound = make_sound(1, frames, rate_hz);
    for (sf_count_t i = 0; i < frames; i++)
        sound.audio[i] = (float)(0.3 * sin(0.03 * (double)i) + 0.2 * sin(0.11 * (double)i));
    return sound;
}

static const struct {
    const char *name;
    int format;
    bool every_bit; /* the whole file is under a checksum */
} coded[] = {
    {"take.flac", SF_FORMAT_FLAC | SF_FORMAT_PCM_24, false}, /* its head is not */
    {"take.ogg", SF_FORMAT_OGG | SF_FORMAT_VORBIS, true},
    {"take.opus", SF_FORMAT_OGG | SF_FORMAT_OPUS, true},
};

/* Wherever one bit is wrong: an error that names the place, or the audio as it was. */
START_TEST(a_flipped_bit_is_told_or_does_no_harm) {
    const char *name = coded[_i].name;
    Sound take = make_tones(48000, 200000);
    write_sound(name, &take, coded[_i].format);
    char line[128], salvage[128];
    snprintf(line, sizeof line, "render %s out.wav gain gain=0", name);
    snprintf(salvage, sizeof salvage, "render %s out.wav gain gain=0 --salvage", name);
    ck_assert_ran(line);
    Sound whole = read_sound("out.wav");
    long size = file_size(name);
    int told = 0;
    for (long at = 10; at < size; at += size / 40 + 1) {
        write_sound(name, &take, coded[_i].format);
        flip_byte(name, at);
        if (run("%s", line) == 0) {
            check_same_bits("out.wav", &whole);
            ck_assert_msg(!coded[_i].every_bit, "byte %ld of %s", at, name);
            continue;
        }
        told++;
        ck_assert_int_eq(ran.status, 1);
        ck_assert_msg(strstr(ran.err, name) != NULL, "%s", ran.err);
        if (!strstr(ran.err, "--salvage")) /* no audio at all: the head is gone */
            continue;
        ck_assert_msg(run("%s", salvage) == 0, "byte %ld: %s", at, ran.err);
        ck_assert_msg(strstr(ran.err, "note: ") != NULL, "byte %ld: nothing is told", at);
        Sound rest = read_sound("out.wav");
        ck_assert_int_le(rest.info.frames, whole.info.frames);
        free(rest.audio);
    }
    ck_assert_int_ge(told, 30);
    free(whole.audio);
    free(take.audio);
}
END_TEST

/* What follows a hole stays where it was: the last third of a file that is damaged in its middle. */
START_TEST(what_follows_a_hole_stays_in_its_place) {
    Sound take = make_tones(48000, 200000);
    write_sound("take.flac", &take, SF_FORMAT_FLAC | SF_FORMAT_PCM_24);
    ck_assert_ran("render take.flac whole.wav gain gain=0");
    flip_byte("take.flac", file_size("take.flac") / 2);
    ck_assert_ran("render take.flac out.wav gain gain=0 --salvage");
    ck_assert_ptr_nonnull(strstr(ran.err, "damaged from 0:0"));
    Sound whole = read_sound("whole.wav"), out = read_sound("out.wav");
    ck_assert_int_eq(out.info.frames, whole.info.frames);
    ck_assert_mem_eq(out.audio + 140000, whole.audio + 140000, 60000 * sizeof(float));
    ck_assert_mem_eq(out.audio, whole.audio, 60000 * sizeof(float));
    free(whole.audio);
    free(out.audio);
    free(take.audio);
}
END_TEST

static void set_length(const char *path, uint32_t bytes) {
    FILE *file = fopen(path, "r+b");
    char id[4];
    long at = 12;
    ck_assert_ptr_nonnull(file);
    for (;;) {
        unsigned char n[4];
        fseek(file, at, SEEK_SET);
        ck_assert_uint_eq(fread(id, 1, 4, file), 4);
        ck_assert_uint_eq(fread(n, 1, 4, file), 4);
        if (memcmp(id, "data", 4) == 0)
            break;
        at += 8 + (n[0] | n[1] << 8 | n[2] << 16);
    }
    fseek(file, at + 4, SEEK_SET);
    for (int i = 0; i < 4; i++)
        putc((int)(bytes >> 8 * i & 255), file);
    fclose(file);
}

START_TEST(a_header_that_says_less_than_is_there_is_told) {
    Sound take = noise_file("take.wav", 1, 96000, 410);
    set_length("take.wav", 48000 * 4);
    check_refused("render take.wav out.wav gain gain=0", 1,
                  "take.wav|goes on for 0:01.0 after 0:01.0");
    ck_assert_ran("render take.wav out.wav gain gain=0 --salvage");
    ck_assert_ptr_nonnull(strstr(ran.err, "note: "));
    check_same_bits("out.wav", &take);
    free(take.audio);
}
END_TEST

START_TEST(a_file_that_was_cut_off_is_salvaged_as_far_as_it_goes) {
    Sound take = noise_file("take.wav", 1, 48000, 411);
    ck_assert_int_eq(truncate("take.wav", file_size("take.wav") - 40000), 0);
    check_refused("render take.wav out.wav gain gain=0", 1,
                  "take.wav|cut off|40000 bytes|--salvage");
    ck_assert_ran("render take.wav out.wav gain gain=0 --salvage");
    ck_assert_ptr_nonnull(strstr(ran.err, "cut off"));
    take.info.frames = 38000;
    check_same_bits("out.wav", &take);
    free(take.audio);
}
END_TEST

/* An MP3 header counts padding: cut by its last frames, the file is as those are that promise too
 * much. Cut by a second, it is cut off. */
START_TEST(an_mp3_is_read_as_far_as_it_goes) {
    Sound take = make_tones(44100, 5 * 44100);
    write_sound("take.mp3", &take, SF_FORMAT_MPEG | SF_FORMAT_MPEG_LAYER_III);
    long size = file_size("take.mp3");
    ck_assert_int_eq(truncate("take.mp3", size - size / 20), 0);
    ck_assert_ran("render take.mp3 out.wav gain gain=0");
    Sound out = read_sound("out.wav");
    ck_assert_int_ge(out.info.frames, 4 * 44100);
    ck_assert_int_lt(out.info.frames, 5 * 44100);
    free(out.audio);
    ck_assert_ran("measure take.mp3");
    ck_assert_int_eq(truncate("take.mp3", size / 2), 0);
    ck_assert_int_eq(run("render take.mp3 out.wav gain"), 1);
    ck_assert_msg(strstr(ran.err, "promises 0:05.0") != NULL, "%s", ran.err);
    ck_assert_ran("render take.mp3 out.wav gain gain=0 --salvage");
    free(take.audio);
}
END_TEST

/* ---- samples that are none ---- */

START_TEST(whole_numbers_in_a_float_file_are_told_and_can_be_scaled) {
    Sound take = make_noise(1, 33600, 48000, 412), big = make_sound(1, 33600, 48000);
    for (int i = 0; i < 33600; i++)
        big.audio[i] = 32768.0f * take.audio[i];
    write_wav("take.wav", &big);
    ck_assert_ran("render take.wav out.wav gain gain=0");
    ck_assert_msg(strstr(ran.err, "over +60 dBFS") && strstr(ran.err, "--full-scale 32768"), "%s",
                  ran.err);
    ck_assert_ran("render take.wav out.wav gain gain=0 --full-scale 32768");
    ck_assert_str_eq(ran.err, "");
    check_same_bits("out.wav", &take);
    free(take.audio);
    free(big.audio);
}
END_TEST

/* The largest float, 6 dB up: no number any more. */
START_TEST(what_is_written_is_a_number) {
    Sound take = make_sound(1, 1000, 48000);
    for (int i = 0; i < 1000; i++)
        take.audio[i] = 3e38f;
    write_wav("take.wav", &take);
    write_text("t.chain", "bus lead\nfader 6\n");
    check_refused("render --chain t.chain take.wav out.wav", 1, "out.wav|0:00.0|fader");
    ck_assert(!exists("out.wav"));
    free(take.audio);
}
END_TEST

/* ---- other rates ---- */

/* A tone of 1 kHz at 44.1 kHz, heard beside a take of 48 kHz: it is the same tone there. */
START_TEST(a_bus_at_another_rate_is_brought_to_that_of_the_take) {
    Sound take = make_sound(1, 48000, 48000), wet = make_sound(1, 44100, 44100);
    for (int i = 0; i < 44100; i++)
        wet.audio[i] = (float)(0.5 * sin(2.0 * M_PI * 1000.0 * i / 44100.0));
    write_wav("take.wav", &take);
    write_wav("wet.wav", &wet);
    write_text("t.chain", "bus lead\nbus wet\n");
    ck_assert_ran("render --chain t.chain take.wav out.wav wet=wet.wav");
    ck_assert_ptr_nonnull(strstr(ran.err, "wet.wav is at 44100 Hz and was brought to 48000 Hz"));
    Sound out = read_sound("out.wav");
    ck_assert_int_eq(out.info.samplerate, 48000);
    ck_assert_int_eq(out.info.frames, 48000);
    /* 97 dB is what libsamplerate promises of its best converter; the ends are apart. */
    for (int i = 2000; i < 46000; i++) {
        double is = (double)out.audio[i], should = 0.5 * sin(2.0 * M_PI * 1000.0 * i / 48000.0);
        ck_assert_msg(fabs(is - should) < 2e-5, "frame %d: %g, not %g", i, is, should);
    }
    free(out.audio);
    free(take.audio);
    free(wet.audio);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("files");
    tcase_add_test(tcase, output_that_cannot_be_written_is_a_failure);
    tcase_add_loop_test(tcase, a_flipped_bit_is_told_or_does_no_harm, 0, 3);
    tcase_add_test(tcase, what_follows_a_hole_stays_in_its_place);
    tcase_add_test(tcase, a_header_that_says_less_than_is_there_is_told);
    tcase_add_test(tcase, a_file_that_was_cut_off_is_salvaged_as_far_as_it_goes);
    tcase_add_test(tcase, an_mp3_is_read_as_far_as_it_goes);
    tcase_add_test(tcase, whole_numbers_in_a_float_file_are_told_and_can_be_scaled);
    tcase_add_test(tcase, what_is_written_is_a_number);
    tcase_add_test(tcase, a_bus_at_another_rate_is_brought_to_that_of_the_take);
    return run_suite(tcase, "siskin files");
}
