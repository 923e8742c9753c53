/* SPDX-License-Identifier: ISC */
#include "siskin/render/take_work.h"

#include "siskin/files.h"
#include "siskin/render/stamp.h"
#include "siskin/text.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

static void note(Take *take, const char *format, ...) __attribute__((format(printf, 2, 3)));

static void note(Take *take, const char *format, ...) {
    char line[512];
    va_list args;
    va_start(args, format);
    vsnprintf(line, sizeof line, format, args);
    va_end(args);
    text_add(take->report->notes, sizeof take->report->notes, "%s\n", line);
}

/* ---- files ---- */

char *take_stem_path(const char *out, const char *bus) {
    const char *base = text_base(out);
    const char *dot = strrchr(base, '.');
    size_t length = dot && dot != base ? (size_t)(dot - out) : strlen(out);
    return text_print("%.*s.%s%s", (int)length, out, bus, out + length);
}

bool take_has_stem(const TakeJob *job, size_t bus) {
    return job->stems && job->chain->busses[bus].to == job->chain->mix;
}

size_t take_outputs(const TakeJob *job, char *path[TAKE_MAX_OUTPUTS]) {
    size_t count = 0;
    path[count++] = text_copy(job->out);
    for (size_t i = 0; i < job->chain->n_busses; i++)
        if (take_has_stem(job, i))
            path[count++] = take_stem_path(job->out, job->chain->busses[i].name);
    if (job->trace)
        path[count++] = text_copy(job->trace);
    return count;
}

const char *take_input(const TakeJob *job, size_t bus) {
    if (!job->chain->busses[bus].wants_file)
        return NULL;
    return (int)bus == job->chain->take ? job->take : job->feed[bus];
}

static bool check_outputs(Take *take) {
    char *path[TAKE_MAX_OUTPUTS];
    size_t count = take_outputs(take->job, path);
    bool fine = true;
    for (size_t o = 0; o < count && fine; o++) {
        for (size_t b = 0; b < take->chain->n_busses && fine; b++) {
            const char *input = take_input(take->job, b);
            if (input && safe_same_file(path[o], input))
                fine = host_fail(take->error,
                                 "%s would be written over %s, which is read; give "
                                 "another name",
                                 path[o], input);
        }
        if (take->chain->path && safe_same_file(path[o], take->chain->path))
            fine =
                host_fail(take->error, "%s is the chain file itself; give another name", path[o]);
        for (size_t other = 0; other < o && fine; other++)
            if (files_key(path[o]) == files_key(path[other]))
                fine = host_fail(take->error, "%s would be written twice", path[o]);
    }
    for (size_t o = 0; o < count; o++)
        free(path[o]);
    return fine;
}

static bool open_inputs(Take *take) {
    for (size_t i = 0; i < take->chain->n_busses; i++) {
        const char *path = take_input(take->job, i);
        AudioReader *reader = &take->placed[i].reader;
        if (!path)
            continue;
        if (!audio_open_how(reader, path, &take->job->how, take->error))
            return false;
    }
    /* The take's own rate is that of the output; what else is heard with it follows. */
    take->rate_hz = take->placed[take->chain->take].reader.rate_hz;
    for (size_t i = 0; i < take->chain->n_busses; i++)
        if (take->placed[i].reader.path &&
            !audio_convert(&take->placed[i].reader, take->rate_hz, take->error))
            return false;
    return true;
}

/* The output is as long as the longest file that can be heard in it, or a section of that. */
static bool find_length(Take *take) {
    char end[32];
    bool heard[CHAIN_MAX_BUSSES];
    const TakeJob *job = take->job;
    uint64_t all = 0;
    chain_heard(take->chain, heard);
    for (size_t i = 0; i < take->chain->n_busses; i++)
        if (heard[i] && take->placed[i].reader.frames > all)
            all = take->placed[i].reader.frames;
    all += (uint64_t)llround(job->tail_s * take->rate_hz);
    uint64_t to = job->to_s > 0.0 ? (uint64_t)llround(job->to_s * take->rate_hz) : all;
    take->first = (uint64_t)llround(job->from_s * take->rate_hz);
    if (take->first >= all)
        return host_fail(take->error, "--from %g: %s ends at %s", job->from_s, job->take,
                         text_time(end, (double)all / take->rate_hz));
    take->frames = (to < all ? to : all) - take->first;
    return true;
}

