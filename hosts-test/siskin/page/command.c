/* SPDX-License-Identifier: ISC */
/* siskin report: a take before and after its processors, as a page to look at and to listen to. */
#include "siskin/command.h"
#include "siskin/advise/trial.h"
#include "siskin/chains/order.h"
#include "siskin/chains/settings.h"
#include "siskin/files.h"
#include "siskin/options.h"
#include "siskin/page/write.h"
#include "siskin/place.h"
#include "siskin/pool.h"
#include "siskin/render/report.h"
#include "siskin/text.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <sys/stat.h>
#include <unistd.h>

enum { MOST_TRACE_ROWS = 120000 };
static const double TRACE_STEP_MS = 5.0;

typedef struct {
    const char *bundles, *chain;
    bool stereo, quiet, help;
} Words;

typedef struct {
    const Words *words;
    const char *take, *out;
    Chain *chain;
    SafeFile result, trace; /* beside the page while it is made */
    double trace_step_s;
    Progress progress;
    const char *now; /* what is under way */
    int status;
    Page page;
} Job;

static void print_help(const Option *options, size_t count) {
    puts("siskin report TAKE PAGE.html PROCESSOR [CONTROL=VALUE]... [PROCESSOR ...]\n"
         "siskin report --chain FILE TAKE PAGE.html [BUS=FILE]...\n"
         "\n"
         "Renders TAKE as siskin render does and writes one page for any browser: what was wrong\n"
         "and what is left of it; waveforms, spectrograms, loudness, pitch and the gain of each\n"
         "processor; each phrase, breath, sibilant, click and thump; figures before and after; and "
         "take,\n"
         "result and what was removed, to switch between while they play. TAKE is never changed.\n"
         "\n"
         "  siskin report take.wav page.html transient-tamer breath-ducker depth=18\n"
         "  siskin report --chain lead-hard take.wav page.html\n");
    options_print(options, count);
    puts("\n"
         "The page needs no other file. Its sound is lossless where it fits, else coded: ten "
         "minutes\n"
         "are under 10 MB. While it is made, the result lies beside it.\n"
         "\n"
         "Exit status: 0 done, 1 a file, plugin or the machine failed, 2 the command line or the\n"
         "chain is wrong.");
}

/* ---- what is asked for ---- */

static bool ends_like_a_page(const char *path) {
    const char *dot = strrchr(text_base(path), '.');
    return dot && (strcasecmp(dot, ".html") == 0 || strcasecmp(dot, ".htm") == 0);
}

static bool check_paths(const Job *job, HostError *error) {
    if (files_is_folder(job->take))
        return host_fail(error, "%s is a folder; a page is of one take", job->take);
    if (files_is_folder(job->out))
        return host_fail(error, "%s is a folder; name the page to write", job->out);
    if (!ends_like_a_page(job->out))
        return host_fail(error, "%s: a page's name ends in .html", job->out);
    if (safe_same_file(job->out, job->take))
        return host_fail(error, "%s is the take itself; give the page another name", job->out);
    if (job->chain->path && safe_same_file(job->out, job->chain->path))
        return host_fail(error, "%s is the chain file itself; give another name", job->out);
    for (size_t i = 0; i < job->chain->n_busses; i++) {
        const char *file = job->chain->busses[i].file;
        if (file && safe_same_file(job->out, file))
            return host_fail(error, "%s would be written over %s, which is read", job->out, file);
    }
    return true;
}

/* ---- the chain as text ---- */

static void add_text(char **text, const char *format, const char *a, const char *b) {
    char *more = text_print(format, a, b);
    char *longer = text_print("%s%s", *text, more);
    free(more);
    free(*text);
    *text = longer;
}

static void add_processor(char **text, const ChainProcessor *p) {
    add_text(text, "%s%s", p->name, "");
    if (p->preset)
        add_text(text, " %s=%s", "preset", p->preset);
    for (size_t i = 0; i < p->n_settings; i++)
        add_text(text, " %s=%s", p->settings[i].control, p->settings[i].value);
    if (p->key.name)
        add_text(text, " %s=%s", "key", p->key.name);
    add_text(text, "%s%s", "\n", "");
}

/* The chain file as it is, or the processors of the command line, a line each; then the files. */
static void print_chain(Job *job) {
    const Chain *chain = job->chain;
    char **text = &job->page.chain_text;
    *text = text_copy(chain->path ? chain->text : "");
    for (size_t b = 0; !chain->path && b < chain->n_busses; b++)
        for (size_t i = 0; i < chain->busses[b].n_processors; i++)
            add_processor(text, &chain->busses[b].processors[i]);
    for (size_t b = 0; b < chain->n_busses; b++)
        if (chain->busses[b].file)
            add_text(text, "# %s is fed by %s\n", chain->busses[b].name, chain->busses[b].file);
}

