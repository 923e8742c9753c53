/* SPDX-License-Identifier: ISC */
/* siskin nudge: words and phrases of a take moved by a file that names them. */
#include "siskin/command.h"
#include "siskin/edit/move_command.h"
#include "siskin/options.h"
#include "siskin/text.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

typedef struct {
    const char *by, *bits;
    bool quiet, help;
} Words;

static void print_help(const Option *options, size_t count) {
    puts("siskin nudge TAKE --by FILE OUT\n"
         "\n"
         "Moves words and phrases of TAKE by milliseconds. Everything else stays where it was; OUT "
         "is\n"
         "as long as TAKE. FILE has a line for each: where it begins and ends in TAKE, and how "
         "much\n"
         "later it is to come:\n"
         "\n"
         "  12.40 13.05 -40     # 40 ms earlier\n"
         "  1:02.9 1:04  +25    # a phrase, 25 ms later\n"
         "\n"
         "  siskin nudge take.wav --by words.moves out.wav\n");
    options_print(options, count);
    puts("\n"
         "What a move opens or closes is taken from the rest beside the word, with a crossfade of "
         "10\n"
         "ms; without any rest within 0.3 s the sound beside it is stretched. A file that begins "
         "with\n"
         "'line' (siskin align --write-moves) may also move moments: TIME SHIFT_MS; what lies "
         "between\n"
         "is stretched.\n"
         "\n"
         "Exit status: 0 done, 1 a file cannot be read or written, 2 the command line is wrong.");
}

/* What moves as it is, a line each; what was cut. */
static void print_done(const TimeMap *map, const Splices *splices, double rate_hz) {
    for (size_t i = 0; i + 1 < map->n; i++) {
        const MapPoint *a = &map->points[i], *b = a + 1;
        double shift_ms = 1e3 * (a->to - a->from) / rate_hz;
        bool rigid = fabs((b->to - b->from) - (a->to - a->from)) < 0.5;
        if (rigid && fabs(shift_ms) > 0.0)
            printf("%9.3f - %9.3f s   %+.1f ms\n", a->from / rate_hz, b->from / rate_hz, shift_ms);
    }
    printf("splices: %zu\n", splices->n);
}

static bool nudge(char **argv, const Words *words, const AudioFormat *format, HostError *error) {
    Whole take;
    Hearing hearing = {0};
    TimeMap map = {0};
    Splices splices = {0};
    if (!whole_read(&take, argv[0], 0.0, error))
        return false;
    bool fine = hearing_of(&hearing, take.mid, take.n, take.rate_hz) ||
                host_fail(error, "%s: out of memory", argv[0]);
    fine = fine && move_read(&map, words->by, &hearing, error) &&
           move_write(&take, &hearing, &map, take.n, argv[1], format, &splices, error);
    if (fine && !words->quiet)
        print_done(&map, &splices, take.rate_hz);
    whole_free(&take);
    hearing_free(&hearing);
    time_map_free(&map);
    splices_free(&splices);
    return fine;
}

int command_nudge(int argc, char **argv) {
    HostError error;
    Words words = {0};
    AudioFormat format;
    const Option options[] = {
        {"by", "FILE", "what is to be moved", &words.by, NULL},
        {"bits", "DEPTH", "float, 24 or 16 (wav: float; flac, aiff: 24)", &words.bits, NULL},
        {"quiet", NULL, "print nothing but errors and notes", NULL, &words.quiet},
        {"help", NULL, "this", NULL, &words.help},
    };
    const size_t n_options = sizeof options / sizeof *options;
    if (!options_take(options, n_options, &argc, argv, &error))
        return command_fail("nudge", STATUS_USAGE, &error);
    if (words.help) {
        print_help(options, n_options);
        return STATUS_OK;
    }
    if (argc != 2 || !words.by) {
        host_fail(&error, "name a TAKE, --by FILE and an OUT; siskin nudge --help tells more");
        return command_fail("nudge", STATUS_USAGE, &error);
    }
    const char *const read[] = {argv[0], words.by};
    if (!whole_may_write(argv[1], read, 2, &error) ||
        !whole_format(&format, argv[1], words.bits, &error))
        return command_fail("nudge", STATUS_USAGE, &error);
    return nudge(argv, &words, &format, &error) ? STATUS_OK
                                                : command_fail("nudge", STATUS_FAILED, &error);
}
