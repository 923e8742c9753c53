/* SPDX-License-Identifier: ISC */
/* siskin finish: from a folder of raw takes to a folder of finished parts. */
#include "siskin/command.h"
#include "siskin/finish/made.h"
#include "siskin/finish/table.h"
#include "siskin/finish/workers.h"
#include "siskin/options.h"
#include "siskin/place.h"
#include "siskin/render/report.h"
#include "siskin/safe.h"
#include "siskin/text.h"
#include "siskin/text_file.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>

enum { MOST_JOBS = 256 };
enum {
    OF_PART = 10
}; /* exit statuses of a worker: this and a PartEnd; others are no end of ours */

typedef struct {
    const char *into, *by, *reference, *loudness, *peak, *tightness, *bits, *jobs, *bundles;
    bool plan, quiet, help;
} Words;

typedef struct {
    const Words *words;
    PartJob job;
    Session session;
    Host *host;
    unsigned parallel;
    Progress progress;
    size_t failed;
} Run;

static void print_help(const Option *options, size_t count) {
    puts(
        "siskin finish FOLDER --into OUT\n"
        "siskin finish FOLDER --plan > PLAN\n"
        "siskin finish FOLDER --into OUT --by PLAN\n"
        "\n"
        "From a folder of raw takes to one of finished parts: the best phrases of several takes "
        "are\n"
        "joined, doubles brought into time with their lead, and each part is measured, rendered "
        "by\n"
        "the chain that it needs, compressed, given the colour of a reference, and brought to a\n"
        "loudness and a true peak. Takes are never changed.\n"
        "\n"
        "What a file is, its name says; letters may be large or small, - may be _ or a space:\n"
        "  NAME              a part of one take\n"
        "  NAME-take1 ...    takes of one part: the best phrases are joined (take1: of 'lead')\n"
        "  NAME-double...    keeps time with the part NAME (double...: with the only other one)\n"
        "  reference         gives its colour to all\n"
        "--plan prints what is made of the names and does nothing else; change it, and give it to\n"
        "--by.\n");
    options_print(options, count);
    puts(
        "\n"
        "OUT/NAME.wav           a finished part\n"
        "OUT/page.html          all parts: what was done and is left, players\n"
        "OUT/table.csv          the same as a table\n"
        "OUT/chains, OUT/lists  what was done, to edit: what you change there is kept and obeyed\n"
        "OUT/steps              what a run that goes on needs\n"
        "\n"
        "Run it again to go on where it stopped, or after a change: only what hangs on it is made\n"
        "anew. The same command may run on several machines over one shared folder. Nothing is\n"
        "written over that it did not make.\n"
        "\n"
        "Exit status: 0 done, 1 at least one part failed, 2 the command line or the plan is "
        "wrong.");
}

/* ---- what is asked for ---- */

static bool read_options(Run *run, HostError *error) {
    const Words *words = run->words;
    PartJob *job = &run->job;
    double jobs = (double)sysconf(_SC_NPROCESSORS_ONLN), percent = 100.0;
    job->bits = AUDIO_BITS_24;
    job->aim = (FinishAim){true, true, PART_LUFS, FINISH_PEAK_DB};
    bool fine =
        options_number(words->loudness, "loudness", -60.0, 0.0, &job->aim.loudness_lufs, error) &&
        options_number(words->peak, "peak", -20.0, 0.0, &job->aim.peak_db, error) &&
        options_number(words->tightness, "tightness", 0.0, 100.0, &percent, error) &&
        options_number(words->jobs, "jobs", 1.0, MOST_JOBS, &jobs, error) &&
        audio_bits_option(words->bits, &job->bits, error);
    job->tightness = percent / 100.0;
    run->parallel = jobs < 1.0 ? 1 : (unsigned)jobs;
    return fine;
}

static bool find_session(Run *run, const char *folder, HostError *error) {
    FilesList list = {0};
    if (!files_is_folder(folder))
        return host_fail(error, "%s is no folder", folder);
    if (run->words->by)
        return session_read(&run->session, run->words->by, error);
    bool fine = files_list(&list, folder, false, NULL, error);
    if (fine)
        session_sort(&run->session, &list);
    files_free(&list);
    if (fine && run->session.n == 0)
        fine = host_fail(error, "%s holds no take but a reference", folder);
    return fine;
}

