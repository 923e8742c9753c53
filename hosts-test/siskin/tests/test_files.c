/* SPDX-License-Identifier: ISC */
/* What happens to files: nothing is lost, and nothing is wrong in silence. */
#include "siskin/render/report.h"
#include "siskin/tests/run_siskin.h"
#include "siskin/text.h"

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

/* The place that a message tells is that of the byte, as far as a coder spreads the bytes of steady
 * tones evenly. */
static void check_place(const char *message, double part, double length_s) {
    const double slack_s = 0.5;
    const char *at = strstr(message, "damaged at 0:"), *to = strstr(message, "up to 0:");
    at = at ? at : strstr(message, "damaged near 0:");
    if (!at)
        return;
    double from_s = strtod(strstr(at, "0:") + 2, NULL);
    double to_s = to ? strtod(strstr(to, "0:") + 2, NULL) : from_s;
    ck_assert_msg(part * length_s >= from_s - slack_s && part * length_s <= to_s + slack_s,
                  "%.1f s, but: %s", part * length_s, message);
}

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
        check_place(ran.err, (double)at / (double)size, 200000.0 / 48000.0);
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

/* What follows a hole stays where it was: the last third of a file that is damaged in its
 * middle. */
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

/* Half a file, and after it what is no audio of it, with a good piece at its very end: that is
 * found again. */
