/* SPDX-License-Identifier: ISC */
/* Every bundle keeps every promise of contract.h, and the broken ones are refused for the right
 * reason. The bundles are those built beside this program: ../lv2 and ../test-lv2.
 *
 * How much is asked: each bundle at 48 kHz in full, and at two more of ten rates, its own by the
 * seed, so that runs with other seeds come to ask all. SISKIN_ALL=1: everything at every rate.
 *
 * SISKIN_SEED=n: another seed for everything random.
 * SISKIN_RATES=n: at so many rates. SISKIN_BUNDLES=n: only so many of the bundles, by the seed.
 * SISKIN_ONLY=text: only plugins with that in their URI, and none of the broken ones.
 * SISKIN_TIMES=1: the processor time of each question. */
#include "contract/broken.h"
#include "contract/contract.h"
#include "contract/guard.h"

#include "signals.h"

#include <check.h>
#include <libgen.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum { MOST_SUBJECTS = 512 };

static const double FIRST_RATE = 48000.0;
static const double OTHER_RATES[] = {8000.0,  11025.0, 16000.0,  22050.0, 44100.0,
                                     88200.0, 96000.0, 176400.0, 192000.0};
enum { N_OTHERS = sizeof OTHER_RATES / sizeof *OTHER_RATES, SOME_OTHERS = 2 };

enum { N_BOOKS = 6 };
static const Promise *const BOOKS[N_BOOKS] = {contract_sound, contract_harm,   contract_shell,
                                              contract_moves, contract_meters, contract_turtle};

/* Not asked what its Turtle says, which is the floor's under another name. */
static const char WHOLE[] = "urn:siskin:naive-whole#";

/* The floors are test plugins too, but whole: they must keep every promise. */
static const char *const FLOORS[] = {"urn:siskin:gain#", "urn:siskin:biquad#", "urn:siskin:keyed#",
                                     "urn:siskin:naive-whole#"};

static BrokenCase *broken_cases;
static size_t n_broken;

static Subject subjects[MOST_SUBJECTS];
static size_t n_subjects;

/* ---- subjects ---- */

/* A folder beside this program's own: "lv2" is BUILD/lv2 when this is BUILD/hosts-test/... */
static void beside(const char *folder, char path[PATH_MAX]) {
    char own[PATH_MAX - 64];
    ssize_t length = readlink("/proc/self/exe", own, sizeof own - 1);
    own[length > 0 ? length : 0] = '\0';
    snprintf(path, PATH_MAX, "%s/%s", dirname(dirname(own)), folder);
}

static bool is_floor(const char *uri) {
    for (size_t i = 0; i < sizeof FLOORS / sizeof *FLOORS; i++)
        if (strncmp(uri, FLOORS[i], strlen(FLOORS[i])) == 0)
            return true;
    return false;
}

static void add_subject(Host *host, const char *uri) {
    HostError error;
    const HostPlugin *plugin = host_find(host, uri, 0, &error);
    if (!plugin || n_subjects == MOST_SUBJECTS) {
        fprintf(stderr, "%s: %s\n", uri, plugin ? "too many plugins" : error.text);
        exit(EXIT_FAILURE);
    }
    subjects[n_subjects++] = (Subject){
        .host = host,
        .plugin = plugin,
        .bundle =
            lilv_file_uri_parse(lilv_node_as_uri(lilv_plugin_get_bundle_uri(plugin->lilv)), NULL),
        .thorough = true,
    };
}

static Host *open_bundles(const char *folder) {
    char path[PATH_MAX];
    HostError error;
    beside(folder, path);
    Host *host = host_open(path, &error);
    if (host)
        host_be_live(host);
    else
        fprintf(stderr, "%s\n", error.text);
    return host;
}

/* Each number below `count` once, in an order drawn by the seed. */
static void draw(size_t *order, size_t count, uint64_t salt) {
    Random random = random_seeded(contract_seed() ^ salt);
    for (size_t i = 0; i < count; i++) {
        size_t at = random_below(&random, i + 1);
        order[i] = i;
        order[i] = order[at];
        order[at] = i;
    }
}

/* FNV-1a (Fowler, Noll, Vo): what the draws of different bundles differ by. */
static uint64_t hash(const char *text) {
    uint64_t sum = 14695981039346656037u;
    for (; *text; text++)
        sum = (sum ^ (unsigned char)*text) * 1099511628211u;
    return sum;
}

static size_t number_from(const char *variable, size_t otherwise) {
    const char *text = getenv(variable);
    return text && *text ? strtoul(text, NULL, 10) : otherwise;
}

