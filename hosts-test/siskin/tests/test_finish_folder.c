/* SPDX-License-Identifier: ISC */
/* siskin finish: a folder of raw takes becomes a folder of finished parts by one command, whatever
 * comes between. The test singer sings the takes. */
#include "singer.h"
#include "siskin/tests/run_siskin.h"

enum { RATE_HZ = 44100, SEED = 31 };

static const char SONG[] = "sa-mo li-ta nu-lo/he-ta mo-si ka-lo";

/* ---- a folder of takes ---- */

typedef struct {
    uint64_t again;
    double loose_s, hum_db;
} Sung;

/* A take of one song; `cents` off its tune from the second phrase on. */
static void sing(const char *path, Sung how, double cents) {
    SingerTake take, other;
    SingerParams params = singer_params(SINGER_WOMAN, RATE_HZ, SEED);
    params.score = SONG;
    params.again = how.again;
    params.loose_s = how.loose_s;
    params.hum_db = how.hum_db;
    ck_assert(singer_take(&params, &take));
    params.note_hz.low *= pow(2.0, cents / 1200.0);
    params.note_hz.high *= pow(2.0, cents / 1200.0);
    ck_assert(singer_take(&params, &other));
    ck_assert_uint_eq(take.n, other.n);
    Sound sound = make_sound(1, (sf_count_t)take.n, RATE_HZ);
    size_t second = 0, phrases = 0;
    for (size_t i = 0; i < take.n_labels && phrases < 2; i++)
        if (take.labels[i].kind == SINGER_PHRASE) {
            phrases++;
            second = take.labels[i].start - RATE_HZ / 50;
        }
    for (size_t i = 0; i < take.n; i++)
        sound.audio[i] = i < second ? take.mix[i] : other.mix[i];
    write_wav(path, &sound);
    singer_free(&take);
    singer_free(&other);
    free(sound.audio);
}

static void make_folder(const char *path) {
    ck_assert_int_eq(mkdir(path, 0777), 0);
}

/* Our own processors, as users have them. */
static void setup(void) {
    bundles = "lv2";
    make_folder("takes");
}

/* With hum. */
static void sing_lead(void) {
    setup();
    sing("takes/lead.wav", (Sung){0, 0.0, -45.0}, 0.0);
}

/* The lead, and a double that is up to 80 ms early or late. */
static void sing_pair(void) {
    sing_lead();
    sing("takes/lead-double.wav", (Sung){7, 0.08, -200.0}, 0.0);
}

/* ---- the table ---- */

static char *read_text(const char *path) {
    FILE *file = fopen(path, "r");
    ck_assert_msg(file != NULL, "there is no %s", path);
    char *text = calloc(1, MOST_OUTPUT);
    ck_assert_uint_lt(fread(text, 1, MOST_OUTPUT - 1, file), MOST_OUTPUT - 1);
    fclose(file);
    return text;
}

/* The cell at *at, without its quotes; *at goes on behind its comma. */
static char *next_cell(char **at) {
    bool quoted = **at == '"';
    char *begin = *at + quoted;
    char *end = begin + strcspn(begin, quoted ? "\"" : ",\n");
    *at = end + strcspn(end, ",\n");
    char *cell = strndup(begin, (size_t)(end - begin));
    *at += **at == ',';
    return cell;
}

/* The cell of a part in a column of FOLDER/table.csv; the caller frees it. */
static char *told(const char *folder, const char *part, const char *column) {
    char path[256], key[64];
    snprintf(path, sizeof path, "%s/table.csv", folder);
    snprintf(key, sizeof key, "\n\"%s\",", part);
    char *text = read_text(path), *head = text, *row = strstr(text, key);
    ck_assert_msg(row != NULL, "no row for %s in %s", part, text);
    row++;
    while (*head != '\n') {
        char *name = next_cell(&head), *cell = next_cell(&row);
        bool found = strcmp(name, column) == 0;
        free(name);
        if (found) {
            free(text);
            return cell;
        }
        free(cell);
    }
    ck_abort_msg("no column %s", column);
    return NULL;
}

