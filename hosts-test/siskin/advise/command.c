/* SPDX-License-Identifier: ISC */
/* siskin advise: which steps a take needs, as a chain that does them. */
#include "siskin/command.h"
#include "siskin/advise/chain.h"
#include "siskin/advise/fit.h"
#include "siskin/files.h"
#include "siskin/json.h"
#include "siskin/measure/print.h"
#include "siskin/measure/takes.h"
#include "siskin/options.h"
#include "siskin/place.h"
#include "siskin/safe.h"
#include "siskin/text.h"

#include <errno.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

typedef struct {
    const char *into, *bundles;
    bool csv, json, overwrite, deep, finish, quiet, help;
} Words;

typedef struct {
    const Words *words;
    Takes takes;
    Host *host;
    size_t take;   /* under work */
    char **chains; /* written so far */
    size_t n_chains;
    Progress progress;
    Json json;
} Job;

/* Each rule, from where on a take is fine, and why there. */
static void print_limits(void) {
    puts("\nLimits, and where they come from:");
    for (size_t i = 0; i < advice_n_rules; i++) {
        char *limit = advice_limit(i);
        char *name = text_print("%s, %s", advice_rules[i].name, advice_rules[i].unit);
        printf("  %-26s %s\n      %s\n", name, limit, advice_rules[i].source);
        free(name);
        free(limit);
    }
}

static void print_help(const Option *options, size_t count) {
    puts(
        "siskin advise TAKE > CHAIN\n"
        "siskin advise --into DIR TAKE...\n"
        "siskin advise --csv TAKE...\n"
        "\n"
        "Measures each TAKE and prints a chain set for it: the steps it needs, with figure and\n"
        "limit. The chain is tried first: a step that does too little is set to do more, one that\n"
        "does nothing or bites words is left out, and what is left is told. What no processor "
        "here\n"
        "mends is told with what to do by hand. TAKE may be a folder of takes.\n"
        "\n"
        "  siskin advise take.wav > lead.chain\n"
        "  siskin render --chain lead.chain take.wav out.wav\n"
        "  siskin advise --into chains takes      (chains/NAME.chain for each)\n"
        "  siskin advise --csv takes > takes.csv\n");
    options_print(options, count);
    puts("\n"
         "--csv: for each rule its figure, whether it is needed (yes, no, unknown; arises: by the\n"
         "other steps) and its figure after a trial; then the rules that stay unmet, and the "
         "chain.\n"
         "What is mended by hand is not judged after a trial.");
    print_limits();
    puts("\n"
         "Exit status: 0 done, 1 at least one take failed, 2 the command line is wrong.");
}

/* ---- one take ---- */

/* The last line of a chain file, by which it can be told later whether somebody has edited it. */
#define MARK "# as advised: "

static void write_mark(FILE *file, const char *text) {
    fprintf(file, MARK "%016llx\n",
            (unsigned long long)text_hash(TEXT_HASH_BEGIN, text, strlen(text)));
}

/* Whether a chain file may be replaced: it is not there, or as it was advised. */
static bool is_as_advised(const char *path) {
    enum { MOST = 1 << 20 };
    FILE *file = fopen(path, "r");
    if (!file)
        return true;
    char *text = text_take(MOST + 1, 1);
    text[fread(text, 1, MOST, file)] = '\0';
    fclose(file);
    const char *mark = strstr(text, MARK);
    char *end = NULL;
    bool same = mark && strtoull(mark + sizeof MARK - 1, &end, 16) ==
                            text_hash(TEXT_HASH_BEGIN, text, (size_t)(mark - text));
    same = same && strcmp(end, "\n") == 0; /* what was written below it is an edit, too */
    free(text);
    return same;
}

/* The chain file, in new memory; NULL: it failed. */
static char *chain_of(const Job *job, const AdvicePlan *plan, HostError *error) {
    char *text = NULL;
    size_t size = 0;
    FILE *file = open_memstream(&text, &size);
    bool fine = file && advice_write_chain(file, job->host, plan, job->words->finish, error);
    if (file && fflush(file) == 0) {
        char *whole = text_copy(text);
        write_mark(file, whole);
        free(whole);
    }
    if (!file || fclose(file) != 0)
        fine = host_fail(error, "%s: out of memory", plan->taken.path);
    if (fine)
        return text;
    free(text);
    return NULL;
}

/* ---- chain files ---- */

static bool is_taken(const Job *job, const char *path) {
    for (size_t i = 0; i < job->n_chains; i++)
        if (strcmp(job->chains[i], path) == 0)
            return true;
    return false;
}