/* ---- the whole ---- */

/* Of the files as they were opened: who replaces one meanwhile has made a newer take. */
static void stamp_opened(Take *take) {
    uint64_t files = TEXT_HASH_BEGIN;
    for (size_t i = 0; i < take->chain->n_busses; i++) {
        const AudioReader *reader = &take->placed[i].reader;
        if (reader->path)
            files = stamp_file(files, reader->bytes, &reader->changed);
    }
    stamp_write(take->stamp, take->job, files);
}

static bool build(Take *take) {
    double asked_ms = take->job->trace_step_ms;
    double step = (asked_ms > 0.0 ? asked_ms : TAKE_TRACE_STEP_MS) * take->rate_hz / 1000.0;
    take->step = step < 1.0 ? 1 : (size_t)lrint(step);
    take->graph = graph_new(take->rate_hz, take->step);
    if (take->job->trace &&
        !trace_open(&take->trace, take->job->trace, take->rate_hz, take->step, take->error))
        return false;
    for (size_t i = 0; i < take->chain->n_busses; i++)
        if (!take_add_processors(take, i))
            return false;
    for (size_t i = 0; i < take->chain->n_busses; i++)
        take_connect_bus(take, i);
    if (!take_connect_sinks(take))
        return false;
    if (!take_find_rooms(take))
        return false;
    graph_begin(take->graph, take_play_rooms, take);
    HostError why;
    take->report->usage = !graph_prepare(take->graph, &why);
    return !take->report->usage || chain_fail(take->chain, 0, take->error, "%s", why.text);
}

static void begin_trace(Take *take) {
    size_t latest = 0;
    for (size_t b = 0; b < take->chain->n_busses; b++)
        for (size_t i = 0; i < take->chain->busses[b].n_processors; i++) {
            size_t late = graph_lateness(take->graph, take->placed[b].nodes[i]);
            latest = late > latest ? late : latest;
        }
    trace_begin(&take->trace, take->frames, latest + AUDIO_BLOCK);
}

static void note_events(Take *take) {
    const char *processor[CHAIN_MAX_PROCESSORS];
    size_t n = 0;
    for (size_t b = 0; b < take->chain->n_busses; b++)
        for (size_t i = 0; i < take->chain->busses[b].n_processors; i++)
            processor[n++] = take->placed[b].plugins[i]->id;
    events_note(take->job->events, take->job->take, processor, n, take->report->notes,
                sizeof take->report->notes);
}

static void take_notes(Take *take) {
    if (take->job->events)
        note_events(take);
    for (size_t i = 0; i < take->chain->n_busses; i++)
        if (take->placed[i].reader.path)
            text_add(take->report->notes, sizeof take->report->notes, "%s",
                     audio_notes(&take->placed[i].reader));
    for (size_t i = 0; i < take->n_writers; i++) {
        const AudioWriter *writer = take->writers[i];
        if (writer->clipped)
            note(take, "%s: %llu samples clipped, the peak is %.2f dB over full scale",
                 writer->safe.path, (unsigned long long)writer->clipped, text_db(writer->peak));
        if (writer->peak > AUDIO_LOUDEST)
            note(take, "%s peaks at %.0f dBFS; over +60 dBFS processors hear silence",
                 writer->safe.path, text_db(writer->peak));
        text_add(take->report->notes, sizeof take->report->notes, "%s", writer->notes);
        if (writer->is_rf64)
            note(take, "%s is larger than a WAV can be and was written as RF64", writer->safe.path);
    }
    take->report->peak = take->writers[0]->peak;
}

static bool render(Take *take) {
    if (!open_inputs(take))
        return false;
    take->report->usage = true; /* until everything fits together */
    if (!check_outputs(take) || !take_find_channels(take))
        return false;
    if (!find_length(take))
        return false;
    take->report->usage = false;
    take->report->rate_hz = take->rate_hz;
    take->report->length_s = (double)take->frames / take->rate_hz;
    stamp_opened(take);
    if (!build(take))
        return false;
    if (take->job->trace)
        begin_trace(take);
    if (!graph_run(take->graph, take->first, take->frames, &take->report->status, take->error))
        return false;
    for (size_t i = 0; i < take->report->n_processors; i++)
        meter_finish(&take->meters[i]);
    if (take->ear)
        return true;
    take_notes(take);
    if (take->job->trace && !trace_finish(&take->trace, take->error))
        return false;
    return audio_commit(take->writers, take->n_writers, take->job->trace ? &take->trace.safe : NULL,
                        take->error);
}

