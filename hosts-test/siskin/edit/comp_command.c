/* SPDX-License-Identifier: ISC */
/* siskin comp: the best of several takes, phrase by phrase. */
#include "siskin/command.h"
#include "siskin/edit/comp.h"
#include "siskin/edit/comp_list.h"
#include "siskin/edit/join.h"
#include "siskin/edit/whole.h"
#include "siskin/measure/takes.h"
#include "siskin/options.h"
#include "siskin/text.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

typedef struct {
    const char *by, *bits;
    bool quiet, help;
} Words;

typedef struct {
    char **path;
    size_t n;
    Whole whole[COMP_TAKES];
    Hearing hearing[COMP_TAKES];
    double *click_s[COMP_TAKES];
    size_t n_clicks[COMP_TAKES];
    Comp comp;
    JoinPiece *pieces;
    size_t n_pieces;
} Job;

static void print_help(const Option *options, size_t count) {
    puts("siskin comp TAKE1 TAKE2 [TAKE...] OUT > LIST\n"
         "\n"
         "Puts OUT together from the takes, which run along the same backing: of each phrase the "
         "one\n"
         "with the least against it in pitch, notes, timing, noise, clicks, clipping and level. "
         "Prints\n"
         "what was chosen, and why. Change a number in the list, and:\n"
         "\n"
         "  siskin comp take1.wav take2.wav take3.wav out.wav > out.list\n"
         "  siskin comp take1.wav take2.wav take3.wav out.wav --by out.list\n");
    options_print(options, count);
    puts("\n"
         "Takes are joined in rests of 60 ms and more, with a crossfade of 15 ms; rooms are made "
         "as\n"
         "loud as the loudest in use. From three takes on, timing and notes are held against the "
         "rest.\n"
         "\n"
         "Exit status: 0 done, 1 a file cannot be read or written, 2 the command line is wrong.");
}

/* ---- reading ---- */

static bool find_clicks(Job *job, size_t t, Progress *progress, HostError *error) {
    Measures measures;
    if (!takes_measure(job->path[t], &measures, progress, error))
        return false;
    job->click_s[t] = text_take(measures.n_clicks + 1, sizeof(double));
    for (size_t i = 0; i < measures.n_clicks; i++)
        if (measures.clicks[i].height_db >= MEASURE_CLEAR_CLICK_DB)
            job->click_s[t][job->n_clicks[t]++] = measures.clicks[i].at_s;
    measures_free(&measures);
    return true;
}

static bool read_takes(Job *job, const Words *words, HostError *error) {
    Progress progress = progress_begin(words->quiet);
    for (size_t t = 0; t < job->n; t++) {
        Whole *w = &job->whole[t];
        if (!whole_read(w, job->path[t], t ? job->whole[0].rate_hz : 0.0, error) ||
            (!words->by && !find_clicks(job, t, &progress, error)))
            return false;
        if (!hearing_of(&job->hearing[t], w->mid, w->n, w->rate_hz))
            return host_fail(error, "%s: out of memory", job->path[t]);
    }
    progress_clear(&progress);
    return true;
}

/* ---- choosing ---- */

static bool choose(Job *job, HostError *error) {
    CompTake takes[COMP_TAKES];
    for (size_t t = 0; t < job->n; t++)
        takes[t] =
            (CompTake){&job->hearing[t], job->whole[t].mid, job->click_s[t], job->n_clicks[t]};
    if (!comp_choose(&job->comp, takes, job->n))
        return host_fail(error, "out of memory");
    if (job->comp.n == 0)
        return host_fail(error, "no phrase was found in any of the takes");
    for (size_t s = 0; s < job->comp.n; s++) {
        const CompSection *section = &job->comp.sections[s];
        *(JoinPiece *)text_grow(&job->pieces, &job->n_pieces, sizeof *job->pieces) =
            (JoinPiece){section->start, section->end, section->take};
    }
    return true;
}

/* ---- writing ---- */

