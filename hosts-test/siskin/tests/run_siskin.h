/* SPDX-License-Identifier: ISC */
/* run_siskin.h: for the Check suites of the offline program: runs the built program as a user
 * would, inside an empty directory of its own, and reads and writes audio files for it.
 *
 * Functions are inline because each suite uses some of them. */
#ifndef SISKIN_TESTS_RUN_SISKIN_H
#define SISKIN_TESTS_RUN_SISKIN_H

#include "run_tcase.h"
#include "signals.h"

#include <check.h>
#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <ftw.h>
#include <limits.h>
#include <math.h>
#include <signal.h>
#include <sndfile.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

enum { MOST_OUTPUT = 1 << 16, MOST_ARGUMENTS = 64 };

static char build_folder[PATH_MAX];      /* where the program and its bundles are */
static char work_folder[PATH_MAX / 2];   /* the present directory of every test */
static const char *bundles = "test-lv2"; /* under build_folder */

typedef struct {
    int status; /* exit status; 1000 + signal for one that died of it */
    char out[MOST_OUTPUT], err[MOST_OUTPUT];
} Run;

static Run ran;
static rlim_t most_memory; /* of a program that is started; 0: no limit */

/* ---- the directory ---- */

static inline void enter_work_folder(void) {
    ssize_t length = readlink("/proc/self/exe", build_folder, sizeof build_folder - 1);
    ck_assert_int_gt(length, 0);
    build_folder[length] = '\0';
    for (int up = 0; up < 2; up++)
        *strrchr(build_folder, '/') = '\0';
    const char *temporary = getenv("TMPDIR");
    snprintf(work_folder, sizeof work_folder, "%s/siskin-test-XXXXXX",
             temporary ? temporary : "/tmp");
    ck_assert_ptr_nonnull(mkdtemp(work_folder));
    ck_assert_int_eq(chdir(work_folder), 0);
    char foreign[PATH_MAX + 16];
    snprintf(foreign, sizeof foreign, "%s/foreign-lv2", build_folder);
    setenv("LV2_PATH", foreign, 1);
    unsetenv("SISKIN_LV2");
}

static inline int remove_entry(const char *path, const struct stat *status, int kind,
                               struct FTW *walk) {
    (void)status, (void)kind, (void)walk;
    return remove(path);
}

static inline void leave_work_folder(void) {
    ck_assert_int_eq(chdir("/"), 0);
    nftw(work_folder, remove_entry, 16, FTW_DEPTH | FTW_PHYS);
}

/* Entries of a directory, but for . and .. */
static inline int count_files(const char *folder) {
    DIR *dir = opendir(folder);
    int count = 0;
    ck_assert_ptr_nonnull(dir);
    while (readdir(dir))
        count++;
    closedir(dir);
    return count - 2;
}

static inline bool exists(const char *path) {
    return access(path, F_OK) == 0;
}

static inline void write_text(const char *path, const char *text) {
    FILE *file = fopen(path, "w");
    ck_assert_ptr_nonnull(file);
    fputs(text, file);
    ck_assert_int_eq(fclose(file), 0);
}

/* ---- the program ---- */

/* What a program printed into a pipe, which holds it all (64 KB on Linux) until it is read here. */
static inline void read_back(int end, char *text) {
    size_t used = 0;
    for (ssize_t got; (got = read(end, text + used, MOST_OUTPUT - 1 - used)) > 0;)
        used += (size_t)got;
    text[used] = '\0';
    close(end);
}

/* What an emulator says of a program that a signal ended is not the program's. */
static inline void drop_emulator(char *text) {
    for (char *line = text; *line;) {
        size_t length = strcspn(line, "\n");
        length += line[length] == '\n';
        if (strncmp(line, "qemu: ", 6) == 0)
            memmove(line, line + length, strlen(line + length) + 1);
        else
            line += length;
    }
}

