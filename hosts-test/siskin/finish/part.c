/* SPDX-License-Identifier: ISC */
#include "siskin/finish/part.h"

#include "siskin/finish/made.h"
#include "siskin/finish/row.h"
#include "siskin/finish/work.h"
#include "siskin/render/stamp.h"
#include "siskin/text.h"

#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#ifndef SISKIN_VERSION
#define SISKIN_VERSION "unknown"
#endif

/* ---- names ---- */

char *part_input(const PartJob *job, const char *file) {
    return *file == '/' ? text_copy(file) : text_print("%s/%s", job->folder, file);
}

char *part_before(const PartJob *job, size_t part) {
    const SessionPart *p = &job->session->parts[part];
    return p->n_takes > 1 ? text_print("%s/" MADE_STEPS "/%s/joined.wav", job->out, p->name)
                          : part_input(job, p->takes[0]);
}

char *part_row(const PartJob *job, size_t part) {
    return text_print("%s/" MADE_STEPS "/%s/row", job->out, job->session->parts[part].name);
}

char *work_step(const Work *work, const char *name) {
    return text_print("%s/" MADE_STEPS "/%s/%s", work->job->out, work->part->name, name);
}

char *work_chain_name(const Work *work) {
    return text_print("chains/%s.chain", work->part->name);
}

/* ---- recipes ---- */

uint64_t recipe_begin(const char *step) {
    static const char version[] = "siskin " SISKIN_VERSION;
    return text_hash(text_hash(TEXT_HASH_BEGIN, version, sizeof version), step, strlen(step) + 1);
}

uint64_t recipe_add(uint64_t recipe, uint64_t other) {
    return text_hash(recipe, &other, sizeof other);
}

uint64_t recipe_number(uint64_t recipe, double number) {
    return text_hash(recipe, &number, sizeof number);
}

bool recipe_file(uint64_t *recipe, const char *path, HostError *error) {
    struct stat status;
    if (stat(path, &status) != 0)
        return host_fail(error, "cannot read %s: %s", path, strerror(errno));
    const char *base = text_base(path);
    *recipe = text_hash(*recipe, base, strlen(base) + 1);
    *recipe = stamp_file(*recipe, (uint64_t)status.st_size, &status.st_mtim);
    return true;
}

/* ---- locks ---- */

static const int NO_LOCKS = INT_MAX;

int part_lock(const char *path, bool wait) {
    int fd = open(path, O_RDWR | O_CREAT | O_CLOEXEC, 0666);
    int got = -1;
    while (fd >= 0 && (got = flock(fd, LOCK_EX | (wait ? 0 : LOCK_NB))) != 0 && errno == EINTR)
        ;
    if (fd >= 0 && got == 0)
        return fd;
    bool taken = fd >= 0 && errno == EWOULDBLOCK;
    if (fd >= 0)
        close(fd);
    return taken ? -1 : NO_LOCKS;
}

void part_unlock(int lock) {
    if (lock >= 0 && lock != NO_LOCKS)
        close(lock);
}

/* ---- the part ---- */

void work_note(Work *work, RowText which, const char *text) {
    const char *before = work->row.text[which];
    char *all = before ? text_print("%s, %s", before, text) : text_copy(text);
    row_set(&work->row, which, all);
    free(all);
}

bool work_begin(const Work *work) {
    char *name = text_print(MADE_STEPS "/%s/", work->part->name);
    bool fine = files_make_way(work->job->out, name, work->error);
    free(name);
    return fine;
}

bool work_keep_row(const Work *work) {
    char *path = work_step(work, "row");
    bool fine = row_write(path, &work->row, work->error);
    free(path);
    return fine;
}

static bool do_steps(Work *work) {
    row_set(&work->row, ROW_EDITED, NULL);
    if (work->part->why)
        return host_fail(work->error, "%s", work->part->why);
    return work_source(work) && work_chain(work) && work_result(work);
}

static PartEnd finish_locked(Work *work) {
    HostError error;
    char *path = work_step(work, "row");
    work->row = row_read(path);
    free(path);
    bool fine = do_steps(work);
    row_set(&work->row, ROW_RESULT, fine ? "finished" : "failed");
    row_set(&work->row, ROW_WHY, fine ? NULL : work->error->text);
    work->error = &error;
    fine = work_keep_row(work) && fine;
    row_free(&work->row);
    free(work->source);
    return !fine ? PART_FAILED : work->made ? PART_FINISHED : PART_AS_IT_WAS;
}

PartEnd part_finish(Host *host, const PartJob *job, size_t part) {
    HostError error;
    Work work = {.host = host, .job = job, .part = &job->session->parts[part], .error = &error};
    if (!work_begin(&work))
        return PART_FAILED;
    char *path = work_step(&work, "lock");
    int lock = part_lock(path, false);
    PartEnd end = lock < 0 ? PART_BUSY : finish_locked(&work);
    part_unlock(lock);
    free(path);
    return end;
}
