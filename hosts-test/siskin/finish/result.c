/* SPDX-License-Identifier: ISC */
/* From the source of a part to its chain, and to its result. */
#include "siskin/advise/chain.h"
#include "siskin/chains/order.h"
#include "siskin/chains/settings.h"
#include "siskin/edit/match.h"
#include "siskin/finish/made.h"
#include "siskin/finish/work.h"
#include "siskin/measure/takes.h"
#include "siskin/pool.h"
#include "siskin/safe.h"
#include "siskin/text.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

/* ---- a render ---- */

static void keep_report(void *user, size_t job, const TakeReport *report) {
    (void)job;
    memcpy(user, report, sizeof *report);
}

static void show_nothing(void *user, double done, size_t jobs_done, size_t jobs_running) {
    (void)user, (void)done, (void)jobs_done, (void)jobs_running;
}

/* In a process of its own, as each render: an edited chain may name anybody's plugins. */
static bool render(const Work *work, const char *chain_path, const char *out, AudioBits bits,
                   const FinishAim *aim, TakeReport *report) {
    const PoolWatcher watcher = {keep_report, show_nothing, report};
    Chain *chain = order_chain(chain_path, 0, NULL, work->error);
    TakeJob job = {.take = work->source,
                   .out = out,
                   .chain = chain,
                   .format = {AUDIO_WAV, bits, false},
                   .finish = *aim};
    bool fine = chain && settings_read(work->host, chain, work->error) &&
                pool_run(work->host, &job, 1, 1, &watcher, work->error);
    if (fine && !report->done)
        fine = host_fail(work->error, "%s", report->error.text);
    chain_free(chain);
    return fine;
}

/* ---- advice ---- */

typedef struct {
    Work *work;
    char *text; /* of the chain */
    char *chain_path, *out_path;
    TakeReport *report; /* of the last trial */
} Draft;

typedef bool Told(const AdvicePlan *plan, size_t i);

static bool is_processed(const AdvicePlan *plan, size_t i) {
    return advice_wants_processor(&plan->advice, i);
}

static bool is_by_hand(const AdvicePlan *plan, size_t i) {
    return !advice_rules[i].processor && plan->advice.verdict[i] == ADVICE_NEEDED;
}

static void tell(Work *work, RowText which, const AdvicePlan *plan, Told *told) {
    row_set(&work->row, which, NULL);
    for (size_t i = 0; i < advice_n_rules; i++)
        if (told(plan, i))
            work_note(work, which,
                      which == ROW_STEPS ? advice_rules[i].processor : advice_rules[i].name);
}

static void tell_plan(Work *work, const AdvicePlan *plan) {
    work->row.number[ROW_WAS_LUFS] = plan->taken.integrated_lufs;
    work->row.number[ROW_WAS_PEAK] = plan->taken.true_peak_db;
    tell(work, ROW_STEPS, plan, is_processed);
    tell(work, ROW_STAYS, plan, plan_stays);
    tell(work, ROW_HAND, plan, is_by_hand);
}

static bool advise(Draft *draft) {
    Work *work = draft->work;
    AdvicePlan plan;
    Progress progress = progress_begin(true);
    size_t size = 0;
    if (!plan_make(work->host, work->source, &progress, &plan, work->error))
        return false;
    FILE *file = open_memstream(&draft->text, &size);
    bool fine = file && advice_write_chain(file, work->host, &plan, true, work->error);
    if (!file || fclose(file) != 0)
        fine = host_fail(work->error, "%s: out of memory", work->source);
    tell_plan(work, &plan);
    plan_free(&plan);
    return fine;
}

/* ---- trials ---- */

/* Puts lines in place of `n` bytes at the limiter of the chain. */
static void edit_ceiling(Draft *draft, const char *lines, size_t n) {
    char *at = strstr(draft->text, ADVICE_CEILING);
    if (!at)
        return;
    char *text = text_print("%.*s%s%s", (int)(at - draft->text), draft->text, lines, at + n);
    free(draft->text);
    draft->text = text;
}