/* Starts the program with `line` cut at spaces: "render a.wav b.wav gain". */
static inline pid_t start_program(const char *line, int out, int err, rlim_t most_bytes) {
    char program[PATH_MAX + 16];
    char directory[PATH_MAX + 32];
    char *arguments[MOST_ARGUMENTS] = {program};
    int count = 1;
    char *words = strdup(line);
    snprintf(program, sizeof program, "%s/siskin", build_folder);
    snprintf(directory, sizeof directory, "%s/%s", build_folder, bundles);
    for (char *word = strtok(words, " "); word; word = strtok(NULL, " "))
        arguments[count++] = word;
    ck_assert_int_lt(count, MOST_ARGUMENTS);
    pid_t process = fork();
    if (process == 0) {
        const struct rlimit limit = {most_bytes, most_bytes};
        setenv("SISKIN_LV2", directory, 1);
        /* Under nohup, or in the background of a shell, these would be ignored. */
        for (size_t i = 0; i < 4; i++)
            signal((const int[]){SIGINT, SIGTERM, SIGHUP, SIGQUIT}[i], SIG_DFL);
        dup2(out, STDOUT_FILENO);
        dup2(err, STDERR_FILENO);
        if (most_bytes)
            setrlimit(RLIMIT_FSIZE, &limit);
        if (most_memory)
            setrlimit(RLIMIT_AS, &(const struct rlimit){most_memory, most_memory});
        execv(program, arguments);
        _exit(127);
    }
    ck_assert_int_gt(process, 0);
    free(words);
    return process;
}

static inline int finish_program(pid_t process) {
    int status = 0;
    ck_assert_int_eq(waitpid(process, &status, 0), process);
    return WIFEXITED(status) ? WEXITSTATUS(status) : 1000 + WTERMSIG(status);
}

/* Runs it with a limit on the size of files (0: none); the result is in `ran`. */
static inline int run_limited(rlim_t most_bytes, const char *line) {
    int out[2];
    int err[2];
    ck_assert_int_eq(pipe2(out, O_CLOEXEC), 0);
    ck_assert_int_eq(pipe2(err, O_CLOEXEC), 0);
    pid_t process = start_program(line, out[1], err[1], most_bytes);
    close(out[1]);
    close(err[1]);
    ran.status = finish_program(process);
    read_back(out[0], ran.out);
    read_back(err[0], ran.err);
    drop_emulator(ran.err);
    return ran.status;
}

static inline int run(const char *format, ...) __attribute__((format(printf, 1, 2)));

static inline int run(const char *format, ...) {
    char line[4096];
    va_list args;
    va_start(args, format);
    vsnprintf(line, sizeof line, format, args);
    va_end(args);
    return run_limited(0, line);
}

#define ck_assert_ran(line)                                                                        \
    ck_assert_msg(run("%s", line) == 0, "siskin %s: exit %d\n%s", line, ran.status, ran.err)

/* The run fails with this status and says each of the words (separated by '|'). */
static inline void check_refused(const char *line, int status, const char *words) {
    char *copy = strdup(words);
    run("%s", line);
    ck_assert_msg(ran.status == status, "siskin %s: exit %d, not %d\n%s", line, ran.status, status,
                  ran.err);
    for (char *word = strtok(copy, "|"); word; word = strtok(NULL, "|"))
        ck_assert_msg(strstr(ran.err, word) != NULL, "siskin %s: no '%s' in: %s", line, word,
                      ran.err);
    ck_assert_msg(strchr(ran.err, '\n') == strrchr(ran.err, '\n'), "more than a line: %s", ran.err);
    free(copy);
}

/* ---- audio files ---- */

typedef struct {
    SF_INFO info;
    float *audio; /* interleaved */
} Sound;

static inline Sound make_sound(int channels, sf_count_t frames, int rate_hz) {
    Sound sound = {.info = {.channels = channels, .frames = frames, .samplerate = rate_hz}};
    ck_assert_int_gt(frames * channels, 0);
    sound.audio = calloc((size_t)(frames * channels), sizeof(float));
    ck_assert_ptr_nonnull(sound.audio);
    return sound;
}

