/* SPDX-License-Identifier: ISC */
#include "siskin/render/folder.h"

#include "siskin/command.h"
#include "siskin/files.h"
#include "siskin/pool.h"
#include "siskin/render/origin.h"
#include "siskin/render/report.h"
#include "siskin/render/stamp.h"
#include "siskin/text.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

typedef struct {
    const FolderJob *folder;
    FilesList takes;
    TakeJob *jobs; /* those to be rendered */
    size_t n_jobs;
    size_t rendered, failed, skipped;
    Progress progress;
} Folder;

char *folder_feed(const char *feed, const char *take) {
    return files_is_folder(feed) ? text_print("%s/%s", feed, text_base(take)) : text_copy(feed);
}

static TakeJob make_job(const FolderJob *folder, const char *name) {
    TakeJob job = *folder->like;
    job.take = text_print("%s/%s", folder->takes, name);
    job.out = files_renamed(folder->outs, name, audio_extension(job.format.container));
    job.trace = folder->traces ? files_renamed(folder->traces, name, ".csv") : NULL;
    for (size_t i = 0; i < job.chain->n_busses; i++)
        job.feed[i] =
            job.chain->busses[i].file ? folder_feed(job.chain->busses[i].file, job.take) : NULL;
    return job;
}

static void free_job(TakeJob *job) {
    free((char *)job->take);
    free((char *)job->out);
    free((char *)job->trace);
    for (size_t i = 0; i < job->chain->n_busses; i++)
        free((char *)job->feed[i]);
}

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

/* Two takes that differ in their extension alone would be written to one file. */
static bool is_taken(const Folder *all, const char *out) {
    for (size_t i = 0; i < all->n_jobs; i++)
        if (strcmp(all->jobs[i].out, out) == 0)
            return true;
    return false;
}

static void choose_jobs(Folder *all) {
    for (size_t i = 0; i < all->takes.n; i++) {
        TakeJob job = make_job(all->folder, all->takes.name[i]);
        if (is_taken(all, job.out)) {
            char *why = text_print("%s is the output of another take", job.out);
            report_row_failed(all->takes.name[i], why);
            all->failed++;
            free(why);
        } else if (all->folder->skip_done && is_done(&job)) {
            if (!all->folder->quiet)
                report_row_skipped(all->takes.name[i]);
            all->skipped++;
        } else {
            *(TakeJob *)text_grow(&all->jobs, &all->n_jobs, sizeof job) = job;
            continue;
        }
        free_job(&job);
    }
}

static void row(void *user, size_t number, const TakeReport *report) {
    Folder *all = user;
    const TakeJob *job = &all->jobs[number];
    progress_clear(&all->progress);
    if (!report->done) {
        all->failed++;
        report_row_failed(text_base(job->take), report->error.text);
    } else {
        all->rendered++;
        if (!all->folder->quiet)
            report_row_done(text_base(job->take), report);
    }
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

static bool run(Host *host, Folder *all, HostError *error) {
    const FolderJob *folder = all->folder;
    const PoolWatcher watcher = {row, show, all};
    if (!files_list(&all->takes, folder->takes, false, NULL, error) ||
        !files_make_folder(folder->outs, error) ||
        (folder->traces && !files_make_folder(folder->traces, error)))
        return false;
    if (safe_same_file(folder->takes, folder->outs))
        return host_fail(error, "%s and %s are one folder; takes are never written over",
                         folder->takes, folder->outs);
    choose_jobs(all);
    command_flush();
    all->progress = progress_begin(folder->quiet);
    bool fine = all->n_jobs == 0 ||
                pool_run(host, all->jobs, all->n_jobs, folder->parallel, &watcher, error);
    progress_clear(&all->progress);
    return fine;
}

bool folder_render(Host *host, const FolderJob *folder, size_t *failed, HostError *error) {
    Folder all = {.folder = folder};
    bool fine = run(host, &all, error);
    if (fine && !folder->quiet)
        printf("%zu takes: %zu rendered, %zu skipped, %zu failed\n", all.takes.n, all.rendered,
               all.skipped, all.failed);
    *failed = all.failed;
    for (size_t i = 0; i < all.n_jobs; i++)
        free_job(&all.jobs[i]);
    free(all.jobs);
    files_free(&all.takes);
    return fine;
}