static double told_number(const char *folder, const char *part, const char *column) {
    char *cell = told(folder, part, column), *end = NULL;
    double number = strtod(cell, &end);
    ck_assert_msg(end != cell && !*end, "%s of %s is '%s'", column, part, cell);
    free(cell);
    return number;
}

static void check_told(const char *folder, const char *part, const char *column,
                       const char *holds) {
    char *cell = told(folder, part, column);
    ck_assert_ptr_nonnull(cell);
    ck_assert_msg(strstr(cell, holds) != NULL, "%s of %s is '%s', without '%s'", column, part, cell,
                  holds);
    free(cell);
}

static double peak_db(const Sound *sound) {
    double most = 0.0;
    for (size_t i = 0; i < samples(sound); i++)
        most = fmax(most, fabs((double)sound->audio[i]));
    return 20.0 * log10(most + 1e-12);
}

/* The audio of both is the same; what the files say of when they were made may differ. */
static void check_same_audio(const char *a, const char *b) {
    Sound sound = read_sound(b);
    check_same_bits(a, &sound);
    free(sound.audio);
}

/* Half-written files of safe.h, and what is only made on the way. */
static int leftovers(const char *folder) {
    int count = 0;
    char path[PATH_MAX];
    DIR *dir = opendir(folder);
    ck_assert_ptr_nonnull(dir);
    for (const struct dirent *entry; (entry = readdir(dir));) {
        struct stat status;
        snprintf(path, sizeof path, "%s/%s", folder, entry->d_name);
        if (strcmp(entry->d_name, ".") == 0 || strcmp(entry->d_name, "..") == 0)
            continue;
        if (stat(path, &status) == 0 && S_ISDIR(status.st_mode))
            count += leftovers(path);
        count += strstr(entry->d_name, ".part") || strstr(entry->d_name, ".new") ||
                 strstr(entry->d_name, "trial");
    }
    closedir(dir);
    return count;
}

/* ---- names and plans ---- */

static void empty_files(const char *const *name, size_t n) {
    char path[256];
    for (size_t i = 0; i < n; i++) {
        snprintf(path, sizeof path, "takes/%s", name[i]);
        write_text(path, "");
    }
}

/* What was printed, without its comments at the top, is this. */
static void check_plan(const char *plan) {
    const char *at = strstr(ran.out, "\n\n");
    ck_assert_msg(ran.status == 0, "%s", ran.err);
    ck_assert_ptr_nonnull(at);
    ck_assert_str_eq(at + 2, plan);
}

START_TEST(names_say_what_a_file_is) {
    static const char *const names[] = {
        "lead-take10.wav",      "lead-take2.flac",      "Lead_Take 1.wav",
        "lead-double.wav",      "lead-double-left.wav", "low.wav",
        "low double take1.wav", "low double take2.wav", "no.txt",
        "high-double.wav",      "mistake1.wav"};
    setup();
    empty_files(names, sizeof names / sizeof *names);
    run("finish takes --plan");
    check_plan("part Lead\n"
               "  take \"Lead_Take 1.wav\"\n"
               "  take lead-take2.flac\n"
               "  take lead-take10.wav\n"
               "part high-double\n"
               "  take high-double.wav\n"
               "  # there is no part high to follow; it keeps its own time\n"
               "part low\n"
               "  take low.wav\n"
               "part mistake1\n"
               "  take mistake1.wav\n"
               "part lead-double-left\n"
               "  follows Lead\n"
               "  take lead-double-left.wav\n"
               "part lead-double\n"
               "  follows Lead\n"
               "  take lead-double.wav\n"
               "part \"low double\"\n"
               "  follows low\n"
               "  take \"low double take1.wav\"\n"
               "  take \"low double take2.wav\"\n");
    ck_assert_int_eq(count_files("."), 1);
}
END_TEST

