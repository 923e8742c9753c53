/* SPDX-License-Identifier: ISC */
/* siskin render: takes through processors, from file to file. */
#include "siskin/command.h"
#include "siskin/chains/order.h"
#include "siskin/chains/settings.h"
#include "siskin/edit/lane.h"
#include "siskin/files.h"
#include "siskin/options.h"
#include "siskin/place.h"
#include "siskin/pool.h"
#include "siskin/render/folder.h"
#include "siskin/render/report.h"
#include "siskin/text.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

/* Options as written. */
typedef struct {
    const char *bundles, *chain, *tail, *format, *bits, *trace, *trace_step, *jobs, *patience;
    const char *full_scale, *from, *to, *summary, *page, *loudness, *peak;
    bool salvage, live, deep, json, stems, stereo, skip_done, no_dither, quiet, help;
} Words;

/* Options as meant. */
typedef struct {
    Chain *chain;
    TakeJob job;
    const char *chains; /* folder of them, or NULL */
    int n_feeds;
    char *const *feeds;
    Events events;
    const char *trace, *summary, *page;
    unsigned parallel;
    bool deep, skip_done, json, quiet;
} Request;

#define MAX_TAIL_S 600.0
#define MAX_PATIENCE_S 86400.0

enum { MAX_JOBS = 256 };

static void print_help(const Option *options, size_t count) {
    puts("siskin render TAKE OUT PROCESSOR [CONTROL=VALUE]... [PROCESSOR ...]\n"
         "siskin render --chain FILE TAKE OUT [BUS=FILE]...\n"
         "\n"
         "Renders TAKE through the processors, in order, into OUT: as long as TAKE, and in place,\n"
         "since latency is taken out. TAKE is never changed; OUT is whole or not there. A "
         "processor\n"
         "is one of ours (siskin list), or any LV2 plugin by its URI; it takes preset=NAME, and\n"
         "key=FILE if it has a key input. Values take units and labels: range=8dB "
         "audition=removed.\n"
         "\n"
         "  siskin render take.wav out.wav transient-tamer breath-ducker depth=18\n"
         "  siskin render wet.wav ducked.wav return-ducker key=lead.wav lookahead=10\n"
         "  siskin render --chain lead-with-return take.wav mix.wav return=wet.wav\n"
         "\n"
         "TAKE a folder: every take in it goes to the folder OUT under its own name; keys and\n"
         "busses may then be folders too, with files of the same names.\n");
    puts("events=FILE, after OUT: what siskin measure --events prints. A breath, sibilant, click "
         "or thump\n"
         "whose 'treat' you changed to 'leave' is left alone by the processors of that kind.\n");
    options_print(options, count);
    puts("\n"
         "A chain file: a statement a line; # begins a comment, \"quotes\" hold words together.\n"
         "  bus NAME [mono|stereo]  begins a bus; what follows is in it\n"
         "  from BUS [DB]           a send from BUS (BUS.in: from before its processors)\n"
         "  PROCESSOR [CONTROL=VALUE]... [preset=NAME] [key=BUS|BUS.in|none]\n"
         "  fader DB                gain, after the processors\n"
         "  pan POSITION            -100 left to 100 right. Mono: equal power, -3 dB each side in\n"
         "                          the middle. Stereo: balance\n"
         "  to BUS|none             where it goes, else to the mix\n"
         "  lane NAME [hold|line]   begins a lane; below it TIME VALUE, or FROM TO VALUE, a line\n"
         "                          each. CONTROL=@NAME, fader @NAME, pan @NAME move by it; NAME "
         "may\n"
         "                          be a file of such lines\n"
         "A bus that no bus feeds plays a file: the first TAKE, others BUS=FILE. The bus 'mix' is\n"
         "what is written. Keys and sends are taken after the fader, before the pan. All stay\n"
         "aligned, whatever their latency. Mono busses without any pan make a mono mix.\n"
         "\n"
         "Exit status: 0 done, 1 a file, plugin or the machine failed (in a folder: at least one\n"
         "take did), 2 the command line or the chain is wrong.");
}