/* ---- the render ---- */

static void finish_render(void *user, size_t number, const TakeReport *report) {
    (void)number;
    Job *job = user;
    memcpy(&job->page.report, report, sizeof *report);
}

static void show(void *user, double done) {
    Job *job = user;
    progress_show(&job->progress, job->now, done);
}

static void show_render(void *user, double done, size_t jobs_done, size_t jobs_running) {
    (void)jobs_done;
    (void)jobs_running;
    show(user, done);
}

/* A row of the trace: 5 ms, longer for long takes. */
static bool choose_step(Job *job, HostError *error) {
    AudioReader reader;
    bool fine = audio_open(&reader, job->take, error);
    if (fine) {
        double length_s = (double)reader.frames / reader.rate_hz;
        double step_s = fmax(1e-3 * TRACE_STEP_MS, length_s / MOST_TRACE_ROWS);
        job->trace_step_s = fmax(1.0, rint(step_s * reader.rate_hz)) / reader.rate_hz;
    }
    audio_close(&reader);
    return fine;
}

static bool render(Job *job, Host *host, HostError *error) {
    const PoolWatcher watcher = {finish_render, show_render, job};
    TakeJob take = {.take = job->take,
                    .out = job->result.part,
                    .chain = job->chain,
                    .format = {AUDIO_WAV, AUDIO_BITS_FLOAT, false},
                    .stereo = job->words->stereo,
                    .trace = job->trace.part,
                    .trace_step_ms = 1e3 * job->trace_step_s};
    for (size_t i = 0; i < job->chain->n_busses; i++)
        take.feed[i] = job->chain->busses[i].file;
    job->now = "rendering";
    if (!pool_run(host, &take, 1, 1, &watcher, error))
        return false;
    const TakeReport *report = &job->page.report;
    if (!report->done && report->usage)
        job->status = STATUS_USAGE;
    return report->done || host_fail(error, "%s", report->error.text);
}

/* ---- measuring and looking ---- */

static bool look_at(Job *job, const char *path, Look *look, HostError *error) {
    static float audio[2][AUDIO_BLOCK];
    float *const to[] = {audio[0], audio[1]};
    const float *const from[] = {audio[0], audio[1]};
    AudioReader reader;
    bool fine = audio_open(&reader, path, error);
    if (fine && !look_open(look, reader.rate_hz, reader.channels, reader.frames))
        fine = host_fail(error, "out of memory");
    while (fine && reader.at < reader.frames) {
        uint64_t left = reader.frames - reader.at;
        size_t n = left < AUDIO_BLOCK ? (size_t)left : AUDIO_BLOCK;
        fine = audio_read(&reader, to, n, error);
        if (fine)
            look_hear(look, from, n);
        show(job, (double)reader.at / (double)reader.frames);
    }
    if (fine)
        look_finish(look);
    audio_close(&reader);
    return fine;
}

static void add_faders(Job *job) {
    for (size_t b = 0; b < job->chain->n_busses; b++) {
        const ChainBus *bus = &job->chain->busses[b];
        if (!bus->fader_move.name)
            continue;
        char *label = text_print("%s: fader", bus->name);
        gains_add_lane(&job->page.gains, label, &job->chain->lanes[bus->fader_move.lane],
                       job->page.before.length_s);
        free(label);
    }
}

/* As siskin advise does, so that both judge alike: the rest is judged with hum, noise, rumble and
 * DC taken out, where they need it and the chain does it. */
static bool do_the_front(Job *job, Host *host, HostError *error) {
    Page *page = &job->page;
    Advice advice = advice_of(&page->before);
    for (size_t i = 0; i < advice_front(); i++)
        advice.in_vain[i] = !page_chain_has(job->chain, advice_rules[i].processor);
    if (!advice_wants_front(&advice))
        return true;
    return advice_try(host, &advice, advice_front() - 1, &job->progress, &page->clean, NULL, error);
}

static bool gather(Job *job, Host *host, HostError *error) {
    Page *page = &job->page;
    const char *result = job->result.part;
    job->now = "measuring the take";
    if (!measure_take(job->take, &page->before, show, job, error))
        return false;
    if (!do_the_front(job, host, error))
        return false;
    job->now = "measuring the result";
    if (!measure_take(result, &page->after, show, job, error))
        return false;
    job->now = "drawing";
    if (!look_at(job, job->take, &page->before_look, error) ||
        !look_at(job, result, &page->after_look, error) ||
        !gains_read(&page->gains, job->trace.part, job->trace_step_s, error))
        return false;
    add_faders(job);
    job->now = "coding the sound";
    return sounds_make(&page->sounds, job->take, result, SOUND_BUDGET, show, job, error);
}