START_TEST(bare_names_will_do) {
    static const char *const names[] = {"take1.wav", "take2.wav", "double1.wav", "double2.wav"};
    setup();
    empty_files(names, sizeof names / sizeof *names);
    run("finish takes --plan");
    check_plan("part lead\n"
               "  take take1.wav\n"
               "  take take2.wav\n"
               "part double1\n"
               "  follows lead\n"
               "  take double1.wav\n"
               "part double2\n"
               "  follows lead\n"
               "  take double2.wav\n");
}
END_TEST

START_TEST(a_plan_says_the_same_again) {
    static const char *const names[] = {"a b-take1.wav", "a b-take2.wav", "a b-double #1.wav"};
    setup();
    empty_files(names, sizeof names / sizeof *names);
    free(noise_file("takes/reference.wav", 1, 0, 5).audio);
    ck_assert_ran("finish takes --plan");
    ck_assert_ptr_nonnull(strstr(ran.out, "\nreference reference.wav\n"));
    write_text("plan", ran.out);
    char *once = strdup(ran.out);
    ck_assert_ran("finish takes --plan --by plan");
    ck_assert_str_eq(ran.out, once);
    free(once);
}
END_TEST

START_TEST(a_plan_that_cannot_be_is_refused) {
    static const struct {
        const char *plan, *says;
    } bad[] = {
        {"# nothing\n", "plan names no part"},
        {"part a\ntake a.wav\npart a\ntake b.wav\n", "line 3|already"},
        {"part a\ntake a.wav\nfollows b\n", "a follows b|no part"},
        {"part a\ntake a.wav\nfollows a\n", "follows itself"},
        {"part a\ntake a.wav\npart b\ntake b.wav\nfollows a\npart c\ntake c.wav\nfollows b\n",
         "c follows b|itself follows a"},
        {"part a\n", "a has no take"},
        {"take a.wav\n", "line 1|part NAME"},
        {"part a b\n", "line 1|quotes"},
        {"part ../a\ntake a.wav\n", "line 1|no slash"},
        {"part a\nsing a.wav\n", "line 2|'sing'"},
    };
    setup();
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
        write_text("plan", bad[i].plan);
        check_refused("finish takes --into out --by plan", 2, bad[i].says);
        ck_assert(!exists("out"));
    }
}
END_TEST

START_TEST(what_cannot_be_used_is_named_before_any_work) {
    setup();
    check_refused("finish takes --into out", 1, "takes");
    write_text("takes/a.wav", "");
    check_refused("finish nowhere --into out", 1, "nowhere is no folder");
    check_refused("finish takes --into out --reference gone.wav", 1, "gone.wav");
    write_text("takes/reference.wav", "");
    check_refused("finish takes --into out", 1, "takes/reference.wav");
    unlink("takes/reference.wav");
    check_refused("finish takes", 2, "--into OUT");
    check_refused("finish takes --into out --loudness 3", 2, "loudness");
    ck_assert(!exists("out"));
    check_refused("finish takes --into takes", 1, "one folder");
}
END_TEST

START_TEST(two_folders_do_not_go_into_one) {
    setup();
    make_folder("others");
    write_text("takes/a.wav", "");
    write_text("others/a.wav", "");
    ck_assert_int_eq(run("finish takes --into out"), 1);
    check_refused("finish others --into out", 1, "made of takes|another folder");
    ck_assert_int_eq(run("finish ./takes/ --into out"), 1);
    ck_assert_ptr_nonnull(strstr(ran.out, "0 of 1 parts finished, 1 failed"));
}
END_TEST

/* More than comp takes; what follows them cannot be done, either. */
START_TEST(too_many_takes_are_a_failed_row) {
    char path[64];
    setup();
    for (int i = 1; i <= 33; i++) {
        snprintf(path, sizeof path, "takes/lead-take%d.wav", i);
        free(noise_file(path, 1, 4800, (uint64_t)i).audio);
    }
    free(noise_file("takes/lead-double.wav", 1, 4800, 99).audio);
    ck_assert_int_eq(run("finish takes --into out"), 1);
    check_told("out", "lead", "why", "33 takes; allowed are 32");
    check_told("out", "lead-double", "why", "lead: 33 takes");
}
END_TEST

/* ---- the work ---- */

