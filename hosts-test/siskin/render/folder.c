/* SPDX-License-Identifier: ISC */
#include "siskin/render/folder.h"

#include "siskin/chains/order.h"
#include "siskin/chains/settings.h"
#include "siskin/command.h"
#include "siskin/files.h"
#include "siskin/pool.h"
#include "siskin/render/origin.h"
#include "siskin/render/report.h"
#include "siskin/render/stamp.h"
#include "siskin/render/summary.h"
#include "siskin/text.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

typedef enum { WAITS, RENDERED, SKIPPED, FAILED } State;

static const char *const states[] = {"waits", "rendered", "skipped", "failed"};

/* A take of the folder. */
typedef struct {
    const char *name;
    TakeJob job;
    Chain *chain; /* of its own, or NULL */
    State state;
    char *why;  /* it failed; or NULL */
    char *cuts; /* what its processors have cut at most; or NULL */
    double length_s, rate_hz, peak, seconds;
    unsigned channels;
} Row;

/* A file that is read or written, and by whom. */
typedef struct {
    uint64_t key;
    const Row *row;
    bool read;
} Used;

typedef struct {
    const FolderJob *folder;
    Host *host;
    FilesList takes;
    Row *rows; /* one for each take */
    Used *used;
    size_t n_used;
    TakeJob *jobs;  /* of those to be rendered */
    size_t *row_of; /* [n_jobs] */
    size_t n_jobs;
    size_t count[FAILED + 1];
    Json json; /* when that is wanted */
    Progress progress;
} Folder;

char *folder_feed(const char *feed, const char *name) {
    return files_is_folder(feed) ? text_print("%s/%s", feed, name) : text_copy(feed);
}

/* ---- what is to be done ---- */

static bool own_chain(const Folder *all, Row *row, HostError *error) {
    const FolderJob *folder = all->folder;
    if (!folder->chains)
        return true;
    char *path = files_renamed(folder->chains, row->name, ".chain");
    row->chain = access(path, F_OK) == 0 ? order_chain(path, folder->n_feeds, folder->feeds, error)
                                         : (host_fail(error, "there is no %s for it", path), NULL);
    free(path);
    row->job.chain = row->chain;
    return row->chain && settings_read(all->host, row->chain, error);
}

static bool make_job(const Folder *all, Row *row, HostError *error) {
    const FolderJob *folder = all->folder;
    TakeJob *job = &row->job;
    *job = *folder->like;
    job->take = text_print("%s/%s", folder->takes, row->name);
    job->out = files_renamed(folder->outs, row->name, audio_extension(job->format.container));
    job->trace = folder->traces ? files_renamed(folder->traces, row->name, ".csv") : NULL;
    if (!own_chain(all, row, error))
        return false;
    for (size_t i = 0; i < job->chain->n_busses; i++)
        job->feed[i] =
            job->chain->busses[i].file ? folder_feed(job->chain->busses[i].file, row->name) : NULL;
    return files_make_way(folder->outs, row->name, error) &&
           (!folder->traces || files_make_way(folder->traces, row->name, error));
}

static void free_row(Row *row) {
    TakeJob *job = &row->job;
    for (size_t i = 0; job->chain && i < job->chain->n_busses; i++)
        free((char *)job->feed[i]);
    free((char *)job->take);
    free((char *)job->out);
    free((char *)job->trace);
    free(row->why);
    free(row->cuts);
    chain_free(row->chain);
}

/* ---- rows ---- */

static void end_row(Folder *all, Row *row, State state, const char *why) {
    row->state = state;
    row->why = why ? text_copy(why) : NULL;
    all->count[state]++;
    if (all->folder->json && state != RENDERED)
        report_json_other(&all->json, row->job.take, states[state], why);
    else if (all->folder->json)
        return;
    else if (state == FAILED)
        report_row_failed(row->name, why);
    else if (state == SKIPPED && !all->folder->quiet)
        report_row_skipped(row->name);
}

