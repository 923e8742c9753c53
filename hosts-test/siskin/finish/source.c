/* SPDX-License-Identifier: ISC */
/* From the raw takes of a part to one that its processors begin with. */
#include "siskin/edit/align_take.h"
#include "siskin/edit/comp_list.h"
#include "siskin/edit/comp_take.h"
#include "siskin/finish/made.h"
#include "siskin/finish/work.h"
#include "siskin/measure/statistics.h"
#include "siskin/text.h"

#include <math.h>
#include <stdlib.h>

static const AudioFormat between_steps = {AUDIO_WAV, AUDIO_BITS_FLOAT, false};

static void go_on(Work *work, char *path, uint64_t recipe) {
    free(work->source);
    work->source = path;
    work->recipe = recipe;
}

/* ---- several takes ---- */

typedef struct {
    const char **path; /* of the takes */
    char *list, *list_path, *joined, *new_path;
    uint64_t takes; /* recipe of the list */
} Join;

static Join join_begin(const Work *work) {
    const char *name = work->part->name;
    Join join = {.list = text_print("lists/%s.list", name),
                 .list_path = text_print("%s/lists/%s.list", work->job->out, name),
                 .joined = text_print(MADE_STEPS "/%s/joined.wav", name),
                 .new_path = work_step(work, "joined.new.wav")};
    join.path = text_take(work->part->n_takes, sizeof *join.path);
    for (size_t t = 0; t < work->part->n_takes; t++)
        join.path[t] = part_input(work->job, work->part->takes[t]);
    return join;
}

static void join_end(const Work *work, Join *join) {
    for (size_t t = 0; t < work->part->n_takes; t++)
        free((char *)join->path[t]);
    free(join->path);
    free(join->list);
    free(join->list_path);
    free(join->joined);
    free(join->new_path);
}

static bool put_list(Work *work, const Join *join, const CompFiles *files) {
    char *text = NULL;
    size_t size = 0;
    FILE *file = open_memstream(&text, &size);
    if (file)
        comp_files_print(file, files);
    bool fine = file && fclose(file) == 0;
    fine = fine ? made_put_text(work->job->out, join->list, text, join->takes, work->error)
                : host_fail(work->error, "%s: out of memory", join->list);
    free(text);
    return fine;
}

static uint64_t joined_recipe(const Join *join) {
    return recipe_add(recipe_add(recipe_begin("join"), join->takes), made_content(join->list_path));
}

/* Always by the list, so that a join by an edited one differs in what was edited alone. */
static bool join_by_list(Work *work, const Join *join, bool choose) {
    Progress progress = progress_begin(true);
    CompFiles *files = text_take(1, sizeof *files);
    bool fine =
        comp_files_read(files, join->path, work->part->n_takes, choose, &progress, work->error);
    if (choose)
        fine = fine && comp_files_choose(files, work->error) && put_list(work, join, files);
    fine = fine && comp_files_obey(files, join->list_path, work->error) &&
           comp_files_join(files, join->new_path, &between_steps, work->error) &&
           made_put(work->job->out, join->joined, join->new_path, joined_recipe(join), work->error);
    if (fine && comp_files_rooms_db(files) > JOIN_MOST_APART_DB)
        fprintf(stderr,
                "siskin finish: %s: the rooms of the takes are too far apart to be made alike\n",
                work->part->name);
    comp_files_free(files);
    free(files);
    work->made = true;
    return fine;
}

/* "5 of take 1, 3 of take 2" */
static bool tell_choice(Work *work, const Join *join) {
    JoinPiece *pieces = NULL;
    size_t n = 0;
    char told[512] = "";
    if (!comp_read(join->list_path, work->part->n_takes, 1.0, &pieces, &n, work->error))
        return false;
    for (size_t t = 0; t < work->part->n_takes; t++) {
        size_t count = 0;
        for (size_t i = 0; i < n; i++)
            count += pieces[i].take == t;
        text_add(told, sizeof told, "%s%zu of take %zu", t ? ", " : "", count, t + 1);
    }
    row_set(&work->row, ROW_COMP, told);
    free(pieces);
    return true;
}