/* Take 1 hums, and sings its second phrase 60 cents sharp; so the best of both is some of each. */
START_TEST(one_command_finishes_a_folder) {
    setup();
    sing("takes/lead-take1.wav", (Sung){0, 0.0, -200.0}, 60.0);
    sing("takes/lead-take2.wav", (Sung){3, 0.02, -38.0}, 0.0);
    sing("takes/lead-double.wav", (Sung){7, 0.08, -200.0}, 0.0);
    write_text("takes/torn.wav", "RIFF");
    run("finish takes --into out");
    ck_assert_msg(ran.status == 1, "%s%s", ran.out, ran.err);
    check_told("out", "torn", "result", "failed");
    check_told("out", "torn", "why", "torn.wav");
    check_told("out", "lead", "result", "finished");
    check_told("out", "lead", "phrases", "of take 2");
    ck_assert_double_lt(told_number("out", "lead-double", "tight_ms"), 8.0);
    ck_assert_double_gt(told_number("out", "lead-double", "apart_ms"), 12.0);
    Sound lead = read_sound("out/lead.wav"), twin = read_sound("out/lead-double.wav");
    ck_assert_int_eq(lead.info.frames, twin.info.frames);
    ck_assert_double_le(peak_db(&lead), -0.95);
    ck_assert_double_le(peak_db(&twin), -0.95);
    free(lead.audio), free(twin.audio);
    char *page = read_text("out/page.html");
    ck_assert_ptr_nonnull(strstr(page, "src=\"lead.wav\""));
    ck_assert_ptr_nonnull(strstr(page, "src=\"steps/lead/joined.wav\""));
    ck_assert_ptr_nonnull(strstr(page, "src=\"../takes/lead-double.wav\""));
    ck_assert_ptr_nonnull(strstr(page, "chains/lead.chain"));
    ck_assert_ptr_nonnull(strstr(page, "failed: "));
    free(page);
    ck_assert_int_eq(leftovers("out"), 0);
}
END_TEST

/* By the program's own meter, which its suite holds to EBU Tech 3341; of the files as they are. */
START_TEST(parts_have_the_loudness_that_is_asked_for) {
    sing_lead();
    ck_assert_ran("finish takes --into out --loudness -20 --peak -3 --bits 16");
    ck_assert_double_eq_tol(told_number("out", "lead", "lufs"), -20.0, 0.05);
    ck_assert_ran("measure --json out/lead.wav");
    const char *at = strstr(ran.out, "\"integrated_lufs\": ");
    ck_assert_msg(at != NULL, "%s", ran.out);
    ck_assert_double_eq_tol(strtod(at + strlen("\"integrated_lufs\": "), NULL), -20.0, 0.1);
    Sound sound = read_sound("out/lead.wav");
    ck_assert_int_eq(sound.info.format & SF_FORMAT_SUBMASK, SF_FORMAT_PCM_16);
    ck_assert_double_le(peak_db(&sound), -2.95);
    free(sound.audio);
}
END_TEST

/* A voice whose highs are 8 dB down asks for those of another. */
START_TEST(parts_get_the_colour_of_the_reference) {
    setup();
    sing("takes/lead.wav", (Sung){0, 0.0, -200.0}, 0.0);
    ck_assert_ran("render takes/lead.wav dull.wav band-colour level_3=-6 level_4=-8");
    ck_assert_ran("finish takes --into out --reference dull.wav --quiet");
    ck_assert_str_eq(ran.out, "");
    ck_assert_double_gt(told_number("out", "lead", "colour_off_db"), 3.0);
    ck_assert_double_lt(told_number("out", "lead", "coloured_off_db"), 1.5);
    char *chain = read_text("out/chains/lead.chain");
    ck_assert_ptr_nonnull(strstr(chain, "band-colour"));
    free(chain);
}
END_TEST

/* 6 dB at most; the rest stays, and is told. */
START_TEST(a_reference_of_another_kind_is_met_half_way) {
    sing_lead();
    ck_assert_ran("render takes/lead.wav dark.wav band-colour level_4=-12 band-colour level_4=-12");
    ck_assert_ran("finish takes --into out --reference dark.wav");
    char *chain = read_text("out/chains/lead.chain");
    ck_assert_ptr_nonnull(strstr(chain, " level_4=-6\n"));
    ck_assert_double_gt(told_number("out", "lead", "coloured_off_db"), 1.5);
    free(chain);
}
END_TEST