static inline Sound make_noise(int channels, sf_count_t frames, int rate_hz, uint64_t seed) {
    Random random = random_seeded(seed);
    Sound sound = make_sound(channels, frames, rate_hz);
    for (sf_count_t i = 0; i < frames * channels; i++)
        sound.audio[i] = (float)random_range(&random, -0.5, 0.5);
    return sound;
}

static inline void write_sound(const char *path, const Sound *sound, int format) {
    SF_INFO info = {
        .channels = sound->info.channels, .samplerate = sound->info.samplerate, .format = format};
    SNDFILE *file = sf_open(path, SFM_WRITE, &info);
    ck_assert_msg(file != NULL, "%s: %s", path, sf_strerror(NULL));
    ck_assert_int_eq(sf_writef_float(file, sound->audio, sound->info.frames), sound->info.frames);
    ck_assert_int_eq(sf_close(file), 0);
}

static inline void write_wav(const char *path, const Sound *sound) {
    write_sound(path, sound, SF_FORMAT_WAV | SF_FORMAT_FLOAT);
}

static inline Sound read_sound(const char *path) {
    Sound sound = {0};
    SNDFILE *file = sf_open(path, SFM_READ, &sound.info);
    ck_assert_msg(file != NULL, "%s: %s", path, sf_strerror(NULL));
    sound.audio = calloc((size_t)(sound.info.frames * sound.info.channels) + 1, sizeof(float));
    sf_count_t got = sf_readf_float(file, sound.audio, sound.info.frames);
    sf_close(file);
    ck_assert_int_eq(got, sound.info.frames);
    return sound;
}

/* Noise of that many channels, written as PATH; 0.7 s unless `frames` says otherwise. */
static inline Sound noise_file(const char *path, int channels, sf_count_t frames, uint64_t seed) {
    Sound sound = make_noise(channels, frames ? frames : 33600, 48000, seed);
    write_wav(path, &sound);
    return sound;
}

static inline size_t samples(const Sound *sound) {
    return (size_t)(sound->info.frames * sound->info.channels);
}

/* The largest difference, after both shapes were found equal. */
static inline double difference(const Sound *a, const Sound *b) {
    double largest = 0.0;
    ck_assert_int_eq(a->info.channels, b->info.channels);
    ck_assert_int_eq(a->info.frames, b->info.frames);
    ck_assert_int_eq(a->info.samplerate, b->info.samplerate);
    for (size_t i = 0; i < samples(a); i++)
        largest = fmax(largest, fabs((double)a->audio[i] - (double)b->audio[i]));
    return largest;
}

static inline void check_same_bits(const char *path, const Sound *expected) {
    Sound sound = read_sound(path);
    ck_assert_int_eq(sound.info.channels, expected->info.channels);
    ck_assert_int_eq(sound.info.frames, expected->info.frames);
    ck_assert_msg(memcmp(sound.audio, expected->audio, samples(expected) * sizeof(float)) == 0,
                  "%s is not what it should be", path);
    free(sound.audio);
}

static inline void check_close(const char *path, const Sound *expected, double tolerance) {
    Sound sound = read_sound(path);
    double is = difference(&sound, expected);
    ck_assert_msg(is <= tolerance, "%s differs by %g, more than %g", path, is, tolerance);
    free(sound.audio);
}

static inline bool same_files(const char *a, const char *b) {
    FILE *fa = fopen(a, "rb");
    FILE *fb = fopen(b, "rb");
    ck_assert_ptr_nonnull(fa);
    ck_assert_ptr_nonnull(fb);
    int ca = 0;
    int cb = 0;
    do {
        ca = getc(fa);
        cb = getc(fb);
    } while (ca == cb && ca != EOF);
    fclose(fa);
    fclose(fb);
    return ca == cb;
}

static inline int run_suite(TCase *tcase, const char *name) {
    tcase_add_checked_fixture(tcase, enter_work_folder, leave_work_folder);
    tcase_set_timeout(tcase, 600); /* against hanging alone: a sanitizer or an emulator is slow */
    return run_tcase(tcase, name);
}

#endif