/* ---- options ---- */

static bool time_option(const char *word, const char *name, double *value, HostError *error) {
    return !word || lane_time(word, value) ||
           host_fail(error, "--%s %s: write seconds (83.25) or minutes (1:23.25)", name, word);
}

static bool finish_options(const Words *words, FinishAim *aim, HostError *error) {
    aim->by_loudness = words->loudness != NULL;
    aim->by_peak = words->peak != NULL;
    return options_number(words->loudness, "loudness", -60.0, 0.0, &aim->loudness_lufs, error) &&
           options_number(words->peak, "peak", -60.0, 0.0, &aim->peak_db, error);
}

static bool read_options(const Words *words, Request *request, HostError *error) {
    static const char *const formats[] = {"wav", "flac", "aiff", "mp3", "opus"};
    double jobs = (double)sysconf(_SC_NPROCESSORS_ONLN);
    int format = AUDIO_BY_NAME;
    request->job.trace_step_ms = TAKE_TRACE_STEP_MS;
    if (!options_number(words->tail, "tail", 0.0, MAX_TAIL_S, &request->job.tail_s, error) ||
        !options_number(words->trace_step, "trace-step", 0.1, 1000.0, &request->job.trace_step_ms,
                        error) ||
        !options_number(words->patience, "patience", 0.1, MAX_PATIENCE_S, &request->job.patience_s,
                        error) ||
        !time_option(words->from, "from", &request->job.from_s, error) ||
        !time_option(words->to, "to", &request->job.to_s, error) ||
        !options_number(words->full_scale, "full-scale", 1.0, 1e12, &request->job.how.full_scale,
                        error) ||
        !finish_options(words, &request->job.finish, error) ||
        !options_number(words->jobs, "jobs", 1.0, MAX_JOBS, &jobs, error) ||
        !options_choice(words->format, "format", formats, 5, &format, error) ||
        !audio_bits_option(words->bits, &request->job.format.bits, error))
        return false;
    if (words->to && request->job.to_s <= request->job.from_s)
        return host_fail(error, "--to %s comes not after --from %s", words->to,
                         words->from ? words->from : "0");
    request->job.format.container = (AudioContainer)format;
    request->job.format.no_dither = words->no_dither;
    request->job.how.salvage = words->salvage;
    request->job.live = words->live;
    request->job.stems = words->stems;
    request->job.stereo = words->stereo;
    request->trace = words->trace;
    request->summary = words->summary;
    request->page = words->page;
    request->deep = words->deep;
    request->json = words->json;
    request->parallel = jobs < 1.0 ? 1 : (unsigned)jobs;
    request->skip_done = words->skip_done;
    request->quiet = words->quiet;
    return true;
}

/* ---- the chain ---- */

/* One for all takes, but for a folder of takes with a folder of chains. A single take has the one
 * of its name. */
static bool read_chain(const Words *words, int argc, char **argv, Request *request,
                       HostError *error) {
    bool chains = words->chain && files_is_folder(words->chain);
    char *own = chains ? files_renamed(words->chain, text_base(argv[0]), ".chain") : NULL;
    request->n_feeds = argc - 2;
    request->feeds = argv + 2;
    request->chains = chains && files_is_folder(argv[0]) ? words->chain : NULL;
    if (!request->chains)
        request->chain = order_chain(own ? own : words->chain, argc - 2, argv + 2, error);
    request->job.chain = request->chain;
    free(own);
    return request->chains || request->chain;
}

/* Takes events=FILE out of the words after TAKE and OUT. */
static bool read_events(int *argc, char **argv, Request *request, HostError *error) {
    static const char word[] = "events=";
    int kept = 0;
    for (int i = 0; i < *argc; i++) {
        if (i < 2 || strncmp(argv[i], word, strlen(word)) != 0) {
            argv[kept++] = argv[i];
            continue;
        }
        if (request->job.events)
            return host_fail(error, "events= is there twice");
        if (!events_load(&request->events, argv[i] + strlen(word), error))
            return false;
        request->job.events = &request->events;
    }
    *argc = kept;
    return true;
}

