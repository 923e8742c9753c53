/* SPDX-License-Identifier: ISC */
/* siskin comp: the best of several takes, phrase by phrase. */
#include "siskin/command.h"
#include "siskin/edit/comp_take.h"
#include "siskin/options.h"
#include "siskin/text.h"

#include <stdio.h>
#include <stdlib.h>

typedef struct {
    const char *by, *bits;
    bool quiet, help;
} Words;

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

static void note_rooms(const CompFiles *files) {
    double apart_db = comp_files_rooms_db(files);
    if (apart_db > JOIN_MOST_APART_DB)
        fprintf(stderr,
                "siskin comp: the rooms of the takes are %.0f dB apart; those over %g dB softer "
                "than the loudest were left as they are\n",
                apart_db, JOIN_MOST_APART_DB);
}

static bool do_comp(CompFiles *files, char *const *argv, size_t n, const Words *words,
                    const AudioFormat *format, HostError *error) {
    Progress progress = progress_begin(words->quiet);
    bool fine = comp_files_read(files, (const char *const *)argv, n, !words->by, &progress, error);
    fine = fine &&
           (words->by ? comp_files_obey(files, words->by, error) : comp_files_choose(files, error));
    if (!fine || !comp_files_join(files, argv[n], format, error))
        return false;
    note_rooms(files);
    if (!words->by && !words->quiet)
        comp_files_print(stdout, files);
    return true;
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
    CompFiles *files = text_take(1, sizeof *files);
    bool fine = do_comp(files, argv, (size_t)argc - 1, &words, &format, &error);
    comp_files_free(files);
    free(files);
    return fine ? STATUS_OK : command_fail("comp", STATUS_FAILED, &error);
}