/* The option goes before the plan. It is read here once, so that all do not fail for it one by
 * one. */
static bool find_reference(Run *run, HostError *error) {
    Session *session = &run->session;
    if (run->words->reference) {
        char *path = realpath(run->words->reference, NULL);
        if (!path)
            return host_fail(error, "--reference %s: %s", run->words->reference, strerror(errno));
        free(session->reference);
        session->reference = path;
    }
    if (!session->reference)
        return true;
    AudioReader reader;
    char *path = part_input(&run->job, session->reference);
    bool fine = audio_open(&reader, path, error);
    audio_close(&reader);
    free(path);
    return fine;
}

/* ---- the work ---- */

static int work(void *user, size_t part) {
    const Run *run = user;
    PartEnd end = part_finish(run->host, &run->job, part);
    return end == PART_BUSY ? WORKERS_AGAIN : OF_PART + (int)end;
}

static void note_crash(const Run *run, size_t part, int status) {
    HostError error;
    char *path = part_row(&run->job, part);
    Row row = row_read(path);
    char *why = WIFSIGNALED(status)
                    ? text_print("the program crashed at it (%s)", strsignal(WTERMSIG(status)))
                    : text_print("its process ended with status %d", WEXITSTATUS(status));
    row_set(&row, ROW_RESULT, "failed");
    row_set(&row, ROW_WHY, why);
    if (!row_write(path, &row, &error))
        command_fail("finish", STATUS_FAILED, &error);
    free(why);
    row_free(&row);
    free(path);
}

static void end_part(void *user, size_t part, int status) {
    Run *run = user;
    int end = WIFEXITED(status) ? WEXITSTATUS(status) - OF_PART : -1;
    bool failed = end != PART_FINISHED && end != PART_AS_IT_WAS;
    if (failed && end != PART_FAILED)
        note_crash(run, part, status);
    char *path = part_row(&run->job, part);
    Row row = row_read(path);
    progress_clear(&run->progress);
    run->failed += failed;
    if (failed && !row_failed(&row)) { /* the worker has said why */
        row_set(&row, ROW_RESULT, "failed");
        row_set(&row, ROW_WHY, "its files in steps cannot be written");
    }
    if (failed || !run->words->quiet)
        table_print_row(&run->session.parts[part], &row, end == PART_AS_IT_WAS);
    command_flush();
    row_free(&row);
    free(path);
}

static void show(void *user, size_t done, size_t running) {
    Run *run = user;
    char what[96];
    snprintf(what, sizeof what, "%zu of %zu parts done, %zu under work", done, run->session.n,
             running);
    progress_show(&run->progress, what, (double)done / (double)run->session.n);
}

static bool write_tables(const Run *run, HostError *error) {
    Row *rows = text_take(run->session.n, sizeof *rows);
    for (size_t i = 0; i < run->session.n; i++) {
        char *path = part_row(&run->job, i);
        rows[i] = row_read(path);
        free(path);
    }
    bool fine = table_write(&run->job, rows, error);
    for (size_t i = 0; i < run->session.n; i++)
        row_free(&rows[i]);
    free(rows);
    return fine;
}

/* Two folders into one would write over each other's parts of one name. They are told apart by
 * their last name, since machines may see a folder by other ways. */
static bool is_of_folder(const PartJob *job, HostError *error) {
    char *path = text_print("%s/" MADE_STEPS "/folder", job->out);
    char *real = realpath(job->folder, NULL);
    char *name = text_print("%s\n", text_base(real ? real : job->folder));
    char *before = NULL;
    size_t size = 0;
    bool fine = true;
    if (access(path, F_OK) != 0)
        fine = safe_put_text(path, name, error);
    else if ((fine = text_file_read(path, "the folder's name", &before, &size, error)) &&
             strcmp(before, name) != 0)
        fine = host_fail(error, "%s holds what was made of %.*s; name another folder, or delete %s",
                         job->out, (int)strcspn(before, "\n"), before, path);
    free(before);
    free(name);
    free(real);
    free(path);
    return fine;
}

