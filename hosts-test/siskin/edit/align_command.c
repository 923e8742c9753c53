/* SPDX-License-Identifier: ISC */
/* siskin align: a double brought into time with its lead. */
#include "siskin/command.h"
#include "siskin/edit/align.h"
#include "siskin/edit/move_command.h"
#include "siskin/edit/shifts.h"
#include "siskin/measure/statistics.h"
#include "siskin/options.h"
#include "siskin/render/report.h"
#include "siskin/text.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

typedef struct {
    const char *lead, *tightness, *moves, *write_moves, *bits;
    bool quiet, help;
} Words;

typedef struct {
    Whole lead, take;
    Hearing of_lead, of_take;
    Alignment alignment;
    Splices splices;
} Job;

static void print_help(const Option *options, size_t count) {
    puts("siskin align DOUBLE --to LEAD OUT\n"
         "\n"
         "Brings the words of DOUBLE to where LEAD sings them. Vowels get longer or shorter by "
         "whole\n"
         "periods, gaps by silence; bursts and breaths are copied. OUT is as long as LEAD. Prints "
         "a\n"
         "line for each phrase: how far its sounds are apart, before and after.\n"
         "\n"
         "  siskin align double.wav --to lead.wav tight.wav\n"
         "  siskin align double.wav --to lead.wav tight.wav --write-moves double.moves\n"
         "  siskin align double.wav --to lead.wav tight.wav --moves double.moves\n");
    options_print(options, count);
    puts("\n"
         "A file of moves: TIME SHIFT_MS a line; change one, delete one, and give it to --moves.\n"
         "\n"
         "Exit status: 0 done, 1 a file cannot be read or written, 2 the command line is wrong.");
}

/* ---- what is told ---- */

typedef struct {
    double middle_ms, most_ms;
} Apart;

/* Of the anchors of a phrase, as they are, or as the splices bring them. */
static Apart apart(const Job *job, const AlignPhrase *phrase, bool after) {
    double *ms = text_take(phrase->n + 1, sizeof *ms), most = 0.0;
    for (size_t i = 0; i < phrase->n; i++) {
        const AlignAnchor *a = &job->alignment.anchors[phrase->first + i];
        double at = after ? splices_at(&job->splices, a->take) : a->take;
        ms[i] = 1e3 * fabs(at - a->lead) / job->take.rate_hz;
        most = fmax(most, ms[i]);
    }
    Apart result = {statistics_median(ms, phrase->n), most};
    free(ms);
    return result;
}

static void print_phrase(const Job *job, size_t i) {
    const AlignPhrase *phrase = &job->alignment.phrases[i];
    const HearingSpan *span = phrase->kind == ALIGN_EXTRA ? &phrase->take : &phrase->lead;
    char from[32], to[32];
    printf("phrase %-3zu %8s - %-8s  ", i + 1,
           text_time(from, (double)span->start / job->take.rate_hz),
           text_time(to, (double)span->end / job->take.rate_hz));
    if (phrase->kind == ALIGN_LACKING)
        puts("only the lead sings it");
    else if (phrase->kind == ALIGN_EXTRA)
        puts("only the double sings it: left alone");
    else if (phrase->kind == ALIGN_OTHER)
        puts("the double sings something else: left alone");
    else if (phrase->n == 0)
        puts("nothing in it could be matched: left alone");
    else {
        Apart before = apart(job, phrase, false), after = apart(job, phrase, true);
        printf("apart %3.0f ms (%.0f at most); after %3.0f ms (%.0f)\n", before.middle_ms,
               before.most_ms, after.middle_ms, after.most_ms);
    }
}

/* ---- the work ---- */

static bool hear(Hearing *hearing, const Whole *whole, const char *path, HostError *error) {
    return hearing_of(hearing, whole->mid, whole->n, whole->rate_hz) ||
           host_fail(error, "%s: out of memory", path);
}

static bool write_moves(const Job *job, const char *path, HostError *error) {
    SafeFile file;
    if (!safe_open(&file, path, error))
        return false;
    FILE *stream = safe_stream(&file, error);
    SafeFile *const files[] = {&file};
    bool fine = stream != NULL;
    if (stream) {
        shifts_print(stream, &job->alignment, &job->of_take);
        fine = safe_stream_end(&file, stream, error);
    }
    fine = fine && safe_commit(files, 1, error);
    safe_discard(&file);
    return fine;
}

