/* SPDX-License-Identifier: ISC */
/* siskin measure: what a take is like, in figures. */
#include "siskin/command.h"
#include "siskin/measure/print.h"
#include "siskin/measure/takes.h"
#include "siskin/options.h"

#include <stdio.h>

typedef struct {
    const char *against;
    bool json, csv, events, all, deep, quiet, help;
} Words;

typedef struct {
    const Words *words;
    Takes takes;
    size_t failed;
    Measures reference;
    Json json;
    Progress progress;
} Job;

static void print_help(const Option *options, size_t count) {
    puts("siskin measure TAKE...\n"
         "siskin measure --json|--csv|--events TAKE...\n"
         "\n"
         "Measures each TAKE, or every take of a folder: loudness and peaks; noise, hum, rumble,\n"
         "clipping and room; phrases, breaths, sibilants, clicks and thumps; four bands; pitch and "
         "key.\n"
         "\n"
         "  siskin measure take.wav\n"
         "  siskin measure --against finished.wav take.wav\n"
         "  siskin measure --csv takes > takes.csv\n");
    options_print(options, count);
    puts("\n"
         "dBFS         mean square: a full-scale sine is -3.0\n"
         "LUFS, LU     ITU-R BS.1770-4, EBU Tech 3341 and 3342\n"
         "sounds       as the processors find them at their defaults\n"
         "band         while sung, sibilants apart; spread is the deviation of the levels of 20 "
         "ms:\n"
         "             what is saturated or compressed has less\n"
         "T60          from the ends of phrases; a dry voice reads 0.2 s\n"
         "resonance    150 Hz to 1 kHz, stays while notes and vowels move\n"
         "off pitch    each note without its vibrato, to the nearest semitone of the take's own "
         "tuning\n"
         "\n"
         "Exit status: 0 done, 1 at least one take failed, 2 the command line is wrong.");
}

/* ---- measuring ---- */

static void print_take(Job *job, const Measures *measures, size_t number) {
    const Measures *reference = job->words->against ? &job->reference : NULL;
    if (job->words->json)
        print_json(&job->json, measures, reference);
    else if (job->words->events)
        print_events_csv(measures);
    else if (job->words->csv)
        print_csv(measures, reference);
    else if (job->takes.folder && !job->words->all && !reference)
        print_row(measures);
    else {
        if (number)
            putchar('\n');
        print_table(measures, reference, job->words->all);
    }
    command_flush();
}

static void begin_output(Job *job) {
    if (job->words->json) {
        job->json = json_begin(stdout);
        json_open(&job->json, NULL, '{', false);
        json_text(&job->json, "reference", job->words->against);
        json_open(&job->json, "takes", '[', false);
    } else if (job->words->events) {
        print_events_head();
    } else if (job->words->csv) {
        print_csv_head(job->words->against != NULL);
    } else if (job->takes.folder && !job->words->all && !job->words->against) {
        print_row_head();
    }
}

static void end_output(Job *job) {
    if (!job->words->json)
        return;
    json_close(&job->json, ']');
    json_close(&job->json, '}');
}

static int measure_all(Job *job) {
    HostError error;
    job->progress = progress_begin(job->words->quiet);
    if (job->words->against &&
        !takes_measure(job->words->against, &job->reference, &job->progress, &error))
        return command_fail("measure", STATUS_FAILED, &error);
    begin_output(job);
    for (size_t i = 0; i < job->takes.n; i++) {
        Measures measures;
        if (!takes_measure(job->takes.path[i], &measures, &job->progress, &error)) {
            command_fail("measure", STATUS_FAILED, &error);
            job->failed++;
            continue;
        }
        print_take(job, &measures, i);
        measures_free(&measures);
    }
    end_output(job);
    measures_free(&job->reference);
    return job->failed ? STATUS_FAILED : STATUS_OK;
}

/* ---- the command ---- */

int command_measure(int argc, char **argv) {
    HostError error;
    Words words = {0};
    Job job = {.words = &words};
    const Option options[] = {
        {"json", NULL, "all figures and events as JSON; null is unknown", NULL, &words.json},
        {"csv", NULL, "one line for each take, comma-separated", NULL, &words.csv},
        {"events", NULL,
         "each breath, sibilant, click, thump and phrase in a line, comma-separated,\n"
         "in the order of time",
         NULL, &words.events},
        {"subfolders", NULL, "of a folder, also the takes in the folders in it", NULL, &words.deep},
        {"against", "REFERENCE",
         "also how each band differs from REFERENCE in level and spread,\n"
         "at equal loudness",
         &words.against, NULL},
        {"all", NULL, "also list each phrase, breath, sibilant, click and thump", NULL, &words.all},
        {"quiet", NULL, "show no progress", NULL, &words.quiet},
        {"help", NULL, "this", NULL, &words.help},
    };
    const size_t n_options = sizeof options / sizeof *options;
    if (!options_take(options, n_options, &argc, argv, &error))
        return command_fail("measure", STATUS_USAGE, &error);
    if (words.help) {
        print_help(options, n_options);
        return STATUS_OK;
    }
    if (argc < 1) {
        host_fail(&error, "name a TAKE or a folder of takes; siskin measure --help tells more");
        return command_fail("measure", STATUS_USAGE, &error);
    }
    if (words.json + words.csv + words.events > 1) {
        host_fail(&error, "--json, --csv and --events: one of them at a time");
        return command_fail("measure", STATUS_USAGE, &error);
    }
    job.takes.deep = words.deep;
    int status = takes_find(&job.takes, argc, argv, &error)
                     ? measure_all(&job)
                     : command_fail("measure", STATUS_FAILED, &error);
    takes_free(&job.takes);
    return status;
}
