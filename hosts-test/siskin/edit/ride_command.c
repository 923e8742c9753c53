/* SPDX-License-Identifier: ISC */
/* siskin ride: the level of a take written phrase by phrase, as a chain with a lane for its
 * fader. */
#include "siskin/command.h"
#include "siskin/edit/ride_take.h"
#include "siskin/measure/takes.h"
#include "siskin/options.h"
#include "siskin/text.h"

#include <math.h>
#include <stdio.h>

typedef struct {
    const char *range, *strength, *target;
    bool lane, quiet, help;
} Words;

static void print_help(const Option *options, size_t count) {
    puts("siskin ride TAKE > CHAIN\n"
         "\n"
         "Prints a chain with one gain a phrase, from the whole take. The gain moves between "
         "phrases\n"
         "only, where it is softest, and no phrase peaks over the take. Change a number, delete a\n"
         "line, add processors above the fader, and render.\n"
         "\n"
         "  siskin ride take.wav > ride.chain\n"
         "  siskin render --chain ride.chain take.wav out.wav\n");
    options_print(options, count);
    puts("\n"
         "Exit status: 0 done, 1 the take cannot be read, 2 the command line is wrong.");
}

static bool read_params(const Words *words, RideParams *params, HostError *error) {
    double percent = 100.0;
    *params = (RideParams){.range_db = RIDE_RANGE_DB, .target_lufs = (double)NAN};
    bool fine = options_number(words->range, "range", 0.0, 24.0, &params->range_db, error) &&
                options_number(words->strength, "strength", 0.0, 100.0, &percent, error) &&
                options_number(words->target, "target", -60.0, 0.0, &params->target_lufs, error);
    params->strength = percent / 100.0;
    return fine;
}

static bool any_held(const Ride *ride) {
    bool any = false;
    for (size_t i = 0; i < ride->n; i++)
        any = any || ride->phrases[i].held;
    return any;
}

static void print_chain(const Ride *ride) {
    if (ride->n == 1)
        printf("# Only one phrase: at %.1f LUFS after the ride.\n", ride->target_lufs);
    else
        printf("# %zu phrases: %.1f dB apart; %.1f dB after the ride, at %.1f LUFS.\n", ride->n,
               ride->spread_db, ride->left_db, ride->target_lufs);
    printf("# Peak: %.1f dBTP; %.1f after the ride.\n", ride->peak_db, ride->result_peak_db);
    if (any_held(ride))
        puts("# Held: a phrase that its peak or the range keeps apart.");
    puts("# From, to (seconds), gain (dB): change what you like.\n"
         "bus lead\n"
         "  fader @ride\n");
    ride_print_lane(stdout, ride, 0.0);
}

static int ride_one(const char *path, const Words *words, const RideParams *params) {
    HostError error;
    Measures measures;
    Ride ride;
    Progress progress = progress_begin(words->quiet);
    if (!takes_measure(path, &measures, &progress, &error))
        return command_fail("ride", STATUS_FAILED, &error);
    bool fine = ride_take(&ride, &measures, params, &error);
    if (fine && ride.n == 0)
        fine = host_fail(&error, "%s: no phrase was found in it", path);
    if (fine && words->lane)
        ride_print_lane(stdout, &ride, 0.0);
    else if (fine)
        print_chain(&ride);
    measures_free(&measures);
    ride_free(&ride);
    return fine ? STATUS_OK : command_fail("ride", STATUS_FAILED, &error);
}

int command_ride(int argc, char **argv) {
    HostError error;
    Words words = {0};
    RideParams params;
    const Option options[] = {
        {"range", "DB", "the most that a phrase goes up or down, 0 to 24 (12)", &words.range, NULL},
        {"strength", "PERCENT", "how far each goes towards the common level, 0 to 100 (100)",
         &words.strength, NULL},
        {"target", "LUFS", "the common level, -60 to 0 (the take's own mean)", &words.target, NULL},
        {"lane", NULL, "print the lane alone, for another chain", NULL, &words.lane},
        {"quiet", NULL, "show no progress", NULL, &words.quiet},
        {"help", NULL, "this", NULL, &words.help},
    };
    const size_t n_options = sizeof options / sizeof *options;
    if (!options_take(options, n_options, &argc, argv, &error))
        return command_fail("ride", STATUS_USAGE, &error);
    if (words.help) {
        print_help(options, n_options);
        return STATUS_OK;
    }
    if (argc != 1) {
        host_fail(&error, "name one TAKE; siskin ride --help tells more");
        return command_fail("ride", STATUS_USAGE, &error);
    }
    if (!read_params(&words, &params, &error))
        return command_fail("ride", STATUS_USAGE, &error);
    return ride_one(argv[0], &words, &params);
}