/* ---- the page ---- */

static bool write_file(const Page *page, SafeFile *safe, HostError *error) {
    FILE *file = safe_stream(safe, error);
    if (!file)
        return false;
    page_write(file, page);
    return safe_stream_end(safe, file, error);
}

static bool write_page(Job *job, HostError *error) {
    SafeFile safe;
    SafeFile *const files[] = {&safe};
    if (!safe_open(&safe, job->out, error))
        return false;
    bool fine = write_file(&job->page, &safe, error) && safe_commit(files, 1, error);
    safe_discard(&safe);
    return fine;
}

/* The result and the trace are written under names that go with this process. */
static bool open_aside(Job *job, HostError *error) {
    char *result = text_print("%s.result.wav", job->out);
    char *trace = text_print("%s.trace.csv", job->out);
    bool fine = safe_open(&job->result, result, error) && safe_open(&job->trace, trace, error);
    free(result);
    free(trace);
    return fine;
}

static void free_page(Page *page) {
    free(page->chain_text);
    measures_free(&page->before);
    measures_free(&page->after);
    measures_free(&page->clean);
    look_close(&page->before_look);
    look_close(&page->after_look);
    gains_free(&page->gains);
    sounds_free(&page->sounds);
}

static void print_done(const Job *job) {
    struct stat status;
    const Page *page = &job->page;
    char length[32];
    if (job->words->quiet || stat(job->out, &status) != 0)
        return;
    printf("%s: %s of %s, %.1f MB, sound %s\n", job->out, text_time(length, page->before.length_s),
           job->take, 1e-6 * (double)status.st_size, page->sounds.coded ? "coded" : "lossless");
}

static bool make_page(Job *job, Host *host, HostError *error) {
    safe_catch_signals();
    job->progress = progress_begin(job->words->quiet);
    print_chain(job);
    bool fine = choose_step(job, error) && open_aside(job, error) && render(job, host, error) &&
                gather(job, host, error) && write_page(job, error);
    progress_clear(&job->progress);
    safe_discard(&job->result);
    safe_discard(&job->trace);
    return fine;
}

/* ---- the command ---- */

static int report(Job *job, HostError *error) {
    job->page.take = job->take;
    job->page.chain = job->chain;
    Host *host = place_open_host(job->words->bundles, error);
    if (!host)
        return command_fail("report", STATUS_FAILED, error);
    job->status = STATUS_FAILED;
    int result = STATUS_OK;
    if (!settings_read(host, job->chain, error))
        result = command_fail("report", STATUS_USAGE, error);
    else if (!make_page(job, host, error))
        result = command_fail("report", job->status, error);
    else
        print_done(job);
    if (result == STATUS_OK)
        report_note_lines(job->page.report.notes);
    free_page(&job->page);
    host_close(host);
    return result;
}

int command_report(int argc, char **argv) {
    HostError error;
    Words words = {0};
    const Option options[] = {
        {"chain", "FILE", "a chain file, or a ready chain by its name (siskin list)", &words.chain,
         NULL},
        {"stereo", NULL, "make a mono take stereo before its processors", NULL, &words.stereo},
        {"quiet", NULL, "print nothing but errors and notes", NULL, &words.quiet},
        {"bundles", "DIR", PLACE_BUNDLES_HELP, &words.bundles, NULL},
        {"help", NULL, "this", NULL, &words.help},
    };
    const size_t n_options = sizeof options / sizeof *options;
    if (!options_take(options, n_options, &argc, argv, &error))
        return command_fail("report", STATUS_USAGE, &error);
    if (words.help) {
        print_help(options, n_options);
        return STATUS_OK;
    }
    if (argc < 2) {
        host_fail(&error, "name a TAKE, a PAGE.html and processors; siskin report --help tells "
                          "more");
        return command_fail("report", STATUS_USAGE, &error);
    }
    Job *job = text_take(1, sizeof *job);
    job->words = &words;
    job->take = argv[0];
    job->out = argv[1];
    job->chain = order_chain(words.chain, argc - 2, argv + 2, &error);
    int status = job->chain && check_paths(job, &error)
                     ? report(job, &error)
                     : command_fail("report", STATUS_USAGE, &error);
    chain_free(job->chain);
    free(job);
    return status;
}