static bool try(Draft *draft, const FinishAim *aim) {
    return safe_put_text(draft->chain_path, draft->text, draft->work->error) &&
           render(draft->work, draft->chain_path, draft->out_path, AUDIO_BITS_FLOAT, aim,
                  draft->report);
}

static void add_colour(Draft *draft, const Match *match, const char *reference) {
    char *text = NULL, plain[1024];
    size_t size = 0;
    Work *work = draft->work;
    work->row.number[ROW_COLOUR_DB] = match_worst_off(&match->take, &match->reference);
    work->row.number[ROW_COLOURED_DB] = match_worst_off(&match->after, &match->reference);
    FILE *file = match->any ? open_memstream(&text, &size) : NULL;
    if (!file)
        return;
    fprintf(file, "  # the colour of %s: the worst band %.1f dB off, %.1f with this\n",
            text_plain(plain, sizeof plain, text_base(reference)), work->row.number[ROW_COLOUR_DB],
            work->row.number[ROW_COLOURED_DB]);
    match_print_setting(file, &match->setting);
    fclose(file);
    edit_ceiling(draft, text, 0);
    free(text);
}

/* A reference of another kind, or a take that lacks what it has, asks for more than can be given
 * unheard: that brings up noise instead. */
static bool match_in_bounds(Draft *draft, const Measures *take, const Measures *reference,
                            Match *match, HostError *why) {
    bool bounded = false;
    if (!match_find(match, draft->work->host, take, reference, NULL, NULL, why))
        return false;
    for (int b = 0; b < MATCH_BANDS; b++) {
        double *level_db = &match->setting.level_db[b], *drive_db = &match->setting.drive_db[b];
        bounded =
            bounded || fabs(*level_db) > PART_MOST_COLOUR_DB || *drive_db > PART_MOST_DRIVE_DB;
        *level_db = fmax(-PART_MOST_COLOUR_DB, fmin(*level_db, PART_MOST_COLOUR_DB));
        *drive_db = fmin(*drive_db, PART_MOST_DRIVE_DB);
    }
    return !bounded || match_profile(&match->after, take, draft->work->host, &match->setting, why);
}

/* Without the name of a file that is gone when it is read. */
static void note_no_colour(const Draft *draft, const HostError *why) {
    size_t length = strlen(draft->out_path);
    bool named = strncmp(why->text, draft->out_path, length) == 0 && why->text[length] == ':';
    char *note = text_print("colour left as it is: %s", why->text + (named ? length + 2 : 0));
    row_set(&draft->work->row, ROW_NOTE, note);
    free(note);
}

/* As the trial is but for the colour. What has too little singing for a colour keeps its own. */
static bool match_colour(Draft *draft) {
    const FinishAim none = {.by_loudness = false};
    Work *work = draft->work;
    if (!work->job->session->reference)
        return true;
    if (!try(draft, &none))
        return false;
    Match match = {.any = false};
    HostError why = {""};
    Measures take, reference;
    Progress progress = progress_begin(true);
    char *path = part_input(work->job, work->job->session->reference);
    bool fine = takes_measure(path, &reference, &progress, work->error);
    if (fine && !takes_measure(draft->out_path, &take, &progress, work->error)) {
        measures_free(&reference);
        fine = false;
    }
    if (fine) {
        if (match_in_bounds(draft, &take, &reference, &match, &why))
            add_colour(draft, &match, path);
        else
            note_no_colour(draft, &why);
        measures_free(&take);
        measures_free(&reference);
    }
    free(path);
    return fine;
}