/* A bundle's two variants lie side by side, so that they are drawn together. */
static void add_bundles(Host *host, const char *const *uris, size_t count) {
    const char *only = getenv("SISKIN_ONLY");
    size_t order[MOST_SUBJECTS], bundles = count / 2;
    size_t most = number_from("SISKIN_BUNDLES", bundles);
    if (bundles > MOST_SUBJECTS)
        return;
    draw(order, bundles, 1);
    for (size_t i = 0; i < bundles && i < (only ? bundles : most); i++)
        for (size_t v = 0; v < 2; v++)
            if (!only || strstr(uris[2 * order[i] + v], only))
                add_subject(host, uris[2 * order[i] + v]);
    if (!only && most < bundles)
        printf("asked of %zu of %zu bundles (seed %llu)\n", most, bundles,
               (unsigned long long)contract_seed());
}

static void find_subjects(void) {
    const char *only = getenv("SISKIN_ONLY");
    Host *tests = open_bundles("test-lv2"), *own = open_bundles("lv2");
    size_t count = 0;
    const char *const *uris = own ? host_own_uris(own, &count) : NULL;
    add_bundles(own, uris, uris ? count : 0);
    uris = tests ? host_own_uris(tests, &count) : NULL;
    for (size_t i = 0; uris && i < count; i++)
        if (is_floor(uris[i]) && (!only || strstr(uris[i], only)))
            add_subject(tests, uris[i]);
}

/* ---- all questions, as many at once as there are processors ---- */

typedef struct {
    const Promise *promise;
    Subject subject;
    const BrokenCase *broken; /* NULL: it must be kept */
    Question question;
    bool asked, kept;
    double seconds; /* of the processor */
    HostError why;
} Job;

static Job *jobs;
static size_t n_jobs, room_for_jobs;

static void add_job(const Promise *promise, Subject subject, const BrokenCase *broken) {
    if (n_jobs == room_for_jobs) {
        room_for_jobs = room_for_jobs ? 2 * room_for_jobs : 1024;
        jobs = realloc(jobs, room_for_jobs * sizeof *jobs);
        if (!jobs)
            abort();
    }
    jobs[n_jobs++] = (Job){.promise = promise, .subject = subject, .broken = broken};
}

/* CK_RUN_CASE, which Check reads, also spares the work for the other cases. */
static bool wanted(const char *name) {
    const char *only = getenv("CK_RUN_CASE");
    return !only || strcmp(only, name) == 0;
}

/* Rates beside 48 kHz. Watched by a sanitizer everything is several times as slow. */
static size_t other_rates(void) {
    size_t rates = number_from("SISKIN_RATES", 1 + (guard_works() ? SOME_OTHERS : 1));
    rates = contract_asks_all() ? 1 + N_OTHERS : rates;
    return rates < 1 ? 0 : rates - 1 < N_OTHERS ? rates - 1 : N_OTHERS;
}

static bool is_turtle(const Promise *promise) {
    for (const Promise *p = contract_turtle; p->name; p++)
        if (p == promise)
            return true;
    return false;
}

static bool is_asked(const Promise *promise, const char *uri) {
    return contract_can_tell(promise) && !(promise->not_of_floors && is_floor(uri)) &&
           !(is_turtle(promise) && strncmp(uri, WHOLE, sizeof WHOLE - 1) == 0);
}

static void add_promise(const Promise *promise) {
    for (size_t i = 0; i < n_subjects; i++) {
        Subject subject = subjects[i];
        if (!is_asked(promise, subject.plugin->uri))
            continue;
        subject.rate_hz = FIRST_RATE;
        subject.thorough = true;
        add_job(promise, subject, NULL);
        subject.thorough = false;
        size_t order[N_OTHERS];
        draw(order, N_OTHERS, hash(subject.plugin->uri));
        for (size_t r = 0; promise->at_every_rate && r < other_rates(); r++) {
            subject.rate_hz = OTHER_RATES[order[r]];
            add_job(promise, subject, NULL);
        }
    }
}

/* All promises, numbered through; NULL after the last. */
static const Promise *promise_at(size_t index) {
    for (size_t b = 0; b < N_BOOKS; b++)
        for (const Promise *p = BOOKS[b]; p->name; p++)
            if (index-- == 0)
                return p;
    return NULL;
}

static const Promise *promise_named(const char *name) {
    const Promise *promise;
    for (size_t i = 0; (promise = promise_at(i)); i++)
        if (strcmp(promise->name, name) == 0)
            return promise;
    fprintf(stderr, "there is no promise \"%s\"\n", name);
    abort();
}

static void finish(Job *job) {
    if (job->asked)
        job->kept = contract_answer(&job->question, &job->seconds, &job->why);
    job->asked = false;
}