static bool write_chain(Job *job, const Measures *measures, const char *text, HostError *error) {
    const char *name = measures->path + job->takes.skip[job->take];
    char *path = files_renamed(job->words->into, name, ".chain");
    bool fine = files_make_way(job->words->into, name, error);
    if (!fine)
        ;
    else if (is_taken(job, path))
        fine = host_fail(error, "%s: %s is the chain of another take", measures->path, path);
    else if (safe_same_file(path, measures->path))
        fine = host_fail(error, "%s is the take itself; takes are never written over", path);
    else if (!job->words->overwrite && !is_as_advised(path))
        fine = host_fail(
            error, "%s was edited since it was advised, or never was; --overwrite replaces it",
            path);
    else
        fine = safe_put_text(path, text, error);
    if (fine)
        *(char **)text_grow(&job->chains, &job->n_chains, sizeof *job->chains) = path;
    else
        free(path);
    return fine;
}

/* ---- CSV ---- */

static void csv_head(void) {
    fputs("take", stdout);
    for (size_t i = 0; i < advice_n_rules; i++) {
        const char *id = advice_rules[i].id;
        printf(",%s,%s_needed,%s_after", id, id, id);
    }
    puts(",stays,chain");
}

static void csv_figure(double figure) {
    if (isfinite(figure))
        printf(",%.6g", figure);
    else
        printf(",%s", isnan(figure) ? "unknown" : "none");
}

static const char *needed(const AdvicePlan *plan, size_t i) {
    static const char *const word[] = {"no", "yes", "unknown"};
    return plan->advice.arises[i] ? "arises" : word[plan->advice.verdict[i]];
}

static void csv_row(const AdvicePlan *plan, const char *chain) {
    const char *between = ",";
    text_csv(stdout, plan->taken.path);
    for (size_t i = 0; i < advice_n_rules; i++) {
        csv_figure(plan->advice.figure[i]);
        printf(",%s", needed(plan, i));
        if (advice_is_tried(i))
            csv_figure(plan->after.figure[i]);
        else
            putchar(',');
    }
    for (size_t i = 0; i < advice_n_rules; i++)
        if (plan_stays(plan, i)) {
            printf("%s%s", between, advice_rules[i].id);
            between = " ";
        }
    fputs(*between == ',' ? ",," : ",", stdout);
    text_csv(stdout, chain);
    putchar('\n');
}

/* ---- JSON ---- */

/* A figure that is infinite is that of nothing at all; one that is unknown is null. */
static void json_figure(Json *json, const char *name, double figure, int decimals) {
    if (isinf(figure))
        json_text(json, name, "none");
    else
        json_number(json, name, figure, decimals);
}

static void json_take(Job *job, const AdvicePlan *plan, const char *chain) {
    Json *json = &job->json;
    json_open(json, NULL, '{', false);
    json_text(json, "take", plan->taken.path);
    json_open(json, "rules", '[', false);
    for (size_t i = 0; i < advice_n_rules; i++) {
        const AdviceRule *rule = &advice_rules[i];
        json_open(json, NULL, '{', true);
        json_text(json, "id", rule->id);
        json_text(json, "name", rule->name);
        json_text(json, "needed", needed(plan, i));
        json_figure(json, "figure", plan->advice.figure[i], rule->decimals + 1);
        json_figure(json, "after", advice_is_tried(i) ? plan->after.figure[i] : (double)NAN,
                    rule->decimals + 1);
        json_number(json, "limit", rule->limit, rule->decimals);
        json_text(json, "unit", rule->unit);
        json_truth(json, "stays", plan_stays(plan, i));
        json_text(json, "processor", rule->processor);
        json_close(json, '}');
    }
    json_close(json, ']');
    json_text(json, "chain", chain);
    json_text(json, "chain_file", job->words->into ? job->chains[job->n_chains - 1] : NULL);
    json_close(json, '}');
}

/* ---- a line for people ---- */

typedef bool Shown(const AdvicePlan *plan, size_t i);

static bool is_processed(const AdvicePlan *plan, size_t i) {
    return advice_wants_processor(&plan->advice, i);
}

static bool is_by_hand(const AdvicePlan *plan, size_t i) {
    return !advice_rules[i].processor && plan->advice.verdict[i] == ADVICE_NEEDED;
}

static bool print_some(const char *title, const AdvicePlan *plan, Shown *shown, bool processor) {
    const char *between = title;
    for (size_t i = 0; i < advice_n_rules; i++)
        if (shown(plan, i)) {
            printf("%s%s", between, processor ? advice_rules[i].processor : advice_rules[i].id);
            between = ", ";
        }
    return between != title;
}

static void row(const Job *job, const AdvicePlan *plan) {
    char path[4096];
    printf("%s:", text_plain(path, sizeof path, job->chains[job->n_chains - 1]));
    bool any = print_some(" ", plan, is_processed, true);
    any |= print_some(any ? "; stays: " : " stays: ", plan, plan_stays, false);
    any |= print_some(any ? "; by hand: " : " by hand: ", plan, is_by_hand, false);
    puts(any ? "" : " nothing is needed");
}