static bool join(Job *job, const char *out, const AudioFormat *format, HostError *error) {
    JoinTake takes[COMP_TAKES];
    float *made[AUDIO_CHANNELS] = {NULL};
    unsigned channels = 1;
    size_t n_out = 0;
    for (size_t t = 0; t < job->n; t++) {
        const Whole *w = &job->whole[t];
        takes[t] = (JoinTake){&job->hearing[t], {w->channel[0], w->channel[w->channels - 1]}, w->n};
        channels = w->channels > channels ? w->channels : channels;
        n_out = w->n > n_out ? w->n : n_out;
    }
    for (unsigned c = 0; c < channels; c++)
        made[c] = text_take(n_out + 1, sizeof(float));
    Whole like = job->whole[0];
    like.channels = channels;
    const float *const channel[AUDIO_CHANNELS] = {made[0], made[1]};
    bool fine =
        join_takes(takes, job->n, job->pieces, job->n_pieces, channels, made, n_out, error) &&
        whole_write(out, format, &like, channel, n_out, error);
    for (unsigned c = 0; c < AUDIO_CHANNELS; c++)
        free(made[c]);
    return fine;
}

static void note_rooms(const Job *job) {
    double least = INFINITY, most = -INFINITY;
    for (size_t i = 0; i < job->n_pieces; i++) {
        double room_db = join_room_db(&job->hearing[job->pieces[i].take]);
        least = fmin(least, room_db);
        most = fmax(most, room_db);
    }
    if (most - least > JOIN_MOST_APART_DB)
        fprintf(stderr,
                "siskin comp: the rooms of the takes are %.0f dB apart; those over %g dB softer "
                "than the loudest were left as they are\n",
                most - least, JOIN_MOST_APART_DB);
}

static bool do_comp(Job *job, const char *out, const Words *words, const AudioFormat *format,
                    HostError *error) {
    if (!read_takes(job, words, error))
        return false;
    bool fine = words->by ? comp_read(words->by, job->n, job->whole[0].rate_hz, &job->pieces,
                                      &job->n_pieces, error)
                          : choose(job, error);
    if (!fine || !join(job, out, format, error))
        return false;
    note_rooms(job);
    if (!words->by && !words->quiet)
        comp_print(stdout, &job->comp, (const char *const *)job->path, job->n,
                   job->whole[0].rate_hz);
    return true;
}

static void leave(Job *job) {
    for (size_t t = 0; t < job->n; t++) {
        whole_free(&job->whole[t]);
        hearing_free(&job->hearing[t]);
        free(job->click_s[t]);
    }
    comp_free(&job->comp);
    free(job->pieces);
    free(job);
}

static bool check_words(int argc, char **argv, const Words *words, AudioFormat *format,
                        HostError *error) {
    if (argc < 3)
        return host_fail(error, "name two takes or more and an OUT; siskin comp --help tells more");
    if (argc - 1 > COMP_TAKES)
        return host_fail(error, "%d takes; allowed are %d", argc - 1, COMP_TAKES);
    const char *out = argv[argc - 1];
    return whole_may_write(out, (const char *const *)argv, (size_t)argc - 1, error) &&
           whole_may_write(out, &words->by, 1, error) &&
           whole_format(format, out, words->bits, error);
}

int command_comp(int argc, char **argv) {
    HostError error;
    Words words = {0};
    AudioFormat format;
    const Option options[] = {
        {"by", "LIST", "join what this list says", &words.by, NULL},
        {"bits", "DEPTH", "float, 24 or 16 (wav: float; flac, aiff: 24)", &words.bits, NULL},
        {"quiet", NULL, "print nothing but errors and notes", NULL, &words.quiet},
        {"help", NULL, "this", NULL, &words.help},
    };
    const size_t n_options = sizeof options / sizeof *options;
    if (!options_take(options, n_options, &argc, argv, &error))
        return command_fail("comp", STATUS_USAGE, &error);
    if (words.help) {
        print_help(options, n_options);
        return STATUS_OK;
    }
    if (!check_words(argc, argv, &words, &format, &error))
        return command_fail("comp", STATUS_USAGE, &error);
    Job *job = text_take(1, sizeof *job);
    job->path = argv;
    job->n = (size_t)argc - 1;
    bool fine = do_comp(job, argv[argc - 1], &words, &format, &error);
    leave(job);
    return fine ? STATUS_OK : command_fail("comp", STATUS_FAILED, &error);
}