/* ---- one take ---- */

typedef struct {
    const Request *request;
    Progress progress;
    int status;
} Single;

static void finish_single(void *user, size_t number, const TakeReport *report) {
    (void)number;
    Single *single = user;
    progress_clear(&single->progress);
    if (!report->done) {
        int status = report->usage ? STATUS_USAGE : STATUS_FAILED;
        single->status = command_fail("render", status, &report->error);
        return;
    }
    if (single->request->json) {
        Json json = json_begin(stdout);
        report_json(&json, &single->request->job, report);
    } else if (!single->request->quiet)
        report_take(&single->request->job, report);
    report_note_lines(report->notes);
}

static void show_single(void *user, double done, size_t jobs_done, size_t jobs_running) {
    (void)jobs_done;
    (void)jobs_running;
    Single *single = user;
    progress_show(&single->progress, text_base(single->request->job.take), done);
}

static int render_single(Host *host, Request *request, const char *take, const char *out) {
    HostError error;
    TakeJob *job = &request->job;
    Single single = {.request = request};
    const PoolWatcher watcher = {finish_single, show_single, &single};
    job->take = take;
    job->out = out;
    job->trace = request->trace;
    for (size_t i = 0; job->chain && i < job->chain->n_busses; i++)
        job->feed[i] = job->chain->busses[i].file;
    if (files_is_folder(out)) {
        host_fail(&error, "%s is a folder; name the file to write", out);
        return command_fail("render", STATUS_USAGE, &error);
    }
    if (!audio_resolve_format(&job->format, out, &error))
        return command_fail("render", STATUS_USAGE, &error);
    single.progress = progress_begin(request->quiet);
    bool ran = pool_run(host, job, 1, 1, &watcher, &error);
    progress_clear(&single.progress);
    return ran ? single.status : command_fail("render", STATUS_FAILED, &error);
}

/* ---- a folder ---- */

static int render_folder(Host *host, Request *request, const char *takes, const char *outs) {
    HostError error;
    size_t failed = 0;
    const FolderJob folder = {.takes = takes,
                              .outs = outs,
                              .like = &request->job,
                              .deep = request->deep,
                              .chains = request->chains,
                              .n_feeds = request->n_feeds,
                              .feeds = request->feeds,
                              .traces = request->trace,
                              .summary = request->summary,
                              .page = request->page,
                              .parallel = request->parallel,
                              .skip_done = request->skip_done,
                              .json = request->json,
                              .quiet = request->quiet};
    AudioFormat *format = &request->job.format;
    if (format->container == AUDIO_BY_NAME)
        format->container = AUDIO_WAV;
    if (!audio_resolve_format(format, outs, &error))
        return command_fail("render", STATUS_USAGE, &error);
    if (!folder_render(host, &folder, &failed, &error))
        return command_fail("render", STATUS_FAILED, &error);
    return failed ? STATUS_FAILED : STATUS_OK;
}

/* ---- the command ---- */

static int render(const Words *words, int argc, char **argv, Request *request) {
    HostError error;
    if (argc < 2) {
        host_fail(&error, "name a TAKE, an OUT and processors; siskin render --help tells more");
        return command_fail("render", STATUS_USAGE, &error);
    }
    if (!read_options(words, request, &error) || !read_events(&argc, argv, request, &error) ||
        !read_chain(words, argc, argv, request, &error))
        return command_fail("render", STATUS_USAGE, &error);
    Host *host = place_open_host(words->bundles, &error);
    if (!host)
        return command_fail("render", STATUS_FAILED, &error);
    int result = STATUS_OK;
    if (request->chain && !settings_read(host, request->chain, &error))
        result = command_fail("render", STATUS_USAGE, &error);
    else if (files_is_folder(argv[0]))
        result = render_folder(host, request, files_trim(argv[0]), files_trim(argv[1]));
    else
        result = render_single(host, request, argv[0], argv[1]);
    host_close(host);
    return result;
}