/* What would fail in the end fails ahead of the work. */
static bool open_out(const Run *run, HostError *error) {
    const PartJob *job = &run->job;
    return files_make_folder(job->out, error) &&
           (!safe_same_file(job->folder, job->out) ||
            host_fail(error, "%s and %s are one folder; takes are never written over", job->folder,
                      job->out)) &&
           files_make_way(job->out, MADE_RECORDS "/", error) && is_of_folder(job, error) &&
           made_may_write(job->out, TABLE_NAME, error) &&
           made_may_write(job->out, TABLE_PAGE, error);
}

static bool finish_all(Run *run, HostError *error) {
    const Workers workers = {run->session.n, run->parallel, work, end_part, show, run};
    if (!open_out(run, error))
        return false;
    run->progress = progress_begin(run->words->quiet);
    bool fine = workers_run(&workers, error);
    progress_clear(&run->progress);
    safe_catch_signals();
    fine = fine && write_tables(run, error);
    if (fine && !run->words->quiet)
        printf("%zu of %zu parts finished, %zu failed: %s/" TABLE_PAGE "\n",
               run->session.n - run->failed, run->session.n, run->failed, run->job.out);
    return fine;
}

/* ---- the command ---- */

static int run_finish(Run *run) {
    HostError error;
    run->host = place_open_host(run->words->bundles, &error);
    bool fine = run->host && finish_all(run, &error);
    host_close(run->host);
    if (!fine)
        return command_fail("finish", STATUS_FAILED, &error);
    return run->failed ? STATUS_FAILED : STATUS_OK;
}

static int finish(const Words *words, char **argv) {
    HostError error;
    int status = STATUS_OK;
    Run run = {.words = words};
    run.job = (PartJob){.folder = files_trim(argv[0]),
                        .out = files_trim((char *)words->into),
                        .session = &run.session};
    if (!read_options(&run, &error))
        status = command_fail("finish", STATUS_USAGE, &error);
    else if (!find_session(&run, argv[0], &error))
        status = command_fail("finish", words->by ? STATUS_USAGE : STATUS_FAILED, &error);
    else if (!find_reference(&run, &error))
        status = command_fail("finish", STATUS_FAILED, &error);
    else if (words->plan)
        session_print(stdout, &run.session, argv[0]);
    else
        status = run_finish(&run);
    session_free(&run.session);
    return status;
}

int command_finish(int argc, char **argv) {
    HostError error;
    Words words = {0};
    const Option options[] = {
        {"into", "OUT", "the folder of what is finished; it is made if it is not there",
         &words.into, NULL},
        {"plan", NULL, "print what is made of the names, and do nothing", NULL, &words.plan},
        {"by", "PLAN", "do what this plan says instead", &words.by, NULL},
        {"reference", "FILE", "a finished voice, whose colour all get", &words.reference, NULL},
        {"loudness", "LUFS", "the integrated loudness of each part (-18)", &words.loudness, NULL},
        {"peak", "DBTP", "the most that its true peak may be (-1)", &words.peak, NULL},
        {"tightness", "PERCENT", "how far doubles go towards their lead, 0 to 100 (100)",
         &words.tightness, NULL},
        {"bits", "DEPTH", "float, 24 or 16 (24)", &words.bits, NULL},
        {"jobs", "N", "parts at a time (as many as there are cores)", &words.jobs, NULL},
        {"bundles", "DIR", PLACE_BUNDLES_HELP, &words.bundles, NULL},
        {"quiet", NULL, "print nothing but failures and notes", NULL, &words.quiet},
        {"help", NULL, "this", NULL, &words.help},
    };
    const size_t n_options = sizeof options / sizeof *options;
    if (!options_take(options, n_options, &argc, argv, &error))
        return command_fail("finish", STATUS_USAGE, &error);
    if (words.help) {
        print_help(options, n_options);
        return STATUS_OK;
    }
    if (argc != 1 || (!words.into && !words.plan)) {
        host_fail(&error, "name one FOLDER, and --into OUT; siskin finish --help tells more");
        return command_fail("finish", STATUS_USAGE, &error);
    }
    return finish(&words, argv);
}
