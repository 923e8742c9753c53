/* SPDX-License-Identifier: ISC */
#include "siskin/finish/part.h"

#include "siskin/command.h"
#include "siskin/finish/made.h"
#include "siskin/finish/row.h"
#include "siskin/finish/work.h"
#include "siskin/render/stamp.h"
#include "siskin/text.h"

#include <errno.h>
#include <fcntl.h>
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

bool part_lock(const char *path, bool wait, int *lock, HostError *error) {
    int got = -1;
    *lock = open(path, O_RDWR | O_CREAT | O_CLOEXEC, 0666);
    while (*lock >= 0 && (got = flock(*lock, LOCK_EX | (wait ? 0 : LOCK_NB))) != 0 &&
           errno == EINTR)
        ;
    if (got == 0)
        return true;
    int why = errno;
    if (*lock >= 0)
        close(*lock);
    *lock = -1;
    return why == EWOULDBLOCK || host_fail(error, "cannot lock %s: %s", path, strerror(why));
}

void part_unlock(int lock) {
    if (lock >= 0)
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
    return work_source(work) && work_chain(work) && work_result(work);
}

static PartEnd finish_locked(Work *work) {
    char *path = work_step(work, "row");
    work->row = row_read(path);
    free(path);
    bool fine = do_steps(work);
    row_set(&work->row, ROW_RESULT, fine ? "finished" : "failed");
    row_set(&work->row, ROW_WHY, fine ? NULL : work->error->text);
    bool kept = work_keep_row(work);
    if (!kept)
        command_fail("finish", STATUS_FAILED, work->error);
    fine = fine && kept;
    row_free(&work->row);
    free(work->source);
    return !fine ? PART_FAILED : work->made ? PART_FINISHED : PART_AS_IT_WAS;
}

static bool begin_locked(const Work *work, int *lock) {
    char *path = work_step(work, "lock");
    bool fine = work_begin(work) && part_lock(path, false, lock, work->error);
    free(path);
    return fine;
}

PartEnd part_finish(Host *host, const PartJob *job, size_t part) {
    HostError error;
    int lock = -1;
    Work work = {.host = host, .job = job, .part = &job->session->parts[part], .error = &error};
    if (!begin_locked(&work, &lock)) {
        command_fail("finish", STATUS_FAILED, &error);
        return PART_FAILED;
    }
    PartEnd end = lock < 0 ? PART_BUSY : finish_locked(&work);
    part_unlock(lock);
    return end;
}