static void finish_row(void *user, size_t number, const TakeReport *report) {
    Folder *all = user;
    Row *row = &all->rows[all->row_of[number]];
    progress_clear(&all->progress);
    row->length_s = report->length_s;
    row->rate_hz = report->rate_hz;
    row->channels = report->channels;
    row->peak = report->peak;
    row->seconds = report->seconds;
    row->cuts = report_cuts(report);
    end_row(all, row, report->done ? RENDERED : FAILED, report->done ? NULL : report->error.text);
    if (report->done && all->folder->json)
        report_json(&all->json, &row->job, report);
    else if (report->done && !all->folder->quiet)
        report_row_done(row->name, report);
    command_flush();
    report_note_lines(report->notes);
}

static void show(void *user, double done, size_t jobs_done, size_t jobs_running) {
    Folder *all = user;
    char what[96];
    snprintf(what, sizeof what, "%zu of %zu takes done, %zu under work", jobs_done, all->n_jobs,
             jobs_running);
    progress_show(&all->progress, what, done);
}

/* ---- files that meet ---- */

static void use(Folder *all, const char *path, const Row *row, bool read) {
    if (path)
        *(Used *)text_grow(&all->used, &all->n_used, sizeof *all->used) =
            (Used){files_key(path), row, read};
}

static const Used *find_used(const Folder *all, const char *path) {
    uint64_t key = files_key(path);
    for (size_t i = 0; i < all->n_used; i++)
        if (all->used[i].key == key)
            return &all->used[i];
    return NULL;
}

static void use_inputs(Folder *all) {
    for (size_t i = 0; i < all->takes.n; i++) {
        const TakeJob *job = &all->rows[i].job;
        use(all, job->take, &all->rows[i], true);
        use(all, job->chain ? job->chain->path : NULL, &all->rows[i], true);
        for (size_t b = 0; job->chain && b < job->chain->n_busses; b++)
            use(all, job->feed[b], &all->rows[i], true);
    }
}

/* A take that would write over what is read, or over what another take writes, is not rendered:
 * whether that other is rendered this time or was before. */
static bool meets(Folder *all, const Row *row, HostError *error) {
    char *path[TAKE_MAX_OUTPUTS];
    size_t count = take_outputs(&row->job, path);
    const Used *used = NULL;
    for (size_t i = 0; i < count && !used; i++) {
        used = find_used(all, path[i]);
        if (used && used->read)
            host_fail(error, "%s would be written over what is read for %s", path[i],
                      used->row->name);
        else if (used)
            host_fail(error, "%s is the output of another take, %s", path[i], used->row->name);
    }
    for (size_t i = 0; i < count; i++) {
        if (!used)
            use(all, path[i], row, false);
        free(path[i]);
    }
    return used != NULL;
}

/* ---- which takes ---- */

/* Outputs only ever get their names when they are complete. The mix tells what it was made of; the
 * others were made with it. */
static bool is_done(const TakeJob *job) {
    char *path[TAKE_MAX_OUTPUTS];
    char stamp[TAKE_STAMP];
    stamp_job(job, stamp);
    bool done = origin_is(job->out, stamp);
    size_t count = take_outputs(job, path);
    for (size_t i = 0; i < count; i++) {
        done = done && access(path[i], F_OK) == 0;
        free(path[i]);
    }
    return done;
}

static void add_job(Folder *all, size_t number) {
    size_t count = all->n_jobs;
    *(TakeJob *)text_grow(&all->jobs, &count, sizeof *all->jobs) = all->rows[number].job;
    *(size_t *)text_grow(&all->row_of, &all->n_jobs, sizeof *all->row_of) = number;
}

static void choose_jobs(Folder *all) {
    HostError why;
    all->rows = text_take(all->takes.n, sizeof *all->rows);
    for (size_t i = 0; i < all->takes.n; i++) {
        all->rows[i].name = all->takes.name[i];
        if (!make_job(all, &all->rows[i], &why))
            end_row(all, &all->rows[i], FAILED, why.text);
    }
    use_inputs(all);
    for (size_t i = 0; i < all->takes.n; i++) {
        Row *row = &all->rows[i];
        if (row->state == FAILED)
            continue;
        if (meets(all, row, &why))
            end_row(all, row, FAILED, why.text);
        else if (all->folder->skip_done && is_done(&row->job))
            end_row(all, row, SKIPPED, NULL);
        else
            add_job(all, i);
    }
}