static bool join_all(Work *work, Join *join) {
    join->takes = recipe_begin("list");
    for (size_t t = 0; t < work->part->n_takes; t++)
        if (!recipe_file(&join->takes, join->path[t], work->error))
            return false;
    const char *out = work->job->out;
    MadeState list = made_state(out, join->list, join->takes);
    bool choose = list == MADE_NOT || list == MADE_OLD;
    if (list == MADE_EDITED || list == MADE_FOREIGN)
        work_note(work, ROW_EDITED, "list");
    if (!choose && made_state(out, join->joined, joined_recipe(join)) == MADE_DONE)
        return true;
    return made_may_write(out, join->joined, work->error) && join_by_list(work, join, choose);
}

static bool join_takes_of_part(Work *work) {
    Join join = join_begin(work);
    char *lock_path = work_step(work, "joined.lock");
    int lock = part_lock(lock_path, true); /* those that follow ask for it, too */
    bool fine = join_all(work, &join) && tell_choice(work, &join);
    part_unlock(lock);
    if (fine)
        go_on(work, work_step(work, "joined.wav"), joined_recipe(&join));
    free(lock_path);
    join_end(work, &join);
    return fine;
}

/* What a part is before it is brought into time. */
static bool raw_source(Work *work) {
    if (work->part->n_takes > 1)
        return join_takes_of_part(work);
    char *path = part_input(work->job, work->part->takes[0]);
    uint64_t recipe = recipe_begin("take");
    bool fine = recipe_file(&recipe, path, work->error);
    go_on(work, path, recipe);
    return fine;
}

/* ---- in time ---- */

/* Medians over the phrases that both sing. */
static void tell_apart(Work *work, const AlignFiles *files) {
    const Alignment *a = &files->alignment;
    double *before = text_take(a->n + 1, sizeof *before);
    double *after = text_take(a->n + 1, sizeof *after);
    size_t n = 0;
    for (size_t i = 0; i < a->n; i++)
        if (a->phrases[i].kind == ALIGN_MATCHED && a->phrases[i].n > 0) {
            before[n] = align_files_apart(files, &a->phrases[i], false).middle_ms;
            after[n++] = align_files_apart(files, &a->phrases[i], true).middle_ms;
        }
    work->row.number[ROW_APART_MS] = statistics_median(before, n);
    work->row.number[ROW_TIGHT_MS] = statistics_median(after, n);
    free(before);
    free(after);
}

static bool align(Work *work, const char *leader, const char *name, uint64_t recipe) {
    Progress progress = progress_begin(true);
    AlignFiles *files = text_take(1, sizeof *files);
    char *new_path = work_step(work, "in-time.new.wav");
    bool fine = align_files_find(files, work->source, leader, work->job->tightness, &progress,
                                 work->error) &&
                align_files_write(files, new_path, &between_steps, work->error);
    if (fine)
        tell_apart(work, files);
    fine = fine && work_keep_row(work) &&
           made_put(work->job->out, name, new_path, recipe, work->error);
    align_files_free(files);
    free(files);
    free(new_path);
    work->made = true;
    return fine;
}

static bool bring_into_time(Work *work) {
    const PartJob *job = work->job;
    Work leader = *work; /* with a row of its own, which its own worker writes */
    leader.part = &job->session->parts[work->part->leader];
    leader.row = row_new();
    leader.source = NULL;
    char *name = text_print(MADE_STEPS "/%s/in-time.wav", work->part->name);
    bool fine = work_begin(&leader) && raw_source(&leader);
    uint64_t recipe = recipe_add(recipe_add(recipe_begin("align"), work->recipe), leader.recipe);
    recipe = recipe_number(recipe, job->tightness);
    if (fine && made_state(job->out, name, recipe) != MADE_DONE)
        fine =
            made_may_write(job->out, name, work->error) && align(work, leader.source, name, recipe);
    if (fine)
        go_on(work, work_step(work, "in-time.wav"), recipe);
    row_free(&leader.row);
    free(leader.source);
    free(name);
    return fine;
}

bool work_source(Work *work) {
    return raw_source(work) && (!work->part->follows || bring_into_time(work));
}