static void ask_all(void) {
    long processors = sysconf(_SC_NPROCESSORS_ONLN);
    size_t at_once = processors > 0 ? (size_t)processors : 1;
    for (size_t i = 0; i < n_jobs + at_once; i++) {
        if (i >= at_once)
            finish(&jobs[i - at_once]);
        if (i < n_jobs) {
            if (!jobs[i].subject.plugin) { /* refused before any question */
                jobs[i].why = jobs[i].broken->unread;
                continue;
            }
            jobs[i].question = contract_ask(jobs[i].promise, &jobs[i].subject);
            jobs[i].asked = true;
        }
    }
}

/* Where the time went, for who looks for it: SISKIN_TIMES=1. */
static void print_times(void) {
    for (size_t i = 0; getenv("SISKIN_TIMES") && i < n_jobs; i++)
        printf("time %8.3f s  %6g Hz  %-32s  %s%s\n", jobs[i].seconds, jobs[i].subject.rate_hz,
               jobs[i].broken ? jobs[i].broken->what : jobs[i].subject.plugin->uri,
               jobs[i].promise->name, jobs[i].broken ? " (broken)" : "");
}

/* ---- tests ---- */

/* One loop round for each job; those of other promises and kinds are left to their own cases. */
START_TEST(promise_is_kept) {
    const Job *job = &jobs[_i];
    ck_assert_msg(job->kept, "%s, %g Hz: broken is \"%s\": %s (seed %llu)",
                  job->subject.plugin->uri, job->subject.rate_hz, job->promise->name, job->why.text,
                  (unsigned long long)contract_seed());
}
END_TEST

START_TEST(broken_is_refused) {
    const Job *job = &jobs[_i];
    ck_assert_msg(!job->kept, "%s is said to keep \"%s\"", job->broken->what, job->promise->name);
    ck_assert_msg(strstr(job->why.text, job->broken->reason) != NULL,
                  "%s is refused for another reason than \"%s\": %s", job->broken->what,
                  job->broken->reason, job->why.text);
}
END_TEST

/* A check that nothing has ever failed proves nothing. */
START_TEST(every_promise_is_broken_by_something) {
    const Promise *promise;
    for (size_t i = 0; (promise = promise_at(i)); i++) {
        bool broken = false;
        for (size_t k = 0; k < n_broken; k++)
            broken |= strcmp(broken_cases[k].promise, promise->name) == 0;
        ck_assert_msg(broken, "nothing here breaks \"%s\"", promise->name);
    }
}
END_TEST

static void add_case(Suite *suite, const char *name, const TTest *test, size_t from, size_t to) {
    TCase *tc = tcase_create(name);
    if (from < to)
        tcase_add_loop_test(tc, test, (int)from, (int)to);
    suite_add_tcase(suite, tc);
}

static void add_promises(Suite *suite) {
    const Promise *promise;
    for (size_t i = 0; (promise = promise_at(i)); i++) {
        size_t from = n_jobs;
        if (wanted(promise->name) && !contract_can_tell(promise))
            printf("not asked, since it cannot be told here: %s\n", promise->name);
        else if (wanted(promise->name))
            add_promise(promise);
        add_case(suite, promise->name, promise_is_kept, from, n_jobs);
    }
}

static void add_broken(Suite *suite) {
    static const char name[] = "broken plugins are refused";
    char path[PATH_MAX];
    size_t from = n_jobs;
    if (!wanted(name) || getenv("SISKIN_ONLY"))
        return;
    beside("test-lv2", path);
    broken_cases = contract_broken(path, &n_broken);
    if (!broken_cases)
        exit(EXIT_FAILURE);
    for (size_t i = 0; i < n_broken; i++) {
        const Promise *promise = promise_named(broken_cases[i].promise);
        if (contract_can_tell(promise))
            add_job(promise, broken_cases[i].subject, &broken_cases[i]);
    }
    TCase *tc = tcase_create(name);
    tcase_add_loop_test(tc, broken_is_refused, (int)from, (int)n_jobs);
    tcase_add_test(tc, every_promise_is_broken_by_something);
    suite_add_tcase(suite, tc);
}

int main(void) {
    const char *seed = getenv("SISKIN_SEED");
    contract_prepare(seed ? strtoull(seed, NULL, 10) : 20240229);
    find_subjects();
    if (other_rates() < N_OTHERS)
        printf("asked at 48 kHz and at %zu of %d other rates, each bundle at its own (seed %llu)\n",
               other_rates(), (int)N_OTHERS, (unsigned long long)contract_seed());
    Suite *suite = suite_create("contract");
    add_promises(suite);
    add_broken(suite);
    for (size_t i = 0; i < n_jobs; i++)
        contract_take(jobs[i].subject.rate_hz); /* once, before the questions are forked off */
    ask_all();
    print_times();
    SRunner *runner = srunner_create(suite);
    srunner_set_fork_status(runner, CK_NOFORK); /* all that could crash has run */
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    if (broken_cases)
        contract_broken_end();
    free(broken_cases);
    free(jobs);
    return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