/* ---- the summary ---- */

static SummaryRow row_told(const Row *row) {
    return (SummaryRow){.name = row->name,
                        .take = row->job.take,
                        .out = row->job.out,
                        .result = states[row->state],
                        .why = row->why,
                        .rendered = row->state == RENDERED,
                        .length_s = row->length_s,
                        .rate_hz = row->rate_hz,
                        .peak = row->peak,
                        .seconds = row->seconds,
                        .channels = row->channels,
                        .cuts = row->cuts};
}

static bool write_summaries(const Folder *all, HostError *error) {
    const FolderJob *folder = all->folder;
    SummaryRow *rows = text_take(all->takes.n, sizeof *rows);
    for (size_t i = 0; i < all->takes.n; i++)
        rows[i] = row_told(&all->rows[i]);
    bool fine =
        (!folder->summary || summary_write_csv(folder->summary, rows, all->takes.n, error)) &&
        (!folder->page ||
         summary_write_page(folder->page, folder->takes, rows, all->takes.n, error));
    free(rows);
    return fine;
}

/* No summary is written over what is read or rendered, or over the other. */
static bool check_summaries(const Folder *all, HostError *error) {
    const char *const paths[] = {all->folder->summary, all->folder->page};
    for (size_t i = 0; i < 2; i++)
        if (paths[i] && find_used(all, paths[i]))
            return host_fail(error, "%s is a take or an output; give the summary another name",
                             paths[i]);
    return !paths[0] || !paths[1] || files_key(paths[0]) != files_key(paths[1]) ||
           host_fail(error, "%s would be written twice", paths[0]);
}

/* ---- the folder ---- */

static bool check_folders(Folder *all, HostError *error) {
    const FolderJob *folder = all->folder;
    if (!files_list(&all->takes, folder->takes, folder->deep, folder->outs, error) ||
        !files_make_folder(folder->outs, error) ||
        (folder->traces && !files_make_folder(folder->traces, error)))
        return false;
    if (safe_same_file(folder->takes, folder->outs))
        return host_fail(error, "%s and %s are one folder; takes are never written over",
                         folder->takes, folder->outs);
    return true;
}

static bool run(Folder *all, HostError *error) {
    const PoolWatcher watcher = {finish_row, show, all};
    if (!check_folders(all, error))
        return false;
    if (all->folder->json) {
        all->json = json_begin(stdout);
        json_open(&all->json, NULL, '{', false);
        json_open(&all->json, "takes", '[', false);
    }
    choose_jobs(all);
    if (!check_summaries(all, error))
        return false;
    command_flush();
    all->progress = progress_begin(all->folder->quiet);
    bool fine = all->n_jobs == 0 ||
                pool_run(all->host, all->jobs, all->n_jobs, all->folder->parallel, &watcher, error);
    progress_clear(&all->progress);
    return fine && write_summaries(all, error);
}

bool folder_render(Host *host, const FolderJob *folder, size_t *failed, HostError *error) {
    Folder all = {.folder = folder, .host = host};
    bool fine = run(&all, error);
    if (all.json.depth) {
        json_close(&all.json, ']');
        json_close(&all.json, '}');
    } else if (fine && !folder->quiet)
        printf("%zu takes: %zu rendered, %zu skipped, %zu failed\n", all.takes.n,
               all.count[RENDERED], all.count[SKIPPED], all.count[FAILED]);
    *failed = all.count[FAILED];
    for (size_t i = 0; all.rows && i < all.takes.n; i++)
        free_row(&all.rows[i]);
    free(all.rows);
    free(all.used);
    free(all.jobs);
    free(all.row_of);
    files_free(&all.takes);
    return fine;
}