/* Where one gain does not get to the loudness, the limiter is driven. */
static bool find_drive(Draft *draft) {
    const FinishAim *aim = &draft->work->job->aim;
    if (!try(draft, aim))
        return false;
    double drive_db = fmin(draft->report->finish.drive_db, PART_MOST_DRIVE_DB);
    draft->work->row.number[ROW_DRIVE_DB] = drive_db;
    if (!(drive_db > 0.0))
        return true;
    char *line = text_print("  peak-ceiling drive=%.1f ceiling=%.1f\n", drive_db, aim->peak_db);
    edit_ceiling(draft, line, strlen(ADVICE_CEILING));
    free(line);
    return true;
}

static bool make_chain(Work *work, const char *name, uint64_t recipe) {
    Draft draft = {.work = work,
                   .chain_path = work_step(work, "trial.chain"),
                   .out_path = work_step(work, "trial.wav"),
                   .report = text_take(1, sizeof *draft.report)};
    for (int i = ROW_WAS_LUFS; i < ROW_NUMBERS; i++)
        if (i != ROW_APART_MS && i != ROW_TIGHT_MS)
            work->row.number[i] = (double)NAN;
    row_set(&work->row, ROW_NOTE, NULL);
    work->made = true;
    bool fine = advise(&draft) && match_colour(&draft) && find_drive(&draft) &&
                work_keep_row(work) &&
                made_put_text(work->job->out, name, draft.text, recipe, work->error);
    unlink(draft.chain_path);
    unlink(draft.out_path);
    free(draft.chain_path);
    free(draft.out_path);
    free(draft.report);
    free(draft.text);
    return fine;
}

static uint64_t add_aim(uint64_t recipe, const FinishAim *aim) {
    return recipe_number(recipe_number(recipe, aim->loudness_lufs), aim->peak_db);
}

bool work_chain(Work *work) {
    const PartJob *job = work->job;
    uint64_t recipe = add_aim(recipe_add(recipe_begin("chain"), work->recipe), &job->aim);
    char *reference = job->session->reference ? part_input(job, job->session->reference) : NULL;
    char *name = work_chain_name(work);
    bool fine = !reference || recipe_file(&recipe, reference, work->error);
    MadeState state = made_state(job->out, name, recipe);
    if (state == MADE_EDITED || state == MADE_FOREIGN)
        work_note(work, ROW_EDITED, "chain");
    else if (fine && state != MADE_DONE)
        fine = make_chain(work, name, recipe);
    free(name);
    free(reference);
    return fine;
}

/* ---- the result ---- */

static void tell_result(Work *work, const TakeReport *report) {
    const Finish *finish = &report->finish;
    double *number = work->row.number;
    number[ROW_LENGTH_S] = report->length_s;
    number[ROW_RATE_HZ] = report->rate_hz;
    number[ROW_CHANNELS] = report->channels;
    number[ROW_LUFS] = finish->loudness_lufs;
    number[ROW_PEAK] = finish->peak_db;
    number[ROW_SHORT_LU] = finish->short_lu;
}

static bool make_result(Work *work, const char *chain, const char *name, uint64_t recipe) {
    const PartJob *job = work->job;
    TakeReport *report = text_take(1, sizeof *report);
    char *new_path = work_step(work, "new.wav");
    work->made = true;
    bool fine = made_may_write(job->out, name, work->error) &&
                render(work, chain, new_path, job->bits, &job->aim, report);
    if (fine)
        tell_result(work, report);
    fine = fine && work_keep_row(work) && made_put(job->out, name, new_path, recipe, work->error);
    free(new_path);
    free(report);
    return fine;
}

bool work_result(Work *work) {
    const PartJob *job = work->job;
    char *chain_name = work_chain_name(work);
    char *chain = text_print("%s/%s", job->out, chain_name);
    char *name = text_print("%s.wav", work->part->name);
    uint64_t recipe = recipe_add(recipe_begin("result"), work->recipe);
    recipe = recipe_number(add_aim(recipe_add(recipe, made_content(chain)), &job->aim), job->bits);
    bool fine =
        made_state(job->out, name, recipe) == MADE_DONE || make_result(work, chain, name, recipe);
    free(name);
    free(chain);
    free(chain_name);
    return fine;
}