START_TEST(what_lies_behind_a_long_hole_is_found) {
    enum { FRAMES = 400000 };
    Sound take = make_tones(48000, FRAMES);
    write_sound("take.flac", &take, SF_FORMAT_FLAC | SF_FORMAT_PCM_24);
    ck_assert_ran("render take.flac whole.wav gain gain=0");
    long size = file_size("take.flac");
    Random random = random_seeded(415);
    FILE *file = fopen("take.flac", "r+b");
    fseek(file, size / 2, SEEK_SET);
    for (long at = size / 2; at < size * 9 / 10; at++)
        putc((int)random_below(&random, 255), file);
    fclose(file);
    check_refused("render take.flac out.wav gain gain=0", 1, "take.flac|damaged near 0:04");
    ck_assert_ran("render take.flac out.wav gain gain=0 --salvage");
    Sound whole = read_sound("whole.wav"), out = read_sound("out.wav");
    ck_assert_int_eq(out.info.frames, FRAMES);
    int64_t first = 0, last = FRAMES;
    while (first < FRAMES && out.audio[first] == whole.audio[first])
        first++;
    while (last > first && out.audio[last - 1] == whole.audio[last - 1])
        last--;
    ck_assert_msg(first > 190000 && first < 210000, "whole up to %lld", (long long)first);
    ck_assert_msg(last > 350000 && last < 370000, "whole from %lld", (long long)last);
    for (int64_t i = first; i < last; i++)
        ck_assert(out.audio[i] == 0.0f);
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
    Sound take = make_tones(44100, 220500);
    write_sound("take.mp3", &take, SF_FORMAT_MPEG | SF_FORMAT_MPEG_LAYER_III);
    long size = file_size("take.mp3");
    ck_assert_int_eq(truncate("take.mp3", size - size / 20), 0);
    ck_assert_ran("render take.mp3 out.wav gain gain=0");
    Sound out = read_sound("out.wav");
    ck_assert_int_ge(out.info.frames, 176400);
    ck_assert_int_lt(out.info.frames, 220500);
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

START_TEST(a_level_that_nobody_can_mean_is_told) {
    free(noise_file("take.wav", 1, 1000, 413).audio); /* peaks at -6 dBFS */
    write_text("t.chain", "bus a\nto none\nfader 60\nbus b\nfrom a 5\n");
    ck_assert_ran("render --chain t.chain take.wav out.wav");
    ck_assert_str_eq(ran.err, "");
    write_text("t.chain", "bus a\nto none\nfader 60\nbus b\nfrom a 8\n");
    ck_assert_ran("render --chain t.chain take.wav out.wav");
    ck_assert_ptr_nonnull(strstr(ran.err, "out.wav peaks at 62 dBFS"));
}
END_TEST

/* ---- other rates ---- */

START_TEST(a_rate_that_no_processor_of_ours_works_at_is_named_with_those_it_does) {
    Sound take = make_noise(1, 4000, 4000, 414);
    write_wav("take.wav", &take);
    check_refused("render take.wav out.wav gain", 1, "gain|8000 to 192000 Hz|take.wav|at 4000 Hz");
    ck_assert_ran("render take.wav out.wav urn:foreign:late frames=0");
    free(take.audio);
}
END_TEST

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

/* ---- names while files are written ---- */

START_TEST(stems_with_long_names_are_kept_apart) {
    char name[256], chain[64] = "bus one\nbus two\nfrom one\nfader -6\n";
    memset(name, 'x', sizeof name);
    snprintf(name + 230, sizeof name - 230, ".wav");
    Sound take = noise_file("take.wav", 1, 0, 420);
    write_text("t.chain", chain);
    ck_assert_msg(run("render --chain t.chain take.wav %s --stems", name) == 0, "%s", ran.err);
    snprintf(name + 230, sizeof name - 230, ".one.wav");
    check_same_bits(name, &take);
    for (size_t i = 0; i < samples(&take); i++)
        take.audio[i] *= (float)pow(10.0, -6.0 / 20.0);
    snprintf(name + 230, sizeof name - 230, ".two.wav");
    check_same_bits(name, &take);
    ck_assert_int_eq(count_files("."), 5);
    free(take.audio);
}
END_TEST

/* The number of the process that writes here, by the name of its unfinished file; 0: there is none.
 */
static pid_t writer_here(void) {
    DIR *dir = opendir(".");
    pid_t process = 0;
    ck_assert_ptr_nonnull(dir);
    for (const struct dirent *entry; (entry = readdir(dir));) {
        const char *end = strstr(entry->d_name, ".part");
        const char *digits = end;
        while (end && digits[-1] >= '0' && digits[-1] <= '9')
            digits--;
        if (end)
            process = (pid_t)strtol(digits, NULL, 10);
    }
    closedir(dir);
    return process;
}

/* Both processes are killed outright: neither can clean up, but the next run does. */
START_TEST(what_a_killed_run_left_is_removed_by_the_next) {
    free(noise_file("take.wav", 1, (sf_count_t)48000 * 300, 421).audio);
    pid_t process = start_program("render take.wav out.wav gain", STDOUT_FILENO, STDERR_FILENO, 0);
    pid_t worker;
    while ((worker = writer_here()) == 0)
        usleep(1000);
    kill(process, SIGSTOP);
    kill(worker, SIGKILL);
    kill(process, SIGKILL);
    kill(process, SIGCONT);
    ck_assert_int_eq(finish_program(process), 1000 + SIGKILL);
    while (kill(worker, 0) == 0)
        usleep(1000);
    ck_assert_int_eq(count_files("."), 2);
    ck_assert_ran("render take.wav other.wav gain --to 0.1");
    ck_assert_int_eq(count_files("."), 3);
    ck_assert_ran("render take.wav out.wav gain --to 0.1");
    ck_assert_int_eq(count_files("."), 3);
}
END_TEST

/* ---- what a take has besides its sound ---- */

enum { HISTORY = 40000, CUES = 150 };

/* A broadcast WAV as some recorders leave it; its history is longer than libsndfile takes. */
static void write_broadcast(const char *path, const Sound *take) {
    enum { FIXED = 602 };
    unsigned char *chunk = calloc(1, FIXED + HISTORY);
    SF_INFO info = {.channels = 1, .samplerate = 48000, .format = SF_FORMAT_WAV | SF_FORMAT_PCM_24};
    SNDFILE *file = sf_open(path, SFM_WRITE, &info);
    memcpy(chunk, "verse", 6);
    chunk[338] = 0x40, chunk[339] = 0xE2, chunk[340] = 0x01; /* 123456 */
    chunk[346] = 1;
    memset(chunk + FIXED, 'h', HISTORY - 2);
    chunk[FIXED + HISTORY - 2] = '\r', chunk[FIXED + HISTORY - 1] = '\n';
    const SF_CHUNK_INFO bext = {
        .id = "bext", .id_size = 4, .datalen = FIXED + HISTORY, .data = chunk};
    ck_assert_int_eq(sf_set_chunk(file, &bext), SF_ERR_NO_ERROR);
    sf_writef_float(file, take->audio, take->info.frames);
    sf_close(file);
    free(chunk);
}

static uint64_t time_of(const char *path) {
    SF_INFO info = {0};
    SF_BROADCAST_INFO_VAR(16384) stamp;
    memset(&stamp, 0, sizeof stamp);
    SNDFILE *file = sf_open(path, SFM_READ, &info);
    ck_assert_msg(sf_command(file, SFC_GET_BROADCAST_INFO, &stamp, sizeof stamp) == SF_TRUE,
                  "%s has no time stamp", path);
    ck_assert_str_eq(stamp.description, "verse");
    sf_close(file);
    return (uint64_t)stamp.time_reference_high << 32 | stamp.time_reference_low;
}

START_TEST(a_time_stamp_outlives_a_long_history) {
    Sound take = make_noise(1, 96000, 48000, 430);
    write_broadcast("take.wav", &take);
    ck_assert_ran("render take.wav out.wav gain");
    ck_assert_uint_eq(time_of("out.wav"), 123456);
    ck_assert_ptr_nonnull(strstr(ran.err, "9 KB"));
    ck_assert_ran("render take.wav out.wav gain --from 1");
    ck_assert_uint_eq(time_of("out.wav"), 123456 + 48000);
    ck_assert_ran("render take.wav out.flac gain");
    ck_assert_ptr_nonnull(strstr(ran.err, "no time stamp"));
    free(take.audio);
}
END_TEST

typedef struct {
    uint32_t count;
    SF_CUE_POINT cue[CUES];
} Cues;

static void write_cues(const char *path, const Sound *take) {
    SF_INFO info = {.channels = 1, .samplerate = 48000, .format = SF_FORMAT_WAV | SF_FORMAT_PCM_24};
    Cues *cues = calloc(1, sizeof *cues);
    SNDFILE *file = sf_open(path, SFM_WRITE, &info);
    static unsigned char names[] = "adtllabl\x0C\0\0\0\x08\0\0\0verse\0\0\0";
    const SF_CHUNK_INFO list = {.id = "LIST", .id_size = 4, .datalen = 24, .data = names};
    cues->count = CUES;
    for (uint32_t i = 0; i < CUES; i++) {
        cues->cue[i].indx = (int32_t)i + 1;
        cues->cue[i].position = cues->cue[i].sample_offset = 600 * i;
        cues->cue[i].fcc_chunk = 0x61746164; /* "data" */
    }
    ck_assert_int_eq(sf_command(file, SFC_SET_CUE, cues, sizeof *cues), SF_TRUE);
    ck_assert_int_eq(sf_set_chunk(file, &list), SF_ERR_NO_ERROR);
    sf_writef_float(file, take->audio, take->info.frames);
    sf_close(file);
    free(cues);
}

static Cues *read_cues(const char *path) {
    SF_INFO info = {0};
    Cues *cues = calloc(1, sizeof *cues);
    SNDFILE *file = sf_open(path, SFM_READ, &info);
    sf_command(file, SFC_GET_CUE, cues, sizeof *cues);
    sf_close(file);
    return cues;
}

START_TEST(markers_keep_their_places_and_names) {
    Sound take = make_noise(1, 96000, 48000, 431);
    write_cues("take.wav", &take);
    ck_assert_ran("render take.wav out.wav gain");
    ck_assert_str_eq(ran.err, "");
    Cues *cues = read_cues("out.wav");
    ck_assert_uint_eq(cues->count, CUES);
    for (uint32_t i = 0; i < CUES; i++)
        ck_assert_uint_eq(cues->cue[i].sample_offset, 600UL * i);
    ck_assert_str_eq(cues->cue[7].name, "verse");
    free(cues);
    ck_assert_ran("render take.wav out.wav gain --from 0:00.5");
    cues = read_cues("out.wav");
    ck_assert_uint_eq(cues->count, CUES - 40);
    ck_assert_uint_eq(cues->cue[1].sample_offset, 600);
    free(cues);
    ck_assert_ran("render take.wav out.flac gain");
    ck_assert_ptr_nonnull(strstr(ran.err, "none of the take's 150 markers"));
    free(take.audio);
}
END_TEST

/* ---- a section ---- */

START_TEST(a_section_is_what_it_is_in_the_whole_render) {
    free(noise_file("take.wav", 1, 96000, 432).audio);
    const char *chain = "urn:foreign:late frames=777 keyed key=take.wav";
    ck_assert_msg(run("render take.wav whole.wav %s", chain) == 0, "%s", ran.err);
    ck_assert_msg(run("render take.wav out.wav %s --from 0.5 --to 1.25 --trace t.csv", chain) == 0,
                  "%s", ran.err);
    Sound whole = read_sound("whole.wav"), out = read_sound("out.wav");
    ck_assert_int_eq(out.info.frames, 36000);
    ck_assert_mem_eq(out.audio, whole.audio + 24000, 36000 * sizeof(float));
    /* What moves is counted from the start of the take. */
    write_text("t.chain", "bus lead\n fader @m\nlane m line\n 0 -6\n 2 6\n");
    free(whole.audio);
    free(out.audio);
    ck_assert_ran("render --chain t.chain take.wav whole.wav");
    ck_assert_ran("render --chain t.chain take.wav out.wav --from 0.5 --to 1.25");
    whole = read_sound("whole.wav");
    out = read_sound("out.wav");
    ck_assert_mem_eq(out.audio, whole.audio + 24000, 36000 * sizeof(float));
    check_refused("render take.wav out.wav gain --from 2", 2, "--from 2|take.wav ends at 0:02.0");
    check_refused("render take.wav out.wav gain --from 1:75", 2, "--from 1:75|1:23.25");
    check_refused("render take.wav out.wav gain --from 1 --to 0.5", 2, "--to 0.5|--from 1");
    free(whole.audio);
    free(out.audio);
}
END_TEST

/* ---- what was done before ---- */

static void set_time(const char *path, time_t seconds) {
    const struct timespec times[2] = {{seconds, 0}, {seconds, 0}};
    ck_assert_int_eq(utimensat(AT_FDCWD, path, times, 0), 0);
}

static const char *const extensions[] = {"wav", "flac", "aiff"};

START_TEST(only_what_was_made_of_this_take_so_is_skipped) {
    char line[128];
    const char *extension = extensions[_i];
    ck_assert_int_eq(mkdir("takes", 0777), 0);
    free(noise_file("takes/a.wav", 1, 5000, 433).audio);
    set_time("takes/a.wav", 1000000);
    snprintf(line, sizeof line, "render takes out gain gain=1 --skip-done --format %s", extension);
    ck_assert_ran(line);
    ck_assert_ptr_nonnull(strstr(ran.out, "1 rendered"));
    ck_assert_ran(line);
    ck_assert_ptr_nonnull(strstr(ran.out, "1 skipped"));
    /* Another take of that name, older than the output, is none that was done. */
    free(noise_file("takes/a.wav", 1, 5000, 434).audio);
    set_time("takes/a.wav", 500000);
    ck_assert_ran(line);
    ck_assert_ptr_nonnull(strstr(ran.out, "1 rendered"));
    ck_assert_ran(line);
    ck_assert_ptr_nonnull(strstr(ran.out, "1 skipped"));
    /* Nor is it with other settings. */
    snprintf(line, sizeof line, "render takes out gain gain=2 --skip-done --format %s", extension);
    ck_assert_ran(line);
    ck_assert_ptr_nonnull(strstr(ran.out, "1 rendered"));
}
END_TEST

START_TEST(a_key_that_changed_is_no_reason_to_skip) {
    static const char *const told[] = {"1 rendered", "1 skipped", "1 rendered"};
    ck_assert_int_eq(mkdir("takes", 0777), 0);
    ck_assert_int_eq(mkdir("keys", 0777), 0);
    free(noise_file("takes/a.wav", 1, 5000, 435).audio);
    for (uint64_t i = 0; i < 3; i++) {
        if (i != 1)
            free(noise_file("keys/a.wav", 1, 5000 + 100 * (sf_count_t)i, 436 + i).audio);
        ck_assert_ran("render takes out keyed key=keys --skip-done");
        ck_assert_msg(strstr(ran.out, told[i]) != NULL, "%d: %s", (int)i, ran.out);
    }
}
END_TEST

/* ---- files that meet ---- */

START_TEST(takes_that_would_write_one_file_are_told_each_time) {
    ck_assert_int_eq(mkdir("takes", 0777), 0);
    Sound take = noise_file("takes/a.wav", 1, 5000, 440);
    write_sound("takes/a.flac", &take, SF_FORMAT_FLAC | SF_FORMAT_PCM_16);
    for (int again = 0; again < 2; again++) {
        ck_assert_int_eq(run("render takes out gain --skip-done"), 1);
        ck_assert_msg(strstr(ran.out, "FAILED   a.wav") && strstr(ran.out, "another take, a.flac"),
                      "%s", ran.out);
    }
    free(take.audio);
}
END_TEST

START_TEST(a_stem_and_a_take_of_its_name_are_kept_apart) {
    ck_assert_int_eq(mkdir("takes", 0777), 0);
    free(noise_file("takes/x.wav", 1, 5000, 441).audio);
    free(noise_file("takes/x.lead.wav", 1, 6000, 442).audio);
    write_text("t.chain", "bus lead\n");
    ck_assert_int_eq(run("render --chain t.chain takes out --stems"), 1);
    ck_assert_msg(strstr(ran.out, "FAILED   x.wav") && strstr(ran.out, "another take, x.lead.wav"),
                  "%s", ran.out);
    Sound out = read_sound("out/x.lead.wav");
    ck_assert_int_eq(out.info.frames, 6000);
    free(out.audio);
}
END_TEST

START_TEST(an_output_that_is_another_take_by_a_link_is_not_written) {
    ck_assert_int_eq(mkdir("takes", 0777), 0);
    ck_assert_int_eq(mkdir("out", 0777), 0);
    Sound a = noise_file("takes/a.wav", 1, 5000, 443), b = noise_file("takes/b.wav", 1, 6000, 444);
    ck_assert_int_eq(symlink("../takes/b.wav", "out/a.wav"), 0);
    ck_assert_int_eq(run("render takes out gain --quiet"), 1);
    ck_assert_msg(strstr(ran.out, "FAILED   a.wav") && strstr(ran.out, "read for b.wav"), "%s",
                  ran.out);
    check_same_bits("takes/b.wav", &b);
    ck_assert(exists("out/b.wav"));
    free(a.audio);
    free(b.audio);
}
END_TEST

/* ---- folders ---- */

START_TEST(each_take_may_have_a_chain_of_its_own) {
    ck_assert_int_eq(mkdir("takes", 0777), 0);
    ck_assert_int_eq(mkdir("chains", 0777), 0);
    Sound a = noise_file("takes/a.wav", 1, 5000, 445);
    free(noise_file("takes/b.wav", 1, 5000, 446).audio);
    free(noise_file("takes/c.wav", 1, 5000, 447).audio);
    write_text("chains/a.chain", "bus lead\ngain gain=0\n");
    write_text("chains/b.chain", "bus lead\ngian\n");
    ck_assert_int_eq(run("render --chain chains takes out --summary s.csv"), 1);
    check_same_bits("out/a.wav", &a);
    ck_assert_msg(strstr(ran.out, "'gian'") && strstr(ran.out, "chains/c.chain"), "%s", ran.out);
    ck_assert_int_eq(count_files("out"), 1);
    ck_assert_ran("render --chain chains takes/a.wav one.wav");
    check_same_bits("one.wav", &a);
    char text[8192] = "";
    FILE *file = fopen("s.csv", "r");
    ck_assert_uint_gt(fread(text, 1, sizeof text - 1, file), 0);
    fclose(file);
    ck_assert_msg(strstr(text, "take,result,output,length_s"), "%s", text);
    ck_assert_msg(strstr(text, "\n\"a.wav\",rendered,\"out/a.wav\",0.104,48000,1,"), "%s", text);
    ck_assert_msg(strstr(text, "\n\"c.wav\",failed,"), "%s", text);
    free(a.audio);
}
END_TEST

START_TEST(subfolders_are_rendered_into_their_likes) {
    ck_assert_int_eq(mkdir("takes", 0777), 0);
    ck_assert_int_eq(mkdir("takes/verse", 0777), 0);
    ck_assert_int_eq(mkdir("takes/verse/high", 0777), 0);
    free(noise_file("takes/a.wav", 1, 5000, 448).audio);
    Sound b = noise_file("takes/verse/high/a.wav", 1, 6000, 449);
    ck_assert_ran("render takes out gain gain=0");
    ck_assert_ptr_nonnull(strstr(ran.out, "1 takes: 1 rendered"));
    /* The outputs may lie in the folder of the takes: they are no takes. */
    for (int again = 0; again < 2; again++) {
        ck_assert_ran("render takes takes/done gain gain=0 --subfolders");
        ck_assert_ptr_nonnull(strstr(ran.out, "2 takes: 2 rendered"));
    }
    check_same_bits("takes/done/verse/high/a.wav", &b);
    free(b.audio);
}
END_TEST

/* ---- memory ---- */

/* However little there is: the message tells of which take. Far too little to start at all is left
 * out. */
START_TEST(who_runs_out_of_memory_names_the_take) {
    int told = 0;
    free(noise_file("take.wav", 2, 96000, 460).audio);
    for (rlim_t megabytes = 8; megabytes <= 24; megabytes++) {
        most_memory = megabytes << 20;
        run("%s", megabytes % 2 ? "measure take.wav" : "render take.wav out.wav gain");
        most_memory = 0;
        if (!strstr(ran.err, "out of memory"))
            continue;
        ck_assert_int_eq(ran.status, 1);
        ck_assert_msg(strstr(ran.err, "take.wav") != NULL, "%s", ran.err);
        told++;
    }
#ifndef __SANITIZE_ADDRESS__ /* which needs terabytes to start */
    ck_assert_int_ge(told, 1);
#endif
}
END_TEST

/* More than there can ever be, in a process of its own. The address sanitizer ends it before we
 * do. */
#ifndef __SANITIZE_ADDRESS__
START_TEST(memory_that_is_not_there_ends_the_program_with_a_name) {
    int err[2];
    volatile size_t all = SIZE_MAX / 2;
    ck_assert_int_eq(pipe2(err, O_CLOEXEC), 0);
    pid_t process = fork();
    if (process == 0) {
        dup2(err[1], STDERR_FILENO);
        text_no_memory("the take", 71);
        text_take(all, 1);
        _exit(0);
    }
    close(err[1]);
    ck_assert_int_eq(finish_program(process), 71);
    read_back(err[0], ran.err);
    ck_assert_str_eq(ran.err, "siskin: out of memory at the take\n");
}
END_TEST
#endif

/* ---- coded outputs ---- */

static const struct {
    const char *path;
    int type;
} coders[] = {{"out.mp3", SF_FORMAT_MPEG}, {"out.opus", SF_FORMAT_OGG}};

/* As long as the take and in its place. The noise is x[t] = 0.8 x[t - 1] + ...: a shift by one
 * frame has an error of 2 (1 - 0.8) of its power, -4 dB; coders stay 9 dB and more under it. */
START_TEST(a_coded_output_is_the_take_in_its_place) {
    Sound take = make_sound(1, 96000, 48000);
    Random random = random_seeded(450);
    double low = 0.0;
    for (int i = 0; i < 96000; i++) {
        low += 0.2 * (random_range(&random, -1.0, 1.0) - low);
        take.audio[i] = (float)low;
    }
    write_wav("take.wav", &take);
    ck_assert_msg(run("render take.wav %s gain gain=0", coders[_i].path) == 0, "%s", ran.err);
    Sound out = read_sound(coders[_i].path);
    ck_assert_int_eq(out.info.format & SF_FORMAT_TYPEMASK, coders[_i].type);
    ck_assert_int_eq(out.info.frames, 96000);
    double signal = 0.0, error = 0.0;
    for (int i = 4800; i < 91200; i++) {
        double is = (double)out.audio[i], should = (double)take.audio[i];
        signal += should * should;
        error += (is - should) * (is - should);
    }
    ck_assert_msg(10.0 * log10(signal / error) > 9.0, "%.1f dB", 10.0 * log10(signal / error));
    free(out.audio);
    free(take.audio);
}
END_TEST

START_TEST(a_rate_that_a_coder_does_not_take_is_named_with_those_it_does) {
    Sound take = make_noise(1, 5000, 44100, 451);
    write_wav("take.wav", &take);
    check_refused("render take.wav out.opus gain", 1,
                  "out.opus|44100|8000, 12000, 16000, 24000, 48000");
    check_refused("render take.wav out.mp3 gain --bits 16", 2, "out.mp3|--bits");
    ck_assert_ran("render take.wav out.mp3 gain");
    free(take.audio);
}
END_TEST

/* ---- for programs ---- */

START_TEST(a_render_is_told_as_json) {
    ck_assert_int_eq(mkdir("takes", 0777), 0);
    free(noise_file("takes/a.wav", 1, 48000, 452).audio);
    write_text("takes/b.wav", "no audio\n");
    ck_assert_ran("render takes/a.wav out.wav gain --json");
    ck_assert_ptr_nonnull(strstr(ran.out, "\"result\": \"rendered\""));
    ck_assert_ptr_nonnull(strstr(ran.out, "\"length_s\": 1.0000"));
    ck_assert_ptr_nonnull(strstr(ran.out, "\"name\": \"gain\""));
    ck_assert_int_eq(run("render takes out gain --json"), 1);
    ck_assert_int_eq(strncmp(ran.out, "{\n  \"takes\": [", 14), 0);
    ck_assert_ptr_nonnull(strstr(ran.out, "\"result\": \"failed\""));
    ck_assert_str_eq(ran.out + strlen(ran.out) - 6, "  ]\n}\n");
}
END_TEST

START_TEST(progress_that_is_no_terminal_is_a_line_now_and_then) {
    free(noise_file("take.wav", 1, 48000, 453).audio);
    run("render take.wav out.wav urn:foreign:misbehave fault=6 --patience 7");
    int lines = 0;
    for (const char *c = ran.err; *c; c++)
        lines += *c == '\n';
    ck_assert_int_eq(lines, 2); /* one at 5 s, and the error */
    ck_assert_ptr_null(strchr(ran.err, '\r'));
}
END_TEST

/* 100 s went into another take; half of this one took 10 s. */
START_TEST(the_time_left_is_of_the_work_under_way) {
    static const char before[] = "siskin: two.wav: 50 %, 0:";
    char shown[256] = "", *after;
    FILE *file = fopen("shown", "w+");
    ck_assert_ptr_nonnull(file);
    int kept = dup(STDERR_FILENO);
    Progress progress = progress_begin(false);
    progress.lines = true;
    progress_show(&progress, "one.wav", 0.9);
    progress.began -= 110.0;
    progress.piece -= 110.0;
    progress_show(&progress, "two.wav", 0.0);
    progress.piece -= 10.0;
    progress.last -= 10.0;
    dup2(fileno(file), STDERR_FILENO);
    progress_show(&progress, "two.wav", 0.5);
    dup2(kept, STDERR_FILENO);
    close(kept);
    rewind(file);
    ck_assert_ptr_nonnull(fgets(shown, sizeof shown, file));
    fclose(file);
    ck_assert(strncmp(shown, before, strlen(before)) == 0);
    double left_s = strtod(shown + strlen(before), &after);
    ck_assert_str_eq(after, " left\n");
    ck_assert(left_s >= 10.0 && left_s < 40.0);
}
END_TEST

START_TEST(a_chain_is_listed_and_an_unknown_name_lists_what_there_is) {
    bundles = "lv2";
    ck_assert_ran("list lead-hard");
    ck_assert_ptr_nonnull(strstr(ran.out, "bus lead"));
    check_refused("list leed-hard", 2, "'leed-hard'|did you mean 'lead-hard'|de-esser|lead-gently");
    ck_assert_ran("list de-esser");
    ck_assert_ptr_null(strstr(ran.out, "frames frames"));
    ck_assert_ran("list rumble-filter");
    ck_assert_ptr_null(strstr(ran.out, "frames frames"));
}
END_TEST

START_TEST(the_users_own_chains_are_found_by_name_before_the_ready_ones) {
    ck_assert_int_eq(mkdir("siskin", 0777), 0);
    ck_assert_int_eq(mkdir("siskin/chains", 0777), 0);
    write_text("siskin/chains/lead-hard.chain", "# My own\nbus lead\ngain gain=0\n");
    ck_assert_int_eq(setenv("XDG_DATA_HOME", work_folder, 1), 0);
    Sound take = noise_file("take.wav", 1, 5000, 455);
    ck_assert_ran("render --chain lead-hard take.wav out.wav");
    check_same_bits("out.wav", &take);
    /* Among the bundles here is one that is made to leak, and list makes an instance of each. */
    ck_assert_int_eq(setenv("ASAN_OPTIONS", "detect_leaks=0", 1), 0);
    ck_assert_ran("list");
    ck_assert_ptr_nonnull(strstr(ran.out, "My own"));
    ck_assert_ran("list --names");
    ck_assert_ptr_nonnull(strstr(ran.out, "processor gain\n"));
    ck_assert_ptr_nonnull(strstr(ran.out, "chain lead-hard\n"));
    ck_assert_int_eq(unsetenv("XDG_DATA_HOME"), 0);
    free(take.audio);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("files");
    tcase_add_test(tcase, output_that_cannot_be_written_is_a_failure);
    tcase_add_loop_test(tcase, a_flipped_bit_is_told_or_does_no_harm, 0, 3);
    tcase_add_test(tcase, what_follows_a_hole_stays_in_its_place);
    tcase_add_test(tcase, what_lies_behind_a_long_hole_is_found);
    tcase_add_test(tcase, a_header_that_says_less_than_is_there_is_told);
    tcase_add_test(tcase, a_file_that_was_cut_off_is_salvaged_as_far_as_it_goes);
    tcase_add_test(tcase, an_mp3_is_read_as_far_as_it_goes);
    tcase_add_test(tcase, whole_numbers_in_a_float_file_are_told_and_can_be_scaled);
    tcase_add_test(tcase, what_is_written_is_a_number);
    tcase_add_test(tcase, a_level_that_nobody_can_mean_is_told);
    tcase_add_test(tcase, a_rate_that_no_processor_of_ours_works_at_is_named_with_those_it_does);
    tcase_add_test(tcase, a_bus_at_another_rate_is_brought_to_that_of_the_take);
    tcase_add_test(tcase, stems_with_long_names_are_kept_apart);
    tcase_add_test(tcase, what_a_killed_run_left_is_removed_by_the_next);
    tcase_add_test(tcase, a_time_stamp_outlives_a_long_history);
    tcase_add_test(tcase, markers_keep_their_places_and_names);
    tcase_add_test(tcase, a_section_is_what_it_is_in_the_whole_render);
    tcase_add_loop_test(tcase, only_what_was_made_of_this_take_so_is_skipped, 0, 3);
    tcase_add_test(tcase, a_key_that_changed_is_no_reason_to_skip);
    tcase_add_test(tcase, takes_that_would_write_one_file_are_told_each_time);
    tcase_add_test(tcase, a_stem_and_a_take_of_its_name_are_kept_apart);
    tcase_add_test(tcase, an_output_that_is_another_take_by_a_link_is_not_written);
    tcase_add_test(tcase, each_take_may_have_a_chain_of_its_own);
    tcase_add_test(tcase, subfolders_are_rendered_into_their_likes);
    tcase_add_test(tcase, who_runs_out_of_memory_names_the_take);
#ifndef __SANITIZE_ADDRESS__
    tcase_add_test(tcase, memory_that_is_not_there_ends_the_program_with_a_name);
#endif
    tcase_add_loop_test(tcase, a_coded_output_is_the_take_in_its_place, 0, 2);
    tcase_add_test(tcase, a_rate_that_a_coder_does_not_take_is_named_with_those_it_does);
    tcase_add_test(tcase, a_render_is_told_as_json);
    tcase_add_test(tcase, progress_that_is_no_terminal_is_a_line_now_and_then);
    tcase_add_test(tcase, the_time_left_is_of_the_work_under_way);
    tcase_add_test(tcase, a_chain_is_listed_and_an_unknown_name_lists_what_there_is);
    tcase_add_test(tcase, the_users_own_chains_are_found_by_name_before_the_ready_ones);
    return run_suite(tcase, "siskin files");
}