int command_render(int argc, char **argv) {
    HostError error;
    Words words = {0};
    Request request = {0};
    const Option options[] = {
        {"chain", "FILE",
         "a chain file, or a ready chain by its name (siskin list), or a\n"
         "folder with a NAME.chain for each take (advise --into)",
         &words.chain, NULL},
        {"stems", NULL, "also write each bus beside OUT, as OUT.BUS", NULL, &words.stems},
        {"live", NULL,
         "as a host plays it: noise-reducer is not played the take's room\n"
         "ahead of the first frame, nor smooth-compressor its voice",
         NULL, &words.live},
        {"salvage", NULL, "render what is there of a damaged file; tell the holes", NULL,
         &words.salvage},
        {"full-scale", "NUMBER",
         "what stands for full scale in files of floats that hold whole\n"
         "numbers: 32768",
         &words.full_scale, NULL},
        {"tail", "SECONDS", "go on after the take, for echoes to end", &words.tail, NULL},
        {"from", "TIME", "write from there on; it sounds as in the whole render", &words.from,
         NULL},
        {"to", "TIME", "write up to there; seconds (83.25) or minutes (1:23.25)", &words.to, NULL},
        {"loudness", "LUFS",
         "one gain for all of it, so that its integrated loudness is this,\n"
         "as long as its true peak stays under --peak; tells when it cannot",
         &words.loudness, NULL},
        {"peak", "DBTP",
         "with --loudness: the most its true peak may be (-1); alone: what\n"
         "it is to be",
         &words.peak, NULL},
        {"stereo", NULL, "make a mono take stereo before its processors", NULL, &words.stereo},
        {"format", "NAME",
         "wav, flac, aiff, mp3 or opus (else by OUT's name; folders:\n"
         "wav)",
         &words.format, NULL},
        {"bits", "DEPTH",
         "float, 24 or 16 (wav: float; flac, aiff: 24); 16 is dithered,\n"
         "triangular, two steps; 24 is rounded",
         &words.bits, NULL},
        {"no-dither", NULL, "round to 16 bit without dither", NULL, &words.no_dither},
        {"trace", "FILE", "write all meters over time as CSV (TAKE a folder: a folder)",
         &words.trace, NULL},
        {"trace-step", "MS", "a row of the trace (5)", &words.trace_step, NULL},
        {"jobs", "N", "takes of a folder at a time (one a core)", &words.jobs, NULL},
        {"subfolders", NULL, "folder: also the takes in the folders in it", NULL, &words.deep},
        {"summary", "FILE", "folder: a row for each take, as CSV", &words.summary, NULL},
        {"page", "FILE", "folder: one page with a row and players for each take", &words.page,
         NULL},
        {"skip-done", NULL,
         "folder: skip takes whose output was made of the same files with\n"
         "the same settings",
         NULL, &words.skip_done},
        {"patience", "SECONDS",
         "how long a processor may take to begin, over one block, and to\n"
         "end (60)",
         &words.patience, NULL},
        {"json", NULL, "print what was done as JSON", NULL, &words.json},
        {"quiet", NULL, "print nothing but errors and notes", NULL, &words.quiet},
        {"bundles", "DIR", PLACE_BUNDLES_HELP, &words.bundles, NULL},
        {"help", NULL, "this", NULL, &words.help},
    };
    const size_t n_options = sizeof options / sizeof *options;
    if (!options_take(options, n_options, &argc, argv, &error))
        return command_fail("render", STATUS_USAGE, &error);
    if (words.help) {
        print_help(options, n_options);
        return STATUS_OK;
    }
    int status = render(&words, argc, argv, &request);
    chain_free(request.chain);
    events_free(&request.events);
    return status;
}