/* ---- all takes ---- */

static bool print_take(Job *job, const AdvicePlan *plan, HostError *error) {
    const Words *words = job->words;
    char *chain = chain_of(job, plan, error);
    char *line = chain ? advice_line(job->host, &plan->advice, advice_n_rules - 1, error) : NULL;
    bool fine = line && (!words->into || write_chain(job, &plan->taken, chain, error));
    if (fine && words->json)
        json_take(job, plan, line);
    else if (fine && words->csv)
        csv_row(plan, line);
    else if (fine && !words->into)
        fputs(chain, stdout);
    else if (fine && !words->quiet)
        row(job, plan);
    free(chain);
    free(line);
    return fine;
}

static bool advise_take(Job *job, const char *path, HostError *error) {
    AdvicePlan plan;
    if (!plan_make(job->host, path, &job->progress, &plan, error))
        return false;
    bool fine = print_take(job, &plan, error);
    plan_free(&plan);
    return fine;
}

static int advise_all(Job *job) {
    HostError error;
    size_t failed = 0;
    if (job->words->into && !files_make_folder(job->words->into, &error))
        return command_fail("advise", STATUS_FAILED, &error);
    job->progress = progress_begin(job->words->quiet);
    safe_catch_signals();
    if (job->words->csv)
        csv_head();
    if (job->words->json) {
        job->json = json_begin(stdout);
        json_open(&job->json, NULL, '{', false);
        json_open(&job->json, "takes", '[', false);
    }
    for (size_t i = 0; i < job->takes.n; i++) {
        job->take = i;
        if (!advise_take(job, job->takes.path[i], &error)) {
            command_fail("advise", STATUS_FAILED, &error);
            failed++;
        }
        command_flush();
    }
    if (job->words->json) {
        json_close(&job->json, ']');
        json_close(&job->json, '}');
    }
    return failed ? STATUS_FAILED : STATUS_OK;
}

/* ---- the command ---- */

static bool prepare(Job *job, int argc, char **argv, HostError *error) {
    job->takes.deep = job->words->deep;
    if (!takes_find(&job->takes, argc, argv, error))
        return false;
    job->host = place_open_host(job->words->bundles, error);
    return job->host != NULL;
}

static int advise(const Words *words, int argc, char **argv) {
    HostError error;
    Job job = {.words = words};
    int status = STATUS_FAILED;
    files_trim((char *)words->into);
    if (!prepare(&job, argc, argv, &error)) {
        command_fail("advise", status, &error);
    } else if (job.takes.n > 1 && !words->csv && !words->json && !words->into) {
        host_fail(&error, "several takes make several chains: give --into DIR, --csv or --json");
        status = command_fail("advise", STATUS_USAGE, &error);
    } else {
        status = advise_all(&job);
    }
    host_close(job.host);
    takes_free(&job.takes);
    for (size_t i = 0; i < job.n_chains; i++)
        free(job.chains[i]);
    free(job.chains);
    return status;
}

int command_advise(int argc, char **argv) {
    HostError error;
    Words words = {0};
    const Option options[] = {
        {"into", "DIR", "write DIR/NAME.chain for each take and print one line a take", &words.into,
         NULL},
        {"csv", NULL, "one line for each take, comma-separated", NULL, &words.csv},
        {"json", NULL, "the same as JSON; null is unknown, \"none\" is nothing at all", NULL,
         &words.json},
        {"finish", NULL,
         "let the chain file go on to a lead that is compressed, coloured and\n"
         "peak-safe, as lead-gently ends",
         NULL, &words.finish},
        {"overwrite", NULL, "with --into: also chains that were edited since they were advised",
         NULL, &words.overwrite},
        {"subfolders", NULL, "of a folder, also the takes in the folders in it", NULL, &words.deep},
        {"quiet", NULL, "print nothing but errors, notes and what was asked for", NULL,
         &words.quiet},
        {"bundles", "DIR", PLACE_BUNDLES_HELP, &words.bundles, NULL},
        {"help", NULL, "this", NULL, &words.help},
    };
    const size_t n_options = sizeof options / sizeof *options;
    if (!options_take(options, n_options, &argc, argv, &error))
        return command_fail("advise", STATUS_USAGE, &error);
    if (words.help) {
        print_help(options, n_options);
        return STATUS_OK;
    }
    if (words.json && words.csv) {
        host_fail(&error, "--json and --csv cannot both be had at once");
        return command_fail("advise", STATUS_USAGE, &error);
    }
    if (argc < 1) {
        host_fail(&error, "name a TAKE or a folder of takes; siskin advise --help tells more");
        return command_fail("advise", STATUS_USAGE, &error);
    }
    return advise(&words, argc, argv);
}