/* ---- going on ---- */

START_TEST(what_is_done_is_not_done_again) {
    sing_lead();
    ck_assert_ran("finish takes --into out");
    struct stat before, after;
    ck_assert_int_eq(stat("out/lead.wav", &before), 0);
    ck_assert_ran("finish takes --into out");
    ck_assert_int_eq(stat("out/lead.wav", &after), 0);
    ck_assert_uint_eq(before.st_ino, after.st_ino);
    ck_assert_ptr_nonnull(strstr(ran.out, "as it was"));
    /* Another loudness is another result. */
    ck_assert_ran("finish takes --into out --loudness -19");
    ck_assert_ptr_null(strstr(ran.out, "as it was"));
    ck_assert_double_eq_tol(told_number("out", "lead", "lufs"), -19.0, 0.05);
}
END_TEST

START_TEST(an_edited_chain_is_kept_and_obeyed) {
    sing_lead();
    ck_assert_ran("finish takes --into out");
    write_text("out/chains/lead.chain", "bus lead\n  fader -3\n");
    ck_assert_ran("finish takes --into out");
    check_told("out", "lead", "edited", "chain");
    char *chain = read_text("out/chains/lead.chain");
    ck_assert_str_eq(chain, "bus lead\n  fader -3\n");
    free(chain);
    Sound take = read_sound("takes/lead.wav"), lead = read_sound("out/lead.wav");
    double gain = (double)lead.audio[RATE_HZ] / (double)take.audio[RATE_HZ];
    for (size_t i = 0; i < samples(&take); i++) /* 24 bits */
        ck_assert_double_eq_tol((double)lead.audio[i], gain * (double)take.audio[i], 1e-4);
    free(take.audio), free(lead.audio);
    /* Thrown away, it is advised anew. */
    unlink("out/chains/lead.chain");
    ck_assert_ran("finish takes --into out");
    check_told("out", "lead", "edited", "");
    chain = read_text("out/chains/lead.chain");
    ck_assert_ptr_nonnull(strstr(chain, "peak-ceiling"));
    free(chain);
}
END_TEST

START_TEST(an_edited_list_is_kept_and_obeyed) {
    setup();
    sing("takes/lead-take1.wav", (Sung){0, 0.0, -200.0}, 0.0);
    sing("takes/lead-take2.wav", (Sung){0, 0.0, -38.0}, 0.0);
    ck_assert_ran("finish takes --into out");
    check_told("out", "lead", "phrases", "0 of take 2");
    write_text("out/lists/lead.list", "0 100 2\n");
    ck_assert_ran("finish takes --into out");
    check_told("out", "lead", "phrases", "0 of take 1, 1 of take 2");
    check_told("out", "lead", "edited", "list");
    check_same_audio("out/steps/lead/joined.wav", "takes/lead-take2.wav");
}
END_TEST

START_TEST(nothing_is_written_over_that_it_did_not_make) {
    sing_pair();
    make_folder("out");
    write_text("out/lead.wav", "mine");
    run("finish takes --into out");
    ck_assert_int_eq(ran.status, 1);
    check_told("out", "lead", "why", "out/lead.wav was not made by siskin finish");
    check_told("out", "lead-double", "result", "finished");
    char *text = read_text("out/lead.wav");
    ck_assert_str_eq(text, "mine");
    free(text);
    unlink("out/lead.wav");
    write_text("out/lead-double.wav", "mine");
    ck_assert_int_eq(run("finish takes --into out"), 1);
    check_told("out", "lead", "result", "finished");
    check_told("out", "lead-double", "why", "was changed since");
    write_text("out/page.html", "mine");
    check_refused("finish takes --into out", 1, "out/page.html|changed");
    unlink("out/page.html");
    unlink("out/lead-double.wav");
    ck_assert_ran("finish takes --into out");
}
END_TEST