static bool read_both(Job *job, const char *take, const Words *words, HostError *error) {
    Progress progress = progress_begin(words->quiet);
    bool fine = whole_read(&job->take, take, 0.0, error) &&
                whole_read(&job->lead, words->lead, job->take.rate_hz, error);
    progress_show(&progress, text_base(take), 0.1);
    fine = fine && hear(&job->of_lead, &job->lead, words->lead, error);
    progress_show(&progress, text_base(take), 0.4);
    fine = fine && hear(&job->of_take, &job->take, take, error);
    progress_show(&progress, text_base(take), 0.7);
    progress_clear(&progress);
    return fine;
}

static bool do_align(Job *job, char **argv, const Words *words, double tightness,
                     const AudioFormat *format, HostError *error) {
    if (!read_both(job, argv[0], words, error))
        return false;
    Alignment *a = &job->alignment;
    if (!align_find(a, &job->of_lead, job->lead.mid, &job->of_take, job->take.mid, tightness))
        return host_fail(error, "out of memory");
    size_t matched = 0;
    for (size_t i = 0; i < a->n; i++)
        matched += a->phrases[i].kind == ALIGN_MATCHED;
    if (matched == 0)
        return host_fail(error, "%s and %s have no phrase in common", argv[0], words->lead);
    if (words->moves) {
        time_map_free(&a->map);
        if (!move_read(&a->map, words->moves, &job->of_take, error))
            return false;
    }
    if (!move_write(&job->take, &job->of_take, &a->map, job->lead.n, argv[1], format, &job->splices,
                    error))
        return false;
    return !words->write_moves || write_moves(job, words->write_moves, error);
}

static void leave(Job *job) {
    whole_free(&job->lead);
    whole_free(&job->take);
    hearing_free(&job->of_lead);
    hearing_free(&job->of_take);
    align_free(&job->alignment);
    splices_free(&job->splices);
}

static int align(char **argv, const Words *words, double tightness, const AudioFormat *format) {
    HostError error;
    Job *job = text_take(1, sizeof *job);
    bool fine = do_align(job, argv, words, tightness, format, &error);
    for (size_t i = 0; fine && !words->quiet && i < job->alignment.n; i++)
        print_phrase(job, i);
    leave(job);
    free(job);
    return fine ? STATUS_OK : command_fail("align", STATUS_FAILED, &error);
}

static bool check_words(int argc, char **argv, const Words *words, double *tightness,
                        AudioFormat *format, HostError *error) {
    double percent = 100.0;
    if (argc != 2 || !words->lead)
        return host_fail(error,
                         "name a DOUBLE, --to LEAD and an OUT; siskin align --help tells more");
    if (!options_number(words->tightness, "tightness", 0.0, 100.0, &percent, error))
        return false;
    const char *const read[] = {argv[0], words->lead, words->moves, words->write_moves};
    *tightness = percent / 100.0;
    return whole_may_write(argv[1], read, 4, error) &&
           (!words->write_moves || whole_may_write(words->write_moves, read, 3, error)) &&
           whole_format(format, argv[1], words->bits, error);
}

int command_align(int argc, char **argv) {
    HostError error;
    Words words = {0};
    double tightness = 1.0;
    AudioFormat format;
    const Option options[] = {
        {"to", "LEAD", "the take that keeps time", &words.lead, NULL},
        {"tightness", "PERCENT",
         "how far each sound goes towards the lead, 0 to 100 (100); what is\n"
         "within 8 ms stays as it is",
         &words.tightness, NULL},
        {"write-moves", "FILE", "also write what was moved, as text to edit", &words.write_moves,
         NULL},
        {"moves", "FILE", "move what this file says instead", &words.moves, NULL},
        {"bits", "DEPTH", "float, 24 or 16 (wav: float; flac, aiff: 24)", &words.bits, NULL},
        {"quiet", NULL, "print nothing but errors and notes", NULL, &words.quiet},
        {"help", NULL, "this", NULL, &words.help},
    };
    const size_t n_options = sizeof options / sizeof *options;
    if (!options_take(options, n_options, &argc, argv, &error))
        return command_fail("align", STATUS_USAGE, &error);
    if (words.help) {
        print_help(options, n_options);
        return STATUS_OK;
    }
    if (!check_words(argc, argv, &words, &tightness, &format, &error))
        return command_fail("align", STATUS_USAGE, &error);
    return align(argv, &words, tightness, &format);
}