static void clean_up(Take *take) {
    for (size_t i = 0; i < take->n_writers; i++) {
        audio_discard(take->writers[i]);
        free(take->writers[i]);
    }
    trace_discard(&take->trace);
    graph_free(take->graph);
    for (size_t i = 0; i < take->n_sides; i++)
        free(take->sides[i]);
    for (size_t i = 0; i < take->report->n_processors; i++) {
        motion_free(&take->motions[i]);
        atomic_store(&take->report->status.running, (int)i + 1);
        host_free(take->instances[i]);
    }
    atomic_store(&take->report->status.running, 0);
    for (size_t i = 0; i < take->chain->n_busses; i++) {
        audio_close(&take->placed[i].reader);
        room_free(&take->placed[i].room);
        room_free(&take->placed[i].voice);
        free(take->placed[i].plugins);
        free(take->placed[i].nodes);
    }
}

/* Renders into the files; or, with an ear, into that alone. */
static bool render_once(Host *host, const TakeJob *job, double gain_db, FinishEar *ear,
                        TakeReport *report) {
    Take *take = text_take(1, sizeof *take);
    take->host = host;
    take->job = job;
    take->chain = job->chain;
    take->gain_db = gain_db;
    take->ear = ear;
    take->report = report;
    take->error = &report->error;
    report->n_processors = 0;
    bool fine = render(take);
    /* For the outputs alone: a plugin may hang in its cleanup, and then who watches ends the
     * process. */
    report->done = fine && !ear;
    clean_up(take);
    free(take);
    return fine;
}

static void note_finish(const TakeJob *job, TakeReport *report) {
    const Finish *finish = &report->finish;
    if (isnan(finish->loudness_lufs) && job->finish.by_loudness)
        text_add(report->notes, sizeof report->notes,
                 "%s: too soft or too short for a loudness; its level is left as it is\n",
                 job->out);
    else if (isinf(finish->peak_db))
        text_add(report->notes, sizeof report->notes, "%s: silent; its level is left as it is\n",
                 job->out);
    else if (finish->short_lu >= 0.05)
        text_add(report->notes, sizeof report->notes,
                 "%s: %g LUFS cannot be reached by a gain alone: at a true peak of %.1f dBTP it is "
                 "%.1f LUFS, %.1f LU short. Only a limiter gets there: end the chain with "
                 "peak-ceiling drive=%.1f ceiling=%.1f\n",
                 job->out, job->finish.loudness_lufs, finish->peak_db, finish->loudness_lufs,
                 finish->short_lu, finish->drive_db, finish->peak_db);
}

/* Hears the render first, without a trace or stems. */
static bool find_finish(Host *host, const TakeJob *job, TakeReport *report) {
    FinishEar ear = {0};
    TakeJob heard = *job;
    heard.trace = NULL;
    heard.stems = false;
    atomic_store(&report->status.passes, 2);
    bool fine = render_once(host, &heard, 0.0, &ear, report);
    if (fine) {
        finish_ear_end(&ear);
        report->finish = finish_of(&ear, &job->finish);
        note_finish(job, report);
    }
    finish_ear_free(&ear);
    atomic_store(&report->status.pass, 1);
    return fine;
}

void take_render(Host *host, const TakeJob *job, TakeReport *report) {
    struct timespec begin;
    struct timespec end;
    clock_gettime(CLOCK_MONOTONIC, &begin);
    bool finish = finish_is_asked(&job->finish);
    if (!finish || find_finish(host, job, report))
        render_once(host, job, report->finish.gain_db, NULL, report);
    clock_gettime(CLOCK_MONOTONIC, &end);
    report->seconds =
        (double)(end.tv_sec - begin.tv_sec) + 1e-9 * (double)(end.tv_nsec - begin.tv_nsec);
}