/* ---- together, and killed ---- */

/* Pipes would fill or stay open behind children: all that is said goes nowhere. */
static pid_t start_quietly(const char *line) {
    int nowhere = open("/dev/null", O_WRONLY | O_CLOEXEC);
    ck_assert_int_ge(nowhere, 0);
    pid_t process = start_program(line, nowhere, nowhere, 0);
    close(nowhere);
    return process;
}

static void check_as_by_one(const char *folder) {
    static const char *const names[] = {"lead.wav", "lead-double.wav",
                                        "steps/lead-double/in-time.wav"};
    char here[128], there[128];
    for (size_t i = 0; i < 3; i++) {
        snprintf(here, sizeof here, "%s/%s", folder, names[i]);
        snprintf(there, sizeof there, "one/%s", names[i]);
        check_same_audio(here, there);
    }
    snprintf(here, sizeof here, "%s/table.csv", folder);
    ck_assert_msg(same_files(here, "one/table.csv"), "%s", here);
}

START_TEST(workers_and_runs_at_once_change_nothing) {
    sing_pair();
    ck_assert_ran("finish takes --into one --jobs 1");
    ck_assert_ran("finish takes --into two --jobs 2");
    check_as_by_one("two");
    pid_t a = start_quietly("finish takes --into both --jobs 1");
    pid_t b = start_quietly("finish takes --into both --jobs 2");
    ck_assert_int_eq(finish_program(a), 0);
    ck_assert_int_eq(finish_program(b), 0);
    check_as_by_one("both");
    ck_assert_int_eq(leftovers("both"), 0);
}
END_TEST

/* At moments drawn from the time that a whole run takes, so that some fall into each step. */
START_TEST(a_killed_run_goes_on) {
    Random random = random_seeded(19);
    struct timespec begin, end;
    sing_pair();
    clock_gettime(CLOCK_MONOTONIC, &begin);
    ck_assert_ran("finish takes --into one");
    clock_gettime(CLOCK_MONOTONIC, &end);
    double whole_s =
        (double)(end.tv_sec - begin.tv_sec) + 1e-9 * (double)(end.tv_nsec - begin.tv_nsec);
    for (int i = 0; i < 6; i++) {
        double wait_s = random_range(&random, 0.0, whole_s);
        pid_t process = start_quietly("finish takes --into killed");
        nanosleep(&(const struct timespec){(time_t)wait_s, (long)(1e9 * fmod(wait_s, 1.0))}, NULL);
        kill(process, SIGKILL);
        finish_program(process);
    }
    ck_assert_ran("finish takes --into killed");
    check_as_by_one("killed");
    ck_assert_int_eq(leftovers("killed"), 0);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("finish");
    tcase_add_test(tcase, names_say_what_a_file_is);
    tcase_add_test(tcase, bare_names_will_do);
    tcase_add_test(tcase, a_plan_says_the_same_again);
    tcase_add_test(tcase, a_plan_that_cannot_be_is_refused);
    tcase_add_test(tcase, what_cannot_be_used_is_named_before_any_work);
    tcase_add_test(tcase, two_folders_do_not_go_into_one);
    tcase_add_test(tcase, too_many_takes_are_a_failed_row);
    tcase_add_test(tcase, one_command_finishes_a_folder);
    tcase_add_test(tcase, parts_have_the_loudness_that_is_asked_for);
    tcase_add_test(tcase, parts_get_the_colour_of_the_reference);
    tcase_add_test(tcase, a_reference_of_another_kind_is_met_half_way);
    tcase_add_test(tcase, what_is_done_is_not_done_again);
    tcase_add_test(tcase, an_edited_chain_is_kept_and_obeyed);
    tcase_add_test(tcase, an_edited_list_is_kept_and_obeyed);
    tcase_add_test(tcase, nothing_is_written_over_that_it_did_not_make);
    tcase_add_test(tcase, workers_and_runs_at_once_change_nothing);
    tcase_add_test(tcase, a_killed_run_goes_on);
    return run_suite(tcase, "siskin finish");
}
