/* SPDX-License-Identifier: ISC */
/* siskin align: a double brought into time with its lead. */
#include "siskin/command.h"
#include "siskin/edit/align_take.h"
#include "siskin/edit/move_command.h"
#include "siskin/edit/shifts.h"
#include "siskin/options.h"
#include "siskin/render/report.h"
#include "siskin/text.h"

#include <stdio.h>
#include <stdlib.h>

typedef struct {
    const char *lead, *tightness, *moves, *write_moves, *bits;
    bool quiet, help;
} Words;

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

static void print_phrase(const AlignFiles *files, size_t i) {
    const AlignPhrase *phrase = &files->alignment.phrases[i];
    const HearingSpan *span = phrase->kind == ALIGN_EXTRA ? &phrase->take : &phrase->lead;
    char from[32], to[32];
    printf("phrase %-3zu %8s - %-8s  ", i + 1,
           text_time(from, (double)span->start / files->take.rate_hz),
           text_time(to, (double)span->end / files->take.rate_hz));
    if (phrase->kind == ALIGN_LACKING)
        puts("only the lead sings it");
    else if (phrase->kind == ALIGN_EXTRA)
        puts("only the double sings it: left alone");
    else if (phrase->kind == ALIGN_OTHER)
        puts("the double sings something else: left alone");
    else if (phrase->n == 0)
        puts("nothing in it could be matched: left alone");
    else {
        AlignApart before = align_files_apart(files, phrase, false);
        AlignApart after = align_files_apart(files, phrase, true);
        printf("apart %3.0f ms (%.0f at most); after %3.0f ms (%.0f)\n", before.middle_ms,
               before.most_ms, after.middle_ms, after.most_ms);
    }
}

/* ---- the work ---- */

static bool write_moves(const AlignFiles *files, const char *path, HostError *error) {
    SafeFile file;
    if (!safe_open(&file, path, error))
        return false;
    FILE *stream = safe_stream(&file, error);
    SafeFile *const safe[] = {&file};
    bool fine = stream != NULL;
    if (stream) {
        shifts_print(stream, &files->alignment, &files->of_take);
        fine = safe_stream_end(&file, stream, error);
    }
    fine = fine && safe_commit(safe, 1, error);
    safe_discard(&file);
    return fine;
}

static bool do_align(AlignFiles *files, char **argv, const Words *words, double tightness,
                     const AudioFormat *format, HostError *error) {
    Progress progress = progress_begin(words->quiet);
    if (!align_files_find(files, argv[0], words->lead, tightness, &progress, error))
        return false;
    if (words->moves) {
        time_map_free(&files->alignment.map);
        if (!move_read(&files->alignment.map, words->moves, &files->of_take, error))
            return false;
    }
    return align_files_write(files, argv[1], format, error) &&
           (!words->write_moves || write_moves(files, words->write_moves, error));
}

static int align(char **argv, const Words *words, double tightness, const AudioFormat *format) {
    HostError error;
    AlignFiles *files = text_take(1, sizeof *files);
    bool fine = do_align(files, argv, words, tightness, format, &error);
    for (size_t i = 0; fine && !words->quiet && i < files->alignment.n; i++)
        print_phrase(files, i);
    align_files_free(files);
    free(files);
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
