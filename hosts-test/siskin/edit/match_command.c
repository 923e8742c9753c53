/* SPDX-License-Identifier: ISC */
/* siskin match: a take brought to the colour of a reference, as a chain with band-colour set. */
#include "siskin/command.h"
#include "siskin/edit/match.h"
#include "siskin/measure/takes.h"
#include "siskin/options.h"
#include "siskin/page/match_page.h"
#include "siskin/place.h"
#include "siskin/safe.h"
#include "siskin/text.h"

#include <ctype.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

typedef struct {
    const char *to, *plot, *bundles;
    bool quiet, help;
} Words;

static void print_help(const Option *options, size_t count) {
    puts("siskin match TAKE --to REFERENCE > CHAIN\n"
         "\n"
         "Prints a chain with band-colour set so that the voice of TAKE has the colour of that of\n"
         "REFERENCE: at equal loudness the four bands are as loud and, where the reference is "
         "denser,\n"
         "as dense. Heard is what is sung with a pitch: breaths, gaps and sibilants do not count.\n"
         "The table tells of before and after. Take a reference without ambience or backing.\n"
         "\n"
         "  siskin match take.wav --to finished.wav > colour.chain\n"
         "  siskin render --chain colour.chain take.wav out.wav\n");
    options_print(options, count);
    puts("\n"
         "level   of a band over the loudness of the voice\n"
         "crest   peaks over the mean power, of 0.4 s: less is denser\n"
         "\n"
         "Exit status: 0 done, 1 a file cannot be read or has too little singing, 2 the command "
         "line\n"
         "is wrong.");
}

/* ---- the chain ---- */

/* A name that stays within its comment. */
static char *plain_name(const char *path) {
    char *name = text_copy(text_base(path));
    for (char *at = name; *at; at++)
        if (iscntrl((unsigned char)*at))
            *at = '?';
    return name;
}

static void print_cells(const double *values) {
    for (int i = 0; i < 3; i++)
        printf(isfinite(values[i]) ? "%10.1f" : "         -", values[i]);
}

static void print_table(const Match *match) {
    const MatchProfile *p[] = {&match->take, &match->reference, &match->after};
    char *bands[MATCH_BANDS];
    printf("#\n# %-22s%30s%30s\n", "", "level, dB", "crest, dB");
    printf("# %-22s%10s%10s%10s%10s%10s%10s\n", "band", "take", "reference", "after", "take",
           "reference", "after");
    match_band_names(match, bands);
    for (unsigned b = 0; b < MATCH_BANDS; b++) {
        double level[3], crest[3];
        for (int i = 0; i < 3; i++) {
            level[i] = p[i]->level_db[b] - p[i]->lufs;
            crest[i] = p[i]->crest_db[b];
        }
        printf("# %-22s", bands[b]);
        print_cells(level);
        print_cells(crest);
        putchar('\n');
        free(bands[b]);
    }
    printf("# %-22s%10.1f%10s%10.1f\n#\n", "worst level off by", match_worst_off(p[0], p[1]), "",
           match_worst_off(p[2], p[1]));
}

static void print_chain(const Match *match, const char *take, const char *reference) {
    char *name = plain_name(take), *to = plain_name(reference);
    printf("# %s to the colour of %s, at equal loudness; %.1f and %.1f s sung.\n", name, to,
           match->take.sung_s, match->reference.sung_s);
    print_table(match);
    if (!match->any)
        puts("# Alike: nothing is to be done.");
    puts("bus lead");
    if (match->any)
        match_print_setting(stdout, &match->setting);
    free(name);
    free(to);
}

/* ---- the page ---- */

static bool write_plot(const char *path, const Match *match, const char *take,
                       const char *reference, HostError *error) {
    SafeFile safe = {0};
    SafeFile *const files[] = {&safe};
    if (safe_same_file(path, take) || safe_same_file(path, reference))
        return host_fail(error, "%s is read; give the page another name", path);
    FILE *file = safe_open(&safe, path, error) ? safe_stream(&safe, error) : NULL;
    if (file)
        match_page_write(file, match, take, reference);
    bool fine = file && safe_stream_end(&safe, file, error) && safe_commit(files, 1, error);
    safe_discard(&safe);
    return fine;
}

/* ---- the command ---- */

static void show(void *user, double done) {
    progress_show(user, "matching", done);
}

static bool match_takes(const char *path, const Words *words, Host *host, HostError *error) {
    Progress progress = progress_begin(words->quiet);
    Measures take, reference;
    Match match = {.any = false};
    if (!takes_measure(path, &take, &progress, error))
        return false;
    if (!takes_measure(words->to, &reference, &progress, error)) {
        measures_free(&take);
        return false;
    }
    bool fine = match_find(&match, host, &take, &reference, show, &progress, error);
    progress_clear(&progress);
    if (fine && words->plot)
        fine = write_plot(words->plot, &match, path, words->to, error);
    if (fine)
        print_chain(&match, path, words->to);
    measures_free(&reference);
    measures_free(&take);
    return fine;
}

int command_match(int argc, char **argv) {
    HostError error;
    Words words = {0};
    const Option options[] = {
        {"to", "REFERENCE", "the take whose colour it is to have", &words.to, NULL},
        {"plot", "PAGE", "also write a page (HTML) with both spectra and the bands", &words.plot,
         NULL},
        {"bundles", "DIR", PLACE_BUNDLES_HELP, &words.bundles, NULL},
        {"quiet", NULL, "show no progress", NULL, &words.quiet},
        {"help", NULL, "this", NULL, &words.help},
    };
    const size_t n_options = sizeof options / sizeof *options;
    if (!options_take(options, n_options, &argc, argv, &error))
        return command_fail("match", STATUS_USAGE, &error);
    if (words.help) {
        print_help(options, n_options);
        return STATUS_OK;
    }
    if (argc != 1 || !words.to) {
        host_fail(&error, "name one TAKE, and --to REFERENCE; siskin match --help tells more");
        return command_fail("match", STATUS_USAGE, &error);
    }
    Host *host = place_open_host(words.bundles, &error);
    bool fine = host && match_takes(argv[0], &words, host, &error);
    host_close(host);
    return fine ? STATUS_OK : command_fail("match", STATUS_FAILED, &error);
}
